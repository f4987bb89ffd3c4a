"""A whole day of four channels at one reading a second, sent as fast as it is taken."""

import subprocess
import sys
from datetime import datetime
from pathlib import Path

import numpy as np
import pytest
from capture.ptywatch import rows

from firing.capture.recorder import Recorder
from firing.capture.recording_file import header
from firing.logs.reader import read_log

pytestmark = pytest.mark.soak

HOURS = 24
MEMORY_BYTES = 5_000_000

# The session's own clock is moved a second for every line, so that a day goes by in minutes while
# everything else is what `firing watch` runs.
DAY = """
import gc, os, sys
from pathlib import Path
from firing.capture.fields import FieldLayout, LineParser
from firing.capture.text_lines import LineBuffer
from firing.capture.reading import PlausibilityCheck
from firing.capture.recorder import Recorder
from firing.capture.clock import TimeBase
from firing.forecast.forecast import forecast
from firing.schedule.file import open_schedule
from firing.watch.events import AlarmLimits
from firing.watch.watcher import Watcher
from firing.watch.predictor import ForecastPredictor
from firing.watch.kiln_model import KilnModel
from firing.kiln.file import parse_kiln
from firing.files.kinds import ready_text
import numpy as np

out, hours = Path(sys.argv[1]), int(sys.argv[2])
plan = open_schedule(Path(sys.argv[3]))
names = ("kiln", "top", "bottom", "shelf")
course = forecast(plan)
shape_s, shape_c = course.trace.time_s, course.trace.channel_c()
buffer, parser = LineBuffer(synchronise=False), LineParser(FieldLayout(names))
check = PlausibilityCheck(4)
model = KilnModel(
    parse_kiln(ready_text("example-kiln"), "kiln"), None, plan, ForecastPredictor(course)
)
watcher = Watcher(AlarmLimits(), plan, model, cones=("6",), model=model)
watcher.begin(0.0)
recorder = Recorder(out, names, TimeBase(1_772_000_000.0))
random = np.random.default_rng(24)
page = os.sysconf("SC_PAGE_SIZE")

def resident():
    gc.collect()
    return int(Path("/proc/self/statm").read_text().split()[1]) * page

for second in range(hours * 3600):
    kiln_c = float(np.interp(second, shape_s, shape_c))
    noise = random.normal(0.0, 0.3, 4)
    line = ",".join(f"{kiln_c + n:.2f}" for n in noise).encode() + b"\\r\\n"
    for whole in buffer.feed(line, float(second)):
        reading = parser.parse(whole)
        check.mark(float(second), reading)
        recorder.write(float(second), reading)
        watcher.add(float(second), reading, 0)
        recorder.tick()
    if second % 600 == 599:
        watcher.estimate(float(second))
    if second % 3600 == 3599:
        print(resident(), flush=True)
recorder.close()
watcher.close()
print(model.figures.refitted_s, file=sys.stderr)
"""


def test_a_day_takes_no_memory_and_its_stamps_do_not_drift(tmp_path: Path) -> None:
    out = tmp_path / "day.csv"
    plan = tmp_path / "plan.toml"
    plan.write_text(
        'title = "day"\n[[segment]]\nrate = 80\ntarget = 600\n[[segment]]\nrate = 100\n'
        'target = 1200\nhold = "30m"\n',
        encoding="utf-8",
    )
    done = subprocess.run(
        [sys.executable, "-c", DAY, str(out), str(HOURS), str(plan)],
        capture_output=True, text=True, check=True,
    )  # fmt: skip
    resident = [int(line) for line in done.stdout.split()]
    print(f"resident after each hour, MB: {[round(r / 1e6, 1) for r in resident]}")
    assert float(done.stderr) > 0.0, "no refit was made"
    # the first hours load what is needed for cones and estimates
    assert max(resident[3:]) - min(resident[3:]) <= 2 * MEMORY_BYTES
    assert abs(resident[-1] - resident[3]) <= MEMORY_BYTES
    log = read_log(out, cleaning=False)
    assert log.used == HOURS * 3600
    assert np.array_equal(log.trace.time_s, np.arange(HOURS * 3600.0))
    text = out.read_text(encoding="utf-8")
    assert text.startswith(header(("kiln", "top", "bottom", "shelf")))


POLLED = """
import signal, sys, time
from pathlib import Path
from firing.capture.source import PollingTimer
timer = PollingTimer(0.2)
moments = []
while len(moments) < 300:
    if timer.due(1.0):
        moments.append(time.monotonic())
print(moments[0], moments[-1])
"""


def test_questions_at_even_steps_do_not_drift() -> None:
    done = subprocess.run(
        [sys.executable, "-c", POLLED], capture_output=True, text=True, check=True
    )
    first, last = map(float, done.stdout.split())
    # 299 steps of 0.2 s; lateness of one question is not handed on to the next
    assert last - first == pytest.approx(299 * 0.2, abs=0.1)


def test_a_power_cut_after_any_byte_since_the_last_sync(tmp_path: Path) -> None:
    """Every length from the last synced line on, ten seconds of four channels at 1 Hz."""
    from firing.capture.clock import TimeBase
    from firing.capture.reading import Reading, Status

    names = ("kiln", "top", "bottom", "shelf")
    whole = tmp_path / "whole.csv"
    recorder = Recorder(whole, names, TimeBase(1_772_000_000.0))
    for second in range(70):
        values = [100.0 + second, 90.0, 80.0, 70.0]
        recorder.write(float(second), Reading(values, [Status.OK] * 4))
    recorder.close()
    data = whole.read_bytes()
    synced = data.index(b"\n".join(data.split(b"\n")[61:]))
    path = tmp_path / "log.csv"
    for length in range(synced, len(data) + 1):
        path.write_bytes(data[:length])
        lines = data[:length].count(b"\n") - 1
        again = Recorder(path, names)
        again.write(again.base.now_s(), Reading([500.0] * 4, [Status.OK] * 4))
        again.close()
        found = rows(path)
        assert [cells[1] for cells in found[:lines]] == [f"{100.0 + n:.2f}" for n in range(lines)]
        assert len(found) == lines + 2
        datetime.fromisoformat(found[-1][0])
        if length % 20 == 0:
            assert read_log(path, cleaning=False).used == lines + 2
