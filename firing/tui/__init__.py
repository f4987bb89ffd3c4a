"""The terminal screens, on top of `firing`; only the commands that open them import them.

Their code stands in ``tui/`` beside the package in a checkout, and inside this package once
installed, so that nothing but ``firing`` lies at the top of site-packages.
"""

from pathlib import Path

_beside = Path(__file__).resolve().parents[2] / "tui"
if not (Path(__file__).parent / "app.py").exists() and (_beside / "app.py").exists():
    __path__.append(str(_beside))
