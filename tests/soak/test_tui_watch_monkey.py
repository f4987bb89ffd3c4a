"""Random keys while a watch runs: nothing crashes, and no line that was read is missing.

The instrument sends a line now and then; what the watch says it recorded is compared with the file.
"""

import asyncio
import os
import random
import threading
import tty
from pathlib import Path

import pytest
from capture.ptywatch import readings
from firing.tui.app import FiringApp
from firing.tui.document import open_file
from firing.tui.live_watch import LiveWatch
from soak.test_tui_monkey import KEYS, LOG, PLAN, check_kept, leave

from firing.watch.options import WatchOptions

WATCH_KEYS = [*KEYS, "ctrl+l", "ctrl+l", "ctrl+x", "escape"]


async def run(folder: Path, seed: int, keys: int) -> tuple[int, list[LiveWatch]]:
    """Press keys until they are used up or the program was left; returns the watches there were."""
    rng = random.Random(seed)
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)
    options = WatchOptions(os.ttyname(slave), out=folder / f"out-{seed}.csv")
    app = FiringApp(open_file(folder / "plan.toml"), folder / "state", watch=options)
    watches: list[LiveWatch] = []
    number = 0
    try:
        async with app.run_test(size=rng.choice([(80, 24), (120, 36), (60, 15)])) as pilot:
            for number in range(keys):
                watch = app.session.watch
                if watch is not None and watch not in watches:
                    watches.append(watch)
                if app.return_value is not None or not app.is_running:
                    break
                os.write(master, f"{20 + 0.1 * number:.2f}\n".encode())
                await pilot.press(rng.choice(WATCH_KEYS))
                if number % 10 == 0:
                    check_kept(app)
            await leave(app, pilot)
    finally:
        # The last key may have begun one, too, which would go on trying its port for ever.
        if app.session.watch is not None and app.session.watch not in watches:
            watches.append(app.session.watch)
        ended = [watch.end(20.0) for watch in watches]
        app.session.journal.close()
        for left in (folder / "state").glob("*"):
            left.unlink()
        os.close(master)
        os.close(slave)
    assert all(ended)
    return number + 1, watches


def held() -> tuple[set[str], set[threading.Thread]]:
    """Return what the process holds open besides its own files, and its threads."""
    files = Path("/proc/self/fd")
    links = {f"{one.name} {os.readlink(one)}" for one in files.iterdir() if one.is_symlink()}
    return {link for link in links if "/proc/" not in link}, set(threading.enumerate())


def press_many(folder: Path, seed: int, keys: int) -> None:
    pressed, before = 0, held()
    while pressed < keys:
        done, watches = asyncio.run(run(folder, seed, min(keys - pressed, 500)))
        assert held() == before, "left open"
        pressed += done
        seed += 1
        rows: dict[Path, int] = {}
        for watch in watches:
            assert "unforeseen" not in watch.seen.why
            kept = watch.seen.recording
            if kept is not None:
                assert watch.seen.complete
                file = Path(kept.file)
                rows[file] = rows.get(file, 0) + kept.rows
        for file, number in rows.items():
            assert len(readings(file)) == number


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.setattr("textual._wait.SLEEP_GRANULARITY", 0.003)
    monkeypatch.setattr("textual._wait.SLEEP_IDLE", 0.0015)
    # No port of this machine is opened by chance, and no program run by one.
    monkeypatch.setattr("firing.capture.serial_port.list_ports", lambda: ())
    monkeypatch.setattr("firing.watch.alarm_command.AlarmCommand.tell", lambda self, event: None)
    (tmp_path / "plan.toml").write_text(PLAN, encoding="utf-8")
    (tmp_path / "log.csv").write_text(LOG, encoding="utf-8")
    return tmp_path


@pytest.mark.soak
def test_two_hundred_random_keys_on_a_watch(folder: Path) -> None:
    press_many(folder, 20260303, 200)


@pytest.mark.soak
@pytest.mark.parametrize("seed", range(2))
def test_two_thousand_random_keys_on_a_watch(folder: Path, seed: int) -> None:
    press_many(folder, 100 * seed, 2000)
