"""The page of a running firing, served to a browser by a thread of its own.

It reads what watches have laid down, twice a second, and sends every open page what has changed.
Nothing here can be waited for by a watch.  A browser may only look, and answer a call.

Who may look: on this computer everybody; in the local network whoever brings the token once, which
is then kept as a cookie.  It is plain HTTP, so whoever listens in that network can read along.
"""

from __future__ import annotations

import asyncio
import contextlib
import errno
import hashlib
import hmac
import ipaddress
import json
import os
import secrets
import socket
import stat
import threading
import time
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import parse_qs, urlsplit

from firing.errors import FiringError
from firing.remote.page import ShownWatch, WatchParts, reading_age_s, tab_title, whole_page
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.snapshot import WatchState

DEFAULT_PORT = 8437
LOOK_EVERY_S = 0.5
"""How often it is looked what the watches have laid down [s]."""
WORD_EVERY_S = 4.0
"""An open page hears something at least so often, and otherwise knows that it is cut off [s]."""
OPEN_AGAIN_S = 5.0
"""A port that is taken is tried again so often [s]."""
CLOSING_S = 1.0
PATIENCE_S = 10.0
"""How long a browser may take for its question, and for taking in an answer [s]."""
MOST_BROWSERS = 150
LONGEST_HEAD, LONGEST_BODY = 8192, 1024
MOST_UNREAD = 1 << 20
"""A page that has so many bytes unread is cut off [bytes]."""
WRONG_TOKEN_S = 1.0
"""How long a wrong token waits for its answer [s]."""
_TOKEN_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
_TOKEN_LENGTH = 16

_ASK = """<!DOCTYPE html>
<html lang="en"><head><meta charset="utf-8"><title>Token</title>
<meta name="viewport" content="width=device-width, initial-scale=1">
<meta name="referrer" content="no-referrer"><link rel="icon" href="data:,"></head>
<body><p>This page needs the token that the watch printed when it started.</p>
<form action="/" method="get"><p><label>Token <input name="token" autocomplete="off"
autocapitalize="none" spellcheck="false"></label> <button>Open the page</button></p></form>
</body></html>
"""


@dataclass(frozen=True)
class PageAddress:
    """Where a page is served: on this computer alone, or in the local network with a token."""

    port: int = DEFAULT_PORT
    token: str | None = None

    @property
    def url(self) -> str:
        """What a person opens; in the network it carries the token."""
        if self.token is None:
            return f"http://127.0.0.1:{self.port}/"
        return f"http://{own_address()}:{self.port}/?token={self.token}"


