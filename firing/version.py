"""The package's version, where every room can read it without the package's own names."""

__version__ = "0.2.0"
