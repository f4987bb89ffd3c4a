"""The logbook: every firing kept with its log, found again, and what they show together."""
