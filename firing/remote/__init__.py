"""A running firing seen and heard away from the kiln: a page for the phone, and messages.

It reads what a watch has laid down and never touches the watch, its source or its recording.
"""
