"""A real browser for the pages: Debian's Chromium, driven by Playwright."""

import os
import shutil
from collections.abc import Iterator

import pytest
from page.browsing import Opener
from playwright.sync_api import Browser, sync_playwright

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    found = os.environ.get("CHROMIUM") or shutil.which("chromium")
    if not found:
        pytest.fail(
            "the page tests need Chromium: install it (apt-get install chromium) or put its path "
            "into the environment variable CHROMIUM",
            pytrace=False,
        )
    with sync_playwright() as playwright:
        started = playwright.chromium.launch(executable_path=found, args=ARGUMENTS)
        yield started
        started.close()


@pytest.fixture(scope="module")
def show(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opener]:
    yield Opener(browser, tmp_path_factory.mktemp("pages"))
    for context in browser.contexts:
        context.close()
