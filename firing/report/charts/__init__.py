"""The charts of the reports: braille curves for text, and drawings for the page."""
