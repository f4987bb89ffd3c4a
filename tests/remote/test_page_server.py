"""The page's server: who may look, that nobody can do more than answer a call, and reconnecting."""

import os
import re
import socket
import threading
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from remote.serving import TOKEN, MadeWatch, Served, free_port, served
from waiting import wait_until

from firing.errors import FiringError
from firing.remote.page import WatchParts, tab_title
from firing.remote.page_server import PageAddress, PageServer, kept_token
from firing.watch.fault_isolation import FaultIsolation
from firing.watch.snapshot import Stage, WatchRemark


@pytest.fixture(scope="module")
def local() -> Iterator[Served]:
    with served() as found:
        yield found


@pytest.fixture(scope="module")
def lan() -> Iterator[Served]:
    with served(TOKEN) as found:
        yield found


def answer_token(page: str) -> str:
    found = re.search(r'data-token="([^"]+)"', page)
    assert found is not None
    return found[1]


def test_the_page_shows_the_figures_and_lets_nothing_foreign_in(local: Served) -> None:
    answer = local.ask()
    assert answer.status == 200
    # 120 °C at 21:00, as the watch laid down; its note is text and no markup
    for words in ("120<small>", "Made plan", "&lt;b&gt;bold&lt;/b&gt; words &amp; more", "<svg"):
        assert words in answer.text
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "frame-ancestors 'none'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert answer.headers["cache-control"] == "no-store"
    # No address but that of the standard SVG needs none: nothing is fetched from anywhere.
    assert not re.search(r'(?:src|href)="(?!data:,)', answer.text)


@pytest.mark.parametrize("stage", ["lost", "silent"])
def test_an_old_temperature_does_not_pass_for_one_of_now(stage: Stage) -> None:
    watch = MadeWatch()
    watch.lay_down(stage=stage, read_s=3540.0)
    parts = WatchParts(0, watch.shown()).html(watch.seen, FaultIsolation())
    assert 'class="hot old">120<small>' in parts["now-0"]
    assert "No reading now: this was at 20:59." in parts["now-0"]
    assert tab_title([watch.shown()], [watch.seen]) == "–"


@pytest.mark.parametrize(
    "host", ["kiln.example", "kiln.example:80", "127.0.0.1", "127.0.0.1:1", "", "192.0.2.7:{port}"]
)
def test_a_foreign_name_is_refused(local: Served, host: str) -> None:
    assert local.ask(Host=host.format(port=local.port)).status == 421


def test_the_names_of_this_computer_are_not_refused(local: Served) -> None:
    assert local.ask(Host=f"localhost:{local.port}").status == 200


def test_in_the_network_a_name_that_is_not_this_computers_is_refused(lan: Served) -> None:
    assert lan.ask(Host=f"kiln.example:{lan.port}").status == 421
    assert lan.ask(Host=f"192.0.2.7:{lan.port}").status == 403


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "HEAD", "TRACE"])
def test_other_methods_are_refused(local: Served, method: str) -> None:
    assert local.ask(method=method).status == 405


@pytest.mark.parametrize("path", ["/", "/events", "/set", "/acknowledge/1"])
def test_nothing_but_a_call_can_be_answered(local: Served, path: str) -> None:
    headers = {"Origin": f"http://127.0.0.1:{local.port}"}
    token = answer_token(local.ask().text)
    answer = local.ask(path, "POST", {"watch": 0, "call": 1}, X_Firing_Token=token, **headers)
    assert answer.status == 405


def test_a_call_is_answered_by_the_page_itself_alone(local: Served) -> None:
    number = local.watch.call()
    own = {
        "Origin": f"http://127.0.0.1:{local.port}",
        "X_Firing_Token": answer_token(local.ask().text),
    }
    question = {"watch": 0, "call": number}
    without_token = {"Origin": own["Origin"]}
    foreign = own | {"Origin": "http://kiln.example"}
    wrong = own | {"X_Firing_Token": "x"}
    for headers in ({}, without_token, foreign, wrong):
        assert local.ask("/acknowledge", "POST", question, **headers).status == 403
    assert local.watch.board.open()[-1].unanswered
    assert local.ask("/snooze", "POST", question, **own).status == 204
    assert local.watch.board.open()[-1].snoozed
    assert local.ask("/acknowledge", "POST", question, **own).status == 204
    assert local.watch.board.open()[-1].acknowledged
    gone = {"watch": 0, "call": number + 1}
    assert local.ask("/acknowledge", "POST", gone, **own).status == 404
    bad_questions: list[object] = [
        {"watch": 7, "call": 1}, {"watch": -1, "call": 1}, {"call": True}, [], "x", None,
    ]  # fmt: skip
    for bad in bad_questions:
        assert local.ask("/acknowledge", "POST", bad, **own).status == 400


