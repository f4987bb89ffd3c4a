"""A source file as the whole command, several kilns side by side, and the unit of a service."""

import http.client
import json
import os
import shlex
import socket
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest
from commandline import call
from remote.serving import free_port
from waiting import wait_until

from firing.capture.source_file import read_firing
from firing.errors import FiringError
from firing.remote.service import service_unit


@pytest.fixture
def feeds() -> Iterator[list[int]]:
    """Return two ports of instruments, of which each sends 40 lines and then hangs up."""
    servers = [socket.create_server(("127.0.0.1", 0)) for _ in range(2)]

    def feed(server: socket.socket, begin: float) -> None:
        while True:
            try:
                line, _ = server.accept()
            except OSError:
                return
            with line:
                line.sendall(f"{begin:.1f}\n".encode() * 40)
                stopped.wait(60.0)

    stopped = threading.Event()
    for number, server in enumerate(servers):
        arguments = (server, 100.0 * (number + 1))
        threading.Thread(target=feed, args=arguments, daemon=True).start()
    yield [int(server.getsockname()[1]) for server in servers]
    stopped.set()
    for server in servers:
        server.close()


def source_file(folder: Path, name: str, port: int, firing: str) -> Path:
    path = folder / f"{name}.toml"
    path.write_text(f'port = "socket://127.0.0.1:{port}"\n[firing]\n{firing}\n')
    return path


def test_files_that_a_source_file_names_lie_beside_it(tmp_path: Path) -> None:
    path = source_file(
        tmp_path, "kiln", 9, 'schedule = "plan.toml"\nkiln = "example-kiln"\nout = "a/firing.csv"'
    )
    found = read_firing(str(path))
    assert found.schedule == str(tmp_path / "plan.toml")
    assert found.kiln == "example-kiln"
    assert found.out == tmp_path / "a" / "firing.csv"
    assert found.notify is None
    (tmp_path / "example-kiln").write_text("mine")
    assert read_firing(str(path)).kiln == str(tmp_path / "example-kiln")


def test_a_slip_in_the_table_is_told_with_its_line(tmp_path: Path) -> None:
    path = source_file(tmp_path, "kiln", 9, 'shedule = "plan.toml"')
    with pytest.raises(FiringError, match=r'kiln.toml:3: firing shedule: .*"schedule"'):
        read_firing(str(path))


def test_two_kilns_are_watched_in_one_process_and_stand_on_one_page(
    feeds: list[int], tmp_path: Path
) -> None:
    page = free_port()
    first = source_file(
        tmp_path, "front", feeds[0], f'name = "Front"\nout = "front.csv"\npage = {page}'
    )
    second = source_file(tmp_path, "back", feeds[1], 'name = "Back"\nout = "back.csv"')
    shown: list[str] = []

    def look_and_end() -> None:
        def whole() -> bool:
            asked = http.client.HTTPConnection("127.0.0.1", page, timeout=5.0)
            try:
                asked.request("GET", "/", headers={"Host": f"127.0.0.1:{page}"})
                shown.append(asked.getresponse().read().decode())
            except OSError:
                return False
            finally:
                asked.close()
            return "100<small>" in shown[-1] and "200<small>" in shown[-1]

        try:
            wait_until(whole)
        finally:
            os.kill(os.getpid(), 15)

    looking = threading.Thread(target=look_and_end)
    looking.start()
    result = call(tmp_path, "watch", str(first), str(second), "--json", "--every", "1s")
    looking.join()
    assert result.returncode == 0
    assert "<h1>Front</h1>" in shown[-1]
    assert "<h1>Back</h1>" in shown[-1]
    documents = [json.loads(line) for line in result.stdout.splitlines()]
    assert {document["watch"] for document in documents} == {"Front", "Back"}
    for name, last in (("front", "100.0"), ("back", "200.0")):
        assert last in (tmp_path / f"{name}.csv").read_text()


def test_a_kiln_that_is_not_there_keeps_no_other_from_being_watched(
    feeds: list[int], tmp_path: Path
) -> None:
    source_file(tmp_path, "front", free_port(), 'out = "front.csv"')
    source_file(tmp_path, "back", feeds[1], 'out = "back.csv"')

    def end() -> None:
        back = tmp_path / "back.csv"
        try:
            wait_until(lambda: back.exists() and "200.0" in back.read_text())
        finally:
            os.kill(os.getpid(), 15)

    ending = threading.Thread(target=end)
    ending.start()
    result = call(tmp_path, "watch", "front.toml", "back.toml")
    ending.join()
    assert result.returncode == 0
    assert "front: socket://127.0.0.1:" in result.stderr
    assert "trying again until it is back" in result.stderr
    source_file(tmp_path, "back", free_port(), "")
    none = call(tmp_path, "watch", "front.toml", "back.toml")
    assert none.returncode == 2
    assert "nothing answers there" in none.stderr


def test_what_is_for_one_kiln_is_refused_for_several(tmp_path: Path) -> None:
    for name in ("a", "b"):
        source_file(tmp_path, name, 9, "")
    result = call(tmp_path, "watch", "a.toml", "b.toml", "--out", "x")
    assert "--out is for one kiln" in result.stderr
    assert "named twice" in call(tmp_path, "watch", "a.toml", "./a.toml").stderr
    assert "by their source files" in call(tmp_path, "watch", "a.toml", "/dev/ttyS9").stderr


def test_the_unit_of_a_service_runs_the_same_command_and_installs_nothing(tmp_path: Path) -> None:
    source_file(tmp_path, "kiln", 9, 'name = "Front kiln"')
    before = sorted(path.name for path in tmp_path.iterdir())
    result = call(tmp_path, "watch", "kiln.toml", "--every", "5m", "--print-service")
    assert result.returncode == 0
    lines = result.stdout.splitlines()
    (start,) = [line for line in lines if line.startswith("ExecStart=")]
    assert start.endswith(" watch kiln.toml --every 5m")
    assert f"WorkingDirectory={tmp_path}" in lines
    assert "Restart=on-failure" in lines
    assert "firing-watch-front-kiln.service: nothing is installed yet" in lines[0]
    assert sorted(path.name for path in tmp_path.iterdir()) == before


def test_no_file_of_its_folder_takes_the_place_of_a_module(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("firing.remote.service.shutil.which", lambda name: None)
    (start,) = [x for x in service_unit([], Path("/")).splitlines() if x.startswith("ExecStart=")]
    # -P leaves the working directory out of the path (python, command line)
    assert shlex.split(start.removeprefix("ExecStart="))[:3] == [sys.executable, "-P", "-m"]


def test_nothing_in_an_argument_is_expanded_by_systemd() -> None:
    assert "# firing-watch-grosser-ofen.service:" in service_unit([], Path("/"), "Großer Ofen")
    unit = service_unit(["watch", 'a "$HOME" %h\\.toml', ";", "-"], Path("/home/50%"))
    (start,) = [line for line in unit.splitlines() if line.startswith("ExecStart=")]
    # systemd.service(5): $$ is a dollar, %% a per cent sign; quoted, ; ends no command
    assert start.endswith(' watch "a \\"$$HOME\\" %%h\\\\.toml" ";" -')
    assert "WorkingDirectory=/home/50%%" in unit
    with pytest.raises(FiringError, match="line break"):
        service_unit(["watch", "a\nExecStart=b"], Path("/"))
