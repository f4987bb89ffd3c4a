"""A real browser for the pages: Chromium, driven by Playwright."""

import os
import shutil
from collections.abc import Iterator
from typing import NoReturn

import pytest
from page.browsing import Opener
from playwright.sync_api import Browser, Error, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
NEEDED = (
    "install Chromium (apt-get install chromium) or put its path into the environment "
    "variable CHROMIUM"
)


def without_browser(reason: str) -> NoReturn:
    """Skip the page tests, except where CI is set: there nobody would read of the skip."""
    told = f"the page tests need a browser, and {reason}: {NEEDED}"
    if os.environ.get("CI"):
        pytest.fail(told, pytrace=False)
    pytest.skip(told)


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not found:
        without_browser("no chromium was found")
    with sync_playwright() as playwright:
        try:
            started = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        except Error as error:
            without_browser(f"{found} does not start ({str(error).splitlines()[0]})")
        yield started
        started.close()


@pytest.fixture(scope="module")
def show(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opener]:
    yield Opener(browser, tmp_path_factory.mktemp("pages"))
    for context in browser.contexts:
        context.close()
