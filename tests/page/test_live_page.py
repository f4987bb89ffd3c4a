"""The page of a running firing on a phone: its width, its requests, its answers, its restarts."""

from dataclasses import replace

import pytest
from playwright.sync_api import Browser, BrowserContext, Page
from remote.serving import SEEN, TOKEN, MadeWatch, served

from firing.remote.page_server import PageAddress, PageServer

pytestmark = pytest.mark.soak

PATIENCE_MS = 20_000


def opened(context: BrowserContext, url: str) -> tuple[Page, list[str], list[str]]:
    """Open an address; return the page, what it asks for, and what it complains of."""
    page = context.new_page()
    page.set_default_timeout(PATIENCE_MS)
    requests: list[str] = []
    complaints: list[str] = []
    page.on("request", lambda asked: requests.append(asked.url))
    page.on("console", lambda said: complaints.append(said.text))
    page.on("pageerror", lambda error: complaints.append(str(error)))
    page.goto(url)
    page.wait_for_selector("#link:has-text('Reading now')")
    return page, requests, complaints


@pytest.mark.parametrize(("width", "scheme"), [(320, "light"), (390, "dark"), (1280, "light")])
def test_it_fits_the_phone_and_asks_nobody_else(browser: Browser, width: int, scheme: str) -> None:
    with served() as found:
        found.watch.call()
        assert SEEN.estimate is not None
        # The longest that a range can be: of another day, and without an end.
        endless = replace(SEEN.estimate, unload_s=1.5e5, unload_low_s=1e5, unload_high_s=None)
        found.watch.lay_down(estimate=endless)
        context = browser.new_context(
            viewport={"width": width, "height": 844},
            color_scheme="dark" if scheme == "dark" else "light",
        )
        page, requests, complaints = opened(context, f"http://127.0.0.1:{found.port}/")
        assert "or later, perhaps never" in page.inner_text("dl")
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        own = f"http://127.0.0.1:{found.port}/"
        assert set(requests) == {own, f"{own}events"}
        assert complaints == []
        context.close()


def test_a_change_arrives_and_a_call_is_answered_with_a_finger(browser: Browser) -> None:
    with served(TOKEN) as found:
        found.watch.call()
        context = browser.new_context(viewport={"width": 390, "height": 844}, has_touch=True)
        page, _, complaints = opened(context, f"http://127.0.0.1:{found.port}/?token={TOKEN}")
        assert TOKEN not in page.url
        found.watch.lay_down(temperature_c=777.0)
        page.wait_for_selector(".hot:has-text('777')")
        page.tap("button:has-text('I have heard it')")
        page.wait_for_timeout(200)
        (call,) = found.watch.board.open()
        assert call.acknowledged
        found.watch.lay_down()
        page.wait_for_selector(".calls i:has-text('acknowledged')")
        assert page.query_selector(".calls button") is None
        assert complaints == []
        context.close()


def test_it_says_that_it_is_cut_off_and_comes_back_after_a_restart(browser: Browser) -> None:
    with served(TOKEN) as found:
        context = browser.new_context(viewport={"width": 390, "height": 844})
        page, _, _ = opened(context, f"http://127.0.0.1:{found.port}/?token={TOKEN}")
        found.server.close()
        page.wait_for_selector("#link:has-text('The watch has ended')")
        again = MadeWatch()
        again.lay_down(temperature_c=888.0)
        # Another program of the same user: the port and the kept token are the same.
        server = PageServer([again.shown()], PageAddress(found.port, TOKEN))
        server.begin()
        try:
            page.wait_for_selector(".hot:has-text('888')")
            page.wait_for_selector("#link:has-text('Reading now')")
        finally:
            server.close()
        context.close()
