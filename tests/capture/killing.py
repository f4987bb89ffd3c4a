"""Kill a recording at random moments and see that nothing that was flushed is ever lost."""

import random
import threading
import time
from pathlib import Path

from capture.ptywatch import Instrument, Watch, readings, rows
from waiting import wait_until

from firing.logs.reader import read_log


class Sender:
    """Sends numbers that count up by a quarter degree, so that each line is known again."""

    def __init__(self, instrument: Instrument, every_s: float) -> None:
        self._instrument = instrument
        self._every_s = every_s
        self.sent = 0
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)
        self._thread.start()

    def _run(self) -> None:
        while not self._stop.wait(self._every_s):
            self.sent += 1
            if not self._instrument.heard():
                continue  # a wire loses what nobody reads; a terminal would wait, and for ever
            self._instrument.send(f"{20.0 + 0.25 * (self.sent % 4000):.2f},17.00\r\n".encode())

    def stop(self) -> None:
        self._stop.set()
        self._thread.join()


def check_kills(folder: Path, instrument: Instrument, kills: int, seed: int) -> None:
    """Kill ``firing watch`` with SIGKILL again and again while lines come in."""
    source = random.Random(seed)
    out = folder / "log.csv"
    sender = Sender(instrument, 0.004)
    try:
        kept: list[list[str]] = []
        for kill in range(kills):
            with Watch(
                folder, str(instrument.port), "--fields", "kiln,top", "--out", str(out)
            ) as w:
                have = len(rows(out))
                wait_until(lambda have=have: len(rows(out)) > have + 2, "lines in the file")  # type: ignore[misc]  # a default binds it
                time.sleep(source.uniform(0.0, 0.08))
                flushed = rows(out)
                w.process.kill()
                w.process.wait()
            after = rows(out)
            # what was there stays as it was, line by line
            assert after[: len(kept)] == kept
            assert after[: len(flushed)] == flushed
            kept = after
            gaps = sum(cells[-1].startswith("gap:") for cells in after)
            assert gaps == kill
        stamps = [cells[0] for cells in kept]
        assert stamps == sorted(set(stamps))
        values = readings(out)
        assert all(value * 4 == int(value * 4) and 20.0 <= value < 1020.0 for value in values)
        assert read_log(out, cleaning=False).used == len(kept)
    finally:
        sender.stop()
