"""The load: what its clay, its water and its walls allow."""
