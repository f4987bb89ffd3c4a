"""A made watch on a page that is served on this computer, and plain questions put to it."""

import http.client
import json
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from typing import Any

import numpy as np

from firing.remote.page import ShownWatch
from firing.remote.page_server import PageAddress, PageServer
from firing.schedule.schedule import Schedule, Segment
from firing.watch.calls import CallBoard
from firing.watch.events import WatchEvent
from firing.watch.snapshot import WatchRemark, WatchState
from firing.watch.state import Estimate

TOKEN = "abcdefghjkmnpqrs"
BEGAN = datetime(2026, 3, 2, 20, 0, tzinfo=UTC)
PLAN = Schedule(
    "Made plan", (Segment(600.0, 100.0, hold_s=1800.0, name="Rise", action="close the lid"),)
)
SEEN = WatchState(
    stage="reading",
    began=BEGAN,
    now_s=3600.0,
    temperature_c=120.0,
    read_s=3599.0,
    names=("kiln",),
    estimate=Estimate(3600.0, 120.0, 100.0, None, "", None, program_end_s=25_200.0),
    time_s=np.array([0.0, 1800.0, 3600.0]),
    course_c=np.array([20.0, 70.0, 120.0]),
    remarks=(WatchRemark(10.0, "note", "<b>bold</b> words & more"),),
)


class MadeWatch:
    """A watch that lays down what it is told to."""

    def __init__(self) -> None:
        self.board = CallBoard()
        self.seen = SEEN

    def shown(self, name: str = "") -> ShownWatch:
        return ShownWatch(name, PLAN, "C", lambda: self.seen, lambda: self.board)

    def lay_down(self, **what: Any) -> None:
        self.seen = replace(self.seen, open_calls=self.board.open(), **what)

    def call(self) -> int:
        """Raise an alarm; return its number."""
        self.board.take(WatchEvent("top", "act", "raised", 3590.0, "it is too hot"))
        self.lay_down()
        return self.board.open()[-1].number


def free_port() -> int:
    with socket.socket() as asked:
        asked.bind(("127.0.0.1", 0))
        return int(asked.getsockname()[1])


@dataclass
class Answer:
    """What came back: the status, the headers in lower case, and the text."""

    status: int
    headers: dict[str, str]
    text: str


@dataclass
class Served:
    """A page, and how to ask it something."""

    server: PageServer
    port: int
    watch: MadeWatch

    def ask(self, path: str = "/", method: str = "GET", body: Any = None, **headers: str) -> Answer:
        """Put one question; `Host` is right unless given."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10.0)
        sent = {"Host": f"127.0.0.1:{self.port}"} | {
            name.replace("_", "-"): value for name, value in headers.items()
        }
        data = None if body is None else json.dumps(body).encode()
        try:
            connection.request(method, path, data, sent)
            answer = connection.getresponse()
            text = answer.read().decode()
        finally:
            connection.close()
        return Answer(answer.status, {k.lower(): v for k, v in answer.getheaders()}, text)

    def events(self, **headers: str) -> Iterator[dict[str, Any]]:
        """Yield what an open page is sent."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=10.0)
        connection.request("GET", "/events", None, {"Host": f"127.0.0.1:{self.port}", **headers})
        answer = connection.getresponse()
        assert answer.status == 200
        try:
            while line := answer.readline():
                if line.startswith(b"data: "):
                    yield json.loads(line[6:])
        finally:
            connection.close()


@contextmanager
def served(token: str | None = None) -> Iterator[Served]:
    """Serve a made watch for a while."""
    watch, port = MadeWatch(), free_port()
    server = PageServer([watch.shown()], PageAddress(port, token))
    server.begin()
    try:
        until_s = time.monotonic() + 10.0
        while time.monotonic() < until_s:
            try:
                Served(server, port, watch).ask()
                break
            except OSError:
                time.sleep(0.02)
        yield Served(server, port, watch)
    finally:
        server.close()
