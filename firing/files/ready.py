"""The ready schedules and example files that come with the package."""

from pathlib import Path

from firing.errors import FiringError

_EXAMPLE = "example-"


def _folder() -> Path:
    """Return where they are: inside the installed package, or beside it in a checkout."""
    package = Path(__file__).resolve().parent.parent
    installed = package / "schedules"
    return installed if installed.is_dir() else package.parent / "schedules"


def ready_names() -> list[str]:
    """Return the names of the ready schedules, in alphabetical order."""
    return sorted(name for name in _names() if not name.startswith(_EXAMPLE))


def example_names() -> list[str]:
    """Return the names of the example kiln, loads, controller and tariff."""
    return sorted(name for name in _names() if name.startswith(_EXAMPLE))


def _names() -> list[str]:
    return [p.name.removesuffix(".toml") for p in _folder().iterdir() if p.name.endswith(".toml")]


def ready_text(name: str) -> str:
    """Return the text of a ready schedule or an example file."""
    if name not in _names():
        known = ", ".join(ready_names() + example_names())
        raise FiringError(f'no ready file is called "{name}"; there are: {known}')
    return (_folder() / f"{name}.toml").read_text(encoding="utf-8")
