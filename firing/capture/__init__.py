"""Live capture: readings from an instrument, and the file that survives anything."""
