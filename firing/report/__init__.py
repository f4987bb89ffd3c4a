"""The results as text, pages and drawings."""