def own_address() -> str:
    """Return this computer's address in the local network; no packet is sent to find it."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asked:
        try:
            asked.connect(("192.0.2.1", 9))  # an address for documentation (RFC 5737)
            return str(asked.getsockname()[0])
        except OSError:
            return "127.0.0.1"


def kept_token(path: Path | None = None) -> str:
    """Return the token of this user's pages, made at the first call, so that phones stay known.

    `FiringError` if it cannot be kept to oneself.
    """
    if path is None:
        from platformdirs import user_state_dir

        path = Path(user_state_dir("firing", appauthor=False)) / "page-token"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        with contextlib.suppress(FileExistsError):
            made = "".join(secrets.choice(_TOKEN_LETTERS) for _ in range(_TOKEN_LENGTH))
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
            with os.fdopen(handle, "w", encoding="ascii") as file:
                file.write(f"{made}\n")
        with path.open(encoding="ascii") as file:
            mode = os.fstat(file.fileno()).st_mode
            token = file.read(200).strip()
    except (OSError, ValueError) as fault:
        reason = getattr(fault, "strerror", None) or "it is no text"
        raise FiringError(f"{path}: the page's token cannot be kept there: {reason}") from None
    if os.name == "posix" and stat.S_IMODE(mode) & 0o077:
        raise FiringError(
            f"{path}: others can read the page's token; delete the file, and a new token is made"
        )
    if len(token) < _TOKEN_LENGTH or not set(token) <= set(_TOKEN_LETTERS):
        raise FiringError(f"{path}: is no token; delete the file, and a new one is made")
    return token


_BARE = "default-src 'none'; form-action 'self'; frame-ancestors 'none'; img-src data:"
"""The content policy of whatever has no script and no style."""


@dataclass(eq=False)
class _Browser:
    """An open page: where its parts go."""

    writer: asyncio.StreamWriter
    wake: asyncio.Event = field(default_factory=asyncio.Event)


@dataclass(frozen=True)
class _Request:
    method: str
    path: str
    query: str
    headers: dict[str, str]
    body: bytes


class _Refused(Exception):
    """A question that is not answered, with the status and a sentence."""

    def __init__(self, status: str, words: str) -> None:
        super().__init__(words)
        self.status = status


class PageServer:
    """Serves the page of one or several watches until it is closed."""

    def __init__(self, watches: Sequence[ShownWatch], address: PageAddress) -> None:
        self._watches = tuple(watches)
        self._address = address
        self._instance = secrets.token_hex(8)
        self._answer_token = secrets.token_urlsafe(16)
        self._views = [WatchParts(number, watch) for number, watch in enumerate(self._watches)]
        self._seen: list[WatchState | None] = [None] * len(self._watches)
        self._laid_s = [time.monotonic()] * len(self._watches)
        self._parts: dict[str, str] = {}
        self._browsers: set[_Browser] = set()
        self._tasks: set[asyncio.Task[None]] = set()
        self._isolation = FaultIsolation("watching and recording go on")
        self._remarks: deque[str] = deque(maxlen=20)
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="page", daemon=True)
        cookie = "" if address.token is None else address.token
        self._cookie_name = f"firing_page_{address.port}"
        self._cookie = hmac.new(cookie.encode(), b"page cookie", hashlib.sha256).hexdigest()

    # For whoever owns it

    def begin(self) -> list[str]:
        """Serve, from now on; returns where, for the person at this computer alone."""
        found = []
        listening = self._listen()
        if listening is None:
            found.append(f"{self._why}; the watch goes on, and the port is tried again")
        verb = "is" if listening else "will be"
        found.append(f"the page {verb} at {self._address.url}")
        if self._address.token is not None:
            found.append(
                "whoever has that address can see the page, and whoever listens in this network "
                "can read it; nobody can switch anything there"
            )
        self._listening = listening
        self._thread.start()
        return found

    def remarks(self) -> list[str]:
        """Return what a person has to be told and was not yet, a sentence each."""
        found = []
        while self._remarks:
            found.append(self._remarks.popleft())
        return found

    def close(self) -> None:
        """Say to open pages that it is over, and let the port go."""
        self._over.set()
        if self._thread.ident is not None:
            self._thread.join(2.0 * CLOSING_S)

    # The thread

    _why = ""
    _listening: socket.socket | None = None

    def _listen(self) -> socket.socket | None:
        """Return the port, open; None if it cannot be had, and `_why`."""
        where = "127.0.0.1" if self._address.token is None else ""
        listening = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
        try:
            if os.name == "posix":  # elsewhere it would let another program take the port over
                listening.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
            listening.bind((where, self._address.port))
            listening.listen(MOST_BROWSERS)
        except OSError as fault:
            listening.close()
            taken = fault.errno == errno.EADDRINUSE
            reason = "another program has it" if taken else fault.strerror or str(fault)
            self._why = f"no page can be served at port {self._address.port}: {reason}"
            return None
        return listening

    def _run(self) -> None:
        try:
            asyncio.run(self._serve())
        except Exception as error:  # whatever it is, the watch does not die of its page
            self._remarks.append(f"the page failed ({type(error).__name__}); the watch goes on")

    async def _serve(self) -> None:
        listening = self._listening
        while listening is None:
            if await self._passed(OPEN_AGAIN_S):
                return
            listening = self._listen()
            if listening is not None:
                self._remarks.append(f"port {self._address.port} is free now: the page is there")
        server = await asyncio.start_server(self._answer, sock=listening, limit=LONGEST_HEAD)
        async with server:
            await self._look_on()
            server.close()
            self._send({"over": True})
            for browser in self._browsers:
                browser.wake.set()
            ending = [task for task in self._tasks if not task.done()]
            if ending:
                _, hanging = await asyncio.wait(ending, timeout=CLOSING_S / 2.0)
                for task in hanging:
                    task.cancel()

    async def _passed(self, seconds: float) -> bool:
        """Let some time pass; returns whether it is over."""
        until = asyncio.get_running_loop().time() + seconds
        while not self._over.is_set() and asyncio.get_running_loop().time() < until:
            await asyncio.sleep(min(0.1, seconds))
        return self._over.is_set()

    async def _look_on(self) -> None:
        """Send what has changed to the open pages, until it is over."""
        word_s = -WORD_EVERY_S
        loop = asyncio.get_running_loop()
        while True:
            changed = self._changed()
            if changed or loop.time() - word_s >= WORD_EVERY_S:
                word_s = loop.time()
                self._send({"parts": changed})
            for sentence in self._isolation.remarks():
                self._remarks.append(sentence)
            if await self._passed(LOOK_EVERY_S):
                self._changed_last()
                return

    def _changed_last(self) -> None:
        changed = self._changed()
        if changed:
            self._send({"parts": changed})

    def _changed(self) -> dict[str, str]:
        """Return the parts that are not as they were."""
        found: dict[str, str] = {}
        for number, watch in enumerate(self._watches):
            seen = watch.seen()
            if seen is self._seen[number]:
                continue
            self._seen[number], self._laid_s[number] = seen, time.monotonic()
            found |= self._views[number].html(seen, self._isolation)
        changed = {name: html for name, html in found.items() if self._parts.get(name) != html}
        self._parts |= changed
        return changed

    def _send(self, told: dict[str, Any]) -> None:
        """Send every open page the same bytes; one that does not take them is cut off."""
        if not self._browsers:
            return
        event = self._event(told)
        for browser in tuple(self._browsers):
            transport = browser.writer.transport
            if transport.is_closing() or transport.get_write_buffer_size() > MOST_UNREAD:
                transport.abort()
                browser.wake.set()
            else:
                browser.writer.write(event)

    def _event(self, told: dict[str, Any]) -> bytes:
        now_s = time.monotonic()
        # A watch that hangs lays nothing down, and then its readings grow old all the same.
        ages = [
            None
            if seen is None or (age_s := reading_age_s(seen)) is None
            else round(age_s + now_s - laid_s, 1)
            for seen, laid_s in zip(self._seen, self._laid_s, strict=True)
        ]
        data = json.dumps(
            {"instance": self._instance, "ages": ages, "title": self._title(), **told},
            ensure_ascii=False,
        )
        return f"data: {data}\n\n".encode()

    def _title(self) -> str:
        return tab_title(self._watches, self._seen)

    # What a browser asks

    async def _answer(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        task = asyncio.current_task()
        assert task is not None
        self._tasks.add(task)
        try:
            if len(self._tasks) > MOST_BROWSERS:
                await self._write(writer, "503 Service Unavailable", "Too many pages are open.\n")
                return
            try:
                request = await asyncio.wait_for(_read(reader), PATIENCE_S)
                await self._serve_request(request, writer)
            except _Refused as refused:
                more = {"Allow": "GET"} if refused.status.startswith("405") else {}
                await self._write(writer, refused.status, f"{refused}\n", **more)
        except (OSError, EOFError, TimeoutError, ValueError, asyncio.LimitOverrunError):
            pass  # whoever asked is gone, too slow, or speaks something else
        finally:
            self._tasks.discard(task)
            writer.transport.abort() if writer.transport.is_closing() else writer.close()

    async def _serve_request(self, request: _Request, writer: asyncio.StreamWriter) -> None:
        self._check_host(request)
        if request.method == "POST":
            self._check_known(request)
            await self._take_answer(request, writer)
            return
        if request.method != "GET":
            raise _Refused("405 Method Not Allowed", "This page can only be read.")
        if request.path == "/" and self._address.token is not None:
            token = parse_qs(request.query).get("token")
            if token is not None:
                await self._let_in(token[0], writer)
                return
            if not self._is_known(request):
                await self._write(writer, "403 Forbidden", _ASK, kind="text/html")
                return
        self._check_known(request)
        if request.path == "/":
            text, policy = whole_page(
                self._watches, self._parts, self._instance, self._answer_token, self._title()
            )
            await self._write(writer, "200 OK", text, kind="text/html", policy=policy)
        elif request.path == "/events":
            await self._stream(writer)
        else:
            raise _Refused("404 Not Found", "There is nothing here.")

    async def _stream(self, writer: asyncio.StreamWriter) -> None:
        browser = _Browser(writer)
        writer.write(_head("200 OK", "text/event-stream"))
        writer.write(b"retry: 2000\n\n" + self._event({"parts": self._parts}))
        self._browsers.add(browser)
        try:
            await browser.wake.wait()
            await asyncio.wait_for(writer.drain(), CLOSING_S / 4.0)
        finally:
            self._browsers.discard(browser)

    async def _take_answer(self, request: _Request, writer: asyncio.StreamWriter) -> None:
        """Acknowledge or snooze a call; nothing else can be asked for."""
        if request.path not in ("/acknowledge", "/snooze"):
            raise _Refused("405 Method Not Allowed", "Only a call can be answered here.")
        host, sent = request.headers.get("host", ""), request.headers.get("x-firing-token", "")
        same_origin = request.headers.get("origin") == f"http://{host}"
        if not (same_origin and hmac.compare_digest(sent.encode(), self._answer_token.encode())):
            raise _Refused("403 Forbidden", "Only the page itself can answer a call.")
        try:
            asked = json.loads(request.body)
            watch, call = asked["watch"], asked["call"]
            if type(watch) is not int or type(call) is not int or watch < 0:
                raise ValueError
            calls = self._watches[watch].calls()
        except (ValueError, KeyError, TypeError, IndexError):
            raise _Refused("400 Bad Request", "No call is named.") from None
        answer = None
        if calls is not None:
            answer = calls.acknowledge if request.path == "/acknowledge" else calls.snooze
        if answer is None or not answer(call):
            raise _Refused("404 Not Found", "That call is no longer open.")
        await self._write(writer, "204 No Content", "")

    def _check_host(self, request: _Request) -> None:
        """Refuse names that are not this computer's, which a foreign page may have pointed here."""
        name, _, port = request.headers.get("host", "").rpartition(":")
        if port == str(self._address.port) and self._is_own(name.lower()):
            return
        raise _Refused("421 Misdirected Request", "This page is not at that name.")

    def _is_own(self, name: str) -> bool:
        if name in ("127.0.0.1", "localhost"):
            return True
        if self._address.token is None:
            return False
        host = socket.gethostname().lower()
        if name in (host, f"{host}.local"):
            return True
        try:
            # A foreign page can point a name of its own at this computer, but no number.
            ipaddress.ip_address(name)
        except ValueError:
            return False
        return True

    def _is_known(self, request: _Request) -> bool:
        if self._address.token is None:
            return True
        held = [part.strip() for part in request.headers.get("cookie", "").split(";")]
        wanted = f"{self._cookie_name}={self._cookie}".encode()
        return any(hmac.compare_digest(part.encode(), wanted) for part in held)

    def _check_known(self, request: _Request) -> None:
        if not self._is_known(request):
            raise _Refused("403 Forbidden", "This page needs the token that the watch printed.")

    async def _let_in(self, token: str, writer: asyncio.StreamWriter) -> None:
        """Exchange the token for a cookie at once, so that it stays in no address line."""
        right = self._address.token or ""
        if not hmac.compare_digest(token.strip().lower().encode(), right.encode()):
            await asyncio.sleep(WRONG_TOKEN_S)
            await self._write(writer, "403 Forbidden", _ASK, kind="text/html")
            return
        cookie = (
            f"{self._cookie_name}={self._cookie}; HttpOnly; SameSite=Lax; Path=/; Max-Age=31536000"
        )
        await self._write(writer, "303 See Other", "", **{"Location": "/", "Set-Cookie": cookie})

    async def _write(
        self,
        writer: asyncio.StreamWriter,
        status: str,
        text: str,
        *,
        kind: str = "text/plain",
        policy: str = _BARE,
        **more: str,
    ) -> None:
        body = text.encode()
        headers = {"Content-Length": str(len(body)), "Content-Security-Policy": policy, **more}
        writer.write(_head(status, kind, headers) + body)
        await asyncio.wait_for(writer.drain(), PATIENCE_S)


