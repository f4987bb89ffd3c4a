"""The table of what is held against figures from outside, printed where this folder alone runs."""

from pathlib import Path

import pytest
from published.ledger import LEDGER, table

HERE = Path(__file__).parent


def pytest_terminal_summary(
    terminalreporter: pytest.TerminalReporter, config: pytest.Config
) -> None:
    """Print it after the tests."""
    asked = [Path(str(argument).split("::")[0]).resolve() for argument in config.args]
    if not LEDGER or not all(path == HERE or HERE in path.parents for path in asked):
        return
    terminalreporter.section("against published figures")
    for line in table():
        terminalreporter.write_line(line)
