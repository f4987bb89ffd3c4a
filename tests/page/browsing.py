"""Opening a document in the browser while recording all it asks for and complains of."""

from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Dialog, Page, Route


@dataclass
class Opened:
    """A document in the browser, its requests and its complaints."""

    page: Page
    requests: list[str] = field(default_factory=list)
    complaints: list[str] = field(default_factory=list)
    dialogs: list[str] = field(default_factory=list)

    @property
    def further_requests(self) -> list[str]:
        """Every request but the document itself and what it makes in its own memory."""
        assert self.requests[0].startswith("file:")
        return [url for url in self.requests[1:] if not url.startswith(("data:", "blob:"))]


class Opener:
    """Opens documents, each in a fresh context whose every request is recorded and none let out."""

    def __init__(self, browser: Browser, folder: Path) -> None:
        self._browser = browser
        self._folder = folder
        self._count = 0
        self._passing: list[BrowserContext] = []

    def __call__(
        self,
        html: str,
        *,
        width: int = 1100,
        dark: bool = False,
        javascript: bool = True,
        keep: bool = False,
    ) -> Opened:
        """Open a document; the one before is closed unless it was to be kept."""
        while self._passing:
            self._passing.pop().close()
        self._count += 1
        path = self._folder / f"page{self._count}.html"
        path.write_text(html, encoding="utf-8")
        context = self._browser.new_context(
            viewport={"width": width, "height": 900},
            color_scheme="dark" if dark else "light",
            java_script_enabled=javascript,
        )
        if not keep:
            self._passing.append(context)
        opened = Opened(context.new_page())

        def route(asked: Route) -> None:
            opened.requests.append(asked.request.url)
            if asked.request.url.startswith("file:"):
                asked.continue_()
            else:
                asked.abort()

        context.route("**/*", route)
        page = opened.page
        page.on("console", lambda said: opened.complaints.append(f"{said.type}: {said.text}"))
        page.on("pageerror", lambda error: opened.complaints.append(str(error)))

        def dismiss(dialog: Dialog) -> None:
            opened.dialogs.append(dialog.message)
            dialog.dismiss()

        page.on("dialog", dismiss)
        page.goto(path.as_uri())
        if javascript:
            page.wait_for_function(
                "[...document.querySelectorAll('.plot')]"
                ".every(plot => plot.querySelector('svg.main-svg'))"
            )
            page.wait_for_timeout(200)
        return opened
