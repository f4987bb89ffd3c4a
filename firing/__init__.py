"""Plan, forecast and review the firings of a studio pottery kiln.

The package root stays empty of imports on purpose: ``import firing`` costs nothing, and every
module below it pulls in only what it computes with.
"""

__version__ = "0.1.0"
