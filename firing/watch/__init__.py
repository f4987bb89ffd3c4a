"""A firing while it runs: where it stands in its plan, when it will be done, and what is wrong."""