def _head(status: str, kind: str, more: dict[str, str] | None = None) -> bytes:
    headers = {
        "Content-Type": f"{kind}; charset=utf-8",
        "Cache-Control": "no-store",
        "Connection": "close",
        "X-Content-Type-Options": "nosniff",
        "X-Frame-Options": "DENY",
        "Referrer-Policy": "no-referrer",
        "Cross-Origin-Resource-Policy": "same-origin",
        "Cross-Origin-Opener-Policy": "same-origin",
        **(more or {}),
    }
    lines = "".join(f"{name}: {value}\r\n" for name, value in headers.items())
    return f"HTTP/1.1 {status}\r\n{lines}\r\n".encode("latin-1")


async def _read(reader: asyncio.StreamReader) -> _Request:
    """Read one question (RFC 9112), as small as any that this page has."""
    head = (await reader.readuntil(b"\r\n\r\n")).decode("latin-1")
    first, *lines = head.split("\r\n")
    method, target, version = first.split(" ")
    if not version.startswith("HTTP/1."):
        raise ValueError(version)
    headers: dict[str, str] = {}
    for line in lines:
        name, colon, value = line.partition(":")
        if not colon:
            continue
        if name.lower() in headers and name.lower() in ("host", "content-length"):
            raise _Refused("400 Bad Request", "A header comes twice.")
        headers[name.lower()] = value.strip()
    length = headers.get("content-length", "0")
    if "transfer-encoding" in headers or not length.isascii() or not length.isdigit():
        raise _Refused("400 Bad Request", "The length of the question is not known.")
    if int(length) > LONGEST_BODY:
        raise _Refused("413 Content Too Large", "That is too long.")
    body = await reader.readexactly(int(length))
    parts = urlsplit(target)
    return _Request(method, parts.path, parts.query, headers, body)
