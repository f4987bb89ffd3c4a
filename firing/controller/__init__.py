"""A kiln controller: what it accepts, its file, and the program to key in."""
