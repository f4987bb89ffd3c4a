"""The kiln: what it can do and how it cools."""
