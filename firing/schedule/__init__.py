"""A schedule: its segments, its file, and its set point over time."""
