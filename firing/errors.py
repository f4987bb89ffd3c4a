"""The one exception family that carries a sentence for a person.

Everything the library refuses raises a :class:`FiringError` whose text is complete by itself:
where, what, the limit with its unit, and what to write instead.  The command line prints it and
leaves with exit code 2; no caller needs to build a message of its own.
"""


class FiringError(Exception):
    """A request or a file that cannot be used, told in one sentence."""