@pytest.mark.parametrize("path", ["/", "/events", "/?token=", "/?token=abcdefghjkmnpqrt"])
def test_without_the_token_nothing_is_shown_in_the_network(
    lan: Served, path: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("firing.remote.page_server.WRONG_TOKEN_S", 0.0)
    answer = lan.ask(path)
    assert answer.status == 403
    assert "120" not in answer.text
    posted = lan.ask("/acknowledge", "POST", {"watch": 0, "call": 1})
    assert posted.status == 403


def test_the_token_is_exchanged_for_a_cookie_that_no_script_can_read(lan: Served) -> None:
    answer = lan.ask(f"/?token={TOKEN}")
    assert answer.status == 303
    assert answer.headers["location"] == "/"
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=Lax" in cookie
    assert TOKEN not in cookie
    held = cookie.split(";")[0]
    page = lan.ask(Cookie=held)
    assert page.status == 200
    assert TOKEN not in page.text
    assert next(lan.events(Cookie=held))["parts"]


def test_an_open_page_is_sent_what_has_changed_and_nothing_else() -> None:
    with served() as found:
        events = found.events()
        first = next(events)
        assert set(first["parts"]) >= {"now-0", "curve-0", "told-0"}
        found.watch.lay_down(temperature_c=321.0)
        changed = next(event for event in events if event["parts"])
    assert set(changed["parts"]) == {"now-0"}
    assert "321<small>" in changed["parts"]["now-0"]
    assert "321" in changed["title"]


@pytest.mark.soak
def test_fifty_open_pages_all_hear_whoever_else_never_reads() -> None:
    with served() as found:
        reading = [found.events() for _ in range(50)]
        for events in reading:
            next(events)
        never_read = [socket.create_connection(("127.0.0.1", found.port)) for _ in range(20)]
        host = f"Host: 127.0.0.1:{found.port}"
        for line in never_read:
            line.sendall(f"GET /events HTTP/1.1\r\n{host}\r\n\r\n".encode())
        heard: list[int] = []

        def listen(number: int) -> None:
            if any("777<small>" in e.get("parts", {}).get("now-0", "") for e in reading[number]):
                heard.append(number)

        threads = [threading.Thread(target=listen, args=(number,)) for number in range(50)]
        for thread in threads:
            thread.start()
        for number in range(5):
            remark = WatchRemark(0.0, "note", f"{number}" * 100_000)
            found.watch.lay_down(temperature_c=float(number), remarks=(remark,))
            wait_until(lambda number=number: f">{number}<small>" in found.ask().text)
        found.watch.lay_down(temperature_c=777.0)
        wait_until(lambda: len(heard) == 50)
        assert found.ask().status == 200
        for line in never_read:
            line.close()


def test_closing_tells_open_pages_and_frees_the_port() -> None:
    with served() as found:
        events = found.events()
        next(events)
        begun_s = time.monotonic()
        found.server.close()
        took_s = time.monotonic() - begun_s
        assert any(event.get("over") for event in events)
        assert took_s < 2.0
        with pytest.raises(OSError, match="refused"):
            found.ask()


def test_a_port_that_is_taken_is_served_as_soon_as_it_is_free(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr("firing.remote.page_server.OPEN_AGAIN_S", 0.05)
    port, watch = free_port(), MadeWatch()
    server = PageServer([watch.shown()], PageAddress(port))
    with socket.socket() as holder:
        holder.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        holder.bind(("127.0.0.1", port))
        holder.listen()
        first, where = server.begin()
        assert "another program has it" in first
        assert where == f"the page will be at http://127.0.0.1:{port}/"
    found = Served(server, port, watch)
    until_s = time.monotonic() + 10.0
    while not server.remarks() and time.monotonic() < until_s:
        time.sleep(0.02)
    assert found.ask().status == 200
    server.close()


@pytest.mark.parametrize(
    "raw",
    [
        b"\x00\xff\x00\xff\r\n\r\n",
        b"GET\r\n\r\n",
        b"GET / HTTP/2.0\r\nHost: x\r\n\r\n",
        b"GET / HTTP/1.1\r\n" + b"A: b\r\n" * 5000 + b"\r\n",
        b"POST /acknowledge HTTP/1.1\r\nContent-Length: 999999999\r\n\r\n",
        b"POST /acknowledge HTTP/1.1\r\nTransfer-Encoding: chunked\r\n\r\n",
        b"GET http://[ HTTP/1.1\r\n\r\n",
    ],
)
def test_what_is_no_question_ends_nothing(local: Served, raw: bytes) -> None:
    with socket.create_connection(("127.0.0.1", local.port), timeout=10.0) as asked:
        asked.sendall(raw)
        answer = asked.recv(100)
    assert not answer.startswith(b"HTTP/1.1 2")
    assert local.ask().status == 200


def test_a_part_that_fails_leaves_the_others_there_and_is_told() -> None:
    with served() as found:
        events = found.events()
        next(events)
        # a curve that cannot be drawn
        found.watch.lay_down(course_c=None, time_s=np.array([0.0, 1.0]), temperature_c=456.0)
        changed = next(event["parts"] for event in events if event["parts"])
        assert "cannot be shown" in changed["curve-0"]
        assert "456<small>" in changed["now-0"]
        until_s = time.monotonic() + 10.0
        told: list[str] = []
        while not told and time.monotonic() < until_s:
            told = found.server.remarks()
            time.sleep(0.02)
    assert "the page's curve failed" in told[0]


@pytest.mark.skipif(os.name != "posix", reason="modes of files")
def test_the_token_is_kept_so_that_phones_stay_known_and_no_other_user_reads_it(
    tmp_path: Path,
) -> None:
    path = tmp_path / "state" / "page-token"
    token = kept_token(path)
    assert path.stat().st_mode & 0o777 == 0o600
    assert kept_token(path) == token
    assert len(token) == 16
    path.chmod(0o644)
    with pytest.raises(FiringError, match="others can read"):
        kept_token(path)
