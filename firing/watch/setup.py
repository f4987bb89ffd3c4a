"""Everything a watch needs, put together from what a person asked for; whoever shows it.

It records to the file named, unless the firing that the file holds is over: continued, a firing of
three days ago would be told as this one, its program as done.
"""

from __future__ import annotations

import itertools
import math
import os
import shlex
import tempfile
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

from firing.capture.clock import TimeBase
from firing.capture.recorder import LARGEST_BYTES, Recorder
from firing.capture.recording_file import (
    RecordedData,
    intact_length,
    numbered_paths,
    parse_header,
    parse_rows,
)
from firing.capture.source import Connection, ReadingSource, SourceLost
from firing.capture.source_factory import spoken_unit
from firing.errors import FiringError
from firing.units import TemperatureUnit, format_duration
from firing.watch.calls import CallBoard
from firing.watch.options import LINE_OPTIONS, WatchOptions, parse_command

if TYPE_CHECKING:
    from firing.capture.clock import TimeBase
    from firing.capture.log_sources import FollowedLog
    from firing.capture.recorder import Recorder
    from firing.schedule.schedule import Schedule
    from firing.watch.alarm_command import AlarmCommand
    from firing.watch.fault_isolation import Listener
    from firing.watch.session import WatchSession
    from firing.watch.watcher import Watcher


ABOVE_PEAK_C = 20.0
"""The top temperature, unless told: this much above the plan's peak [°C]; common practice."""


@dataclass(eq=False)
class OpenWatch:
    """Everything a watch holds, opened.

    It is `live` if readings come now, not from a log with a clock of its own.  `not_recorded` says
    why nothing is recorded although a file was named.
    """

    options: WatchOptions
    connection: Connection
    watcher: Watcher
    recorder: Recorder | None
    command: AlarmCommand | None
    base: TimeBase
    channel: int
    live: bool
    not_recorded: str = ""
    calls: CallBoard = field(default_factory=CallBoard)

    @property
    def unit(self) -> TemperatureUnit:
        """The unit temperatures are told in: the plan's, or else the source's own."""
        schedule = self.options.schedule
        return spoken_unit(self.connection.source) if schedule is None else schedule.unit

    def session(self, listener: Listener, status_every_s: float = 60.0) -> WatchSession:
        """Return the watch itself, to be run; its status is told every so many seconds."""
        from firing.capture.log_sources import FollowedLog
        from firing.watch.session import WatchSession

        return WatchSession(
            self.connection,
            self.watcher,
            listener,
            self.base,
            channel=self.channel,
            recorder=self.recorder,
            status_every_s=status_every_s,
            silent_after_s=self.options.lost_after_s,
            live=self.live,
            check_plausibility=not self.options.reading.as_logged,
            own_clock=isinstance(self.connection.source, FollowedLog),
            command=self.command,
            calls=self.calls,
        )

    def unreadable(self) -> str:
        """Return, as a sentence, that no line was a reading, or none at last; else nothing."""
        unread = getattr(self.connection.source, "unread", None)  # a log has no such lines
        return "" if unread is None else str(unread())

    def close(self) -> None:
        """Let everything go: what was recorded is on the disk then."""
        from firing.watch.fault_isolation import FaultIsolation

        isolation = FaultIsolation()
        for part in (self.recorder, self.connection, self.command):
            if part is not None:
                isolation.run("the end of the watch", part.close, None)


def open_watch(
    options: WatchOptions, connect: Callable[[ReadingSource], Connection] = Connection
) -> OpenWatch:
    """Open everything that a watch needs; `OpenWatch.session` then makes the watch itself.

    `connect` makes the connection of a source; one of one's own may listen in.  If something cannot
    be used nothing is left open.
    """
    from firing.capture.log_sources import FollowedLog, ReplayedLog

    source, channel, command = _checked(options)
    live = not isinstance(source, ReplayedLog)
    watcher = make_watcher(options, spoken_unit(source))
    connection = connect(source)
    recorder, not_recorded = None, ""
    try:
        try:
            connection.open()
        except SourceLost as fault:
            if not options.patient:
                raise
            connection.lose(str(fault))
        base = make_time_base(source)
        if options.out is not None:
            own_clock = isinstance(source, ReplayedLog | FollowedLog)
            recorder, not_recorded = _recorder(
                options.out, source, channel, base if own_clock else None
            )
        followed = isinstance(source, FollowedLog)
        if recorder is not None:
            base = recorder.base
            # What a followed log still holds comes from there.
            restore_history(watcher, recorder, channel, 0.0 if followed else math.inf)
        if isinstance(source, FollowedLog):
            _take_over_earlier_rows(source, watcher, recorder)
    except BaseException:
        connection.close()
        if recorder is not None:
            recorder.close()
        raise
    return OpenWatch(
        options, connection, watcher, recorder, command, base, channel, live, not_recorded
    )


def check_options(options: WatchOptions) -> None:
    """Refuse what could not begin; nothing but a log is opened for it."""
    _checked(options)


def _check_folder(out: Path) -> None:
    if out.is_dir():
        raise FiringError(f"{out} cannot be recorded to, as it is a folder; name a file in it")
    if not out.parent.is_dir():
        make = "mkdir" if os.name == "nt" else "mkdir -p"
        raise FiringError(
            f"{out} cannot be recorded to, as there is no folder {out.parent}; make it with "
            f"{make} {shlex.quote(str(out.parent))}"
        )


def _checked(options: WatchOptions) -> tuple[ReadingSource, int, AlarmCommand | None]:
    from firing.capture.source_factory import choose_source, kiln_channel

    if options.load is not None and options.kiln is None:
        raise FiringError("--load says what is in a kiln, so give --kiln too")
    if options.out is not None:
        _check_folder(options.out)
    command = parse_command(options.command)
    line = {name: options.line.get(name) for name in LINE_OPTIONS}
    source = choose_source(options.source, line, options.reading, options.channel)
    channel = kiln_channel(source, options.channel)
    out = options.out
    if out is not None and not _may_record(out, source, channel):
        raise FiringError(
            f"{out} exists already, and a log is recorded from its beginning; name a new file to "
            "record to"
        )
    unit = spoken_unit(source)
    if options.schedule is None and options.plain_in not in (None, unit):
        raise FiringError(
            f"{source.name} is in °{unit}, so a plain number may mean either unit; write 1000F or "
            "1000C with --top, --above-plan and --unload-at"
        )
    return source, channel, command


def make_watcher(options: WatchOptions, unit: TemperatureUnit = "C") -> Watcher:
    """Return who follows the firing; without a plan it speaks in `unit`."""
    from firing.cones.table import CONES, cone_number
    from firing.watch.events import AlarmLimits
    from firing.watch.kiln_model import KilnModel
    from firing.watch.predictor import ForecastPredictor, Predictor
    from firing.watch.watcher import Watcher

    schedule, kiln = options.schedule, options.kiln
    tops = [options.top_c] if options.top_c is not None else []
    if not tops and schedule is not None:
        tops.append(schedule.peak_c + ABOVE_PEAK_C)
    if kiln is not None:
        tops.append(kiln.max_c)
    limits = AlarmLimits(
        min(tops) if tops else None,
        options.above_c,
        options.lost_after_s,
        options.unload_c,
        options.waits,
    )
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    cones = options.cones
    if schedule is None:
        model = None if kiln is None else KilnModel(kiln, options.load)
        return Watcher(limits, cones=cones, cone_offset_c=offset_c, model=model, unit=unit)
    from firing.forecast.forecast import forecast

    course = forecast(schedule, unload_c=options.unload_c, kiln=kiln, load=options.load)
    number = course.cones.reached_number
    if not cones and schedule.cone is not None:
        cones = (schedule.cone,)
    elif not cones and number is not None:
        cones = (min(CONES, key=lambda cone: abs(cone_number(cone) - number)),)
    predictor: Predictor = ForecastPredictor(course)
    model = None
    if kiln is not None:
        predictor = model = KilnModel(
            kiln,
            options.load,
            schedule,
            predictor,
            unload_c=options.unload_c,
            cooling=course.cooling_range,
        )
    return Watcher(
        limits,
        schedule,
        predictor,
        cones=cones,
        cone_offset_c=offset_c,
        thermocouple_c=course.cones.budget.thermocouple_c,
        model=model,
        other_plans=partial(plans_beside, options.plan_file),
    )


MOST_PLANS = 40
"""So many plans of a folder are read at the most [number]."""


def plans_beside(plan_file: Path | None) -> dict[str, Schedule]:
    """Return the other plans in a plan's folder by their files' names; unreadable ones left out."""
    from firing.files.kinds import kind_of
    from firing.schedule.file import open_schedule

    found: dict[str, Schedule] = {}
    if plan_file is None or not plan_file.is_file():
        return found
    for path in sorted(plan_file.parent.glob("*.toml")):
        if len(found) == MOST_PLANS:
            break
        if path.resolve() == plan_file.resolve() or kind_of(path) != "schedule":
            continue
        with suppress(FiringError, OSError):
            found[path.name] = open_schedule(path)
    return found


def make_time_base(source: ReadingSource) -> TimeBase:
    """Return the clock of a watch that begins now, or with the log that is replayed."""
    from firing.capture.clock import TimeBase
    from firing.capture.log_sources import FollowedLog, ReplayedLog

    if isinstance(source, FollowedLog):
        return source.base
    started = source.started if isinstance(source, ReplayedLog) else None
    return TimeBase() if started is None else TimeBase(started.timestamp())


def _recorder(
    out: Path, source: ReadingSource, channel: int, base: TimeBase | None
) -> tuple[Recorder | None, str]:
    """Open the recording; if the disk does not let it, say why: the watch goes on without."""

    try:
        recorder = open_recorder(
            out, source.channels, channel, base, output=source.gives_output, own_clock=bool(base)
        )
    except OSError as fault:
        return None, (
            f"{out} cannot be written: {fault.strerror or fault}; NOTHING IS RECORDED, watching "
            "goes on; end this and choose another file to record"
        )
    refusal = _refuses_files(out.parent)
    if refusal:
        recorder.add_remark(
            f"{out.parent} takes no new file ({refusal}): if {recorder.path.name} is deleted or "
            "moved during the firing, its lines cannot be written again; choose another folder"
        )
    return recorder, ""


def _refuses_files(folder: Path) -> str:
    """Return why a folder takes no new file, found by trying; empty if it does."""
    try:
        with tempfile.NamedTemporaryFile(dir=folder, prefix=".firing-"):
            return ""
    except OSError as fault:
        return fault.strerror or str(fault)


def restore_history(
    watcher: Watcher, recorder: Recorder, channel: int, before_s: float = math.inf
) -> None:
    """Let the watcher know what was recorded before."""
    earlier = recorder.earlier
    if earlier is None:
        return
    began_s = recorder.base.began_epoch_s
    for moment_s, values, duty in zip(earlier.epoch_s, earlier.values_c, earlier.duty, strict=True):
        if values[channel] == values[channel] and moment_s - began_s < before_s:
            watcher.add_earlier(moment_s - began_s, values[channel], duty)


def _take_over_earlier_rows(
    source: FollowedLog, watcher: Watcher, recorder: Recorder | None
) -> None:
    """Record what a followed log holds already, and let the watcher know it."""
    from firing.capture.reading import PlausibilityCheck

    plausibility = PlausibilityCheck(len(source.channels))
    earlier = None if recorder is None else recorder.earlier
    kept_s = max(earlier.epoch_s, default=-math.inf) if earlier is not None else -math.inf
    for at_s, reading in source.before():
        plausibility.mark(at_s, reading)
        if recorder is not None and source.base.began_epoch_s + at_s > kept_s + SAME_S:
            recorder.write(at_s, reading)
        value_c = reading.usable_c(source.kiln_channel)
        if value_c == value_c:
            watcher.add_earlier(at_s, value_c, reading.duty)


FIRED_C = 150.0
"""A kiln that was never this hot was not fired [°C]."""
SAME_S = 2e-3
"""Times that differ by less are the same row's; a recording has milliseconds [s]."""
COLD_C = 100.0
COLD_PAUSE_S = 3600.0
"""Cold again, and not recorded for so long: the firing is over, and not a crash in it [°C, s]."""
PAUSE_S = 86_400.0
"""Not recorded for so long: whatever runs now, it is another firing [s]."""


def open_recorder(
    out: Path,
    channels: Sequence[str],
    channel: int = 0,
    base: TimeBase | None = None,
    *,
    output: bool = False,
    own_clock: bool = False,
) -> Recorder:
    """Open the file that a watch records to: the one named, if its firing may still go on.

    `channel` is the kiln's; the other parameters are those of `Recorder`.
    """
    path, why = _target(out, channel)
    recorder = Recorder(path, channels, base, output=output, own_clock=own_clock)
    if path != out:
        recorder.add_remark(f"{out} {why}, so this firing is recorded to {path}")
    return recorder


def _target(out: Path, channel: int) -> tuple[Path, str]:
    """Return the file to record to, and why it is another than the one named."""
    why = ""
    for path in itertools.chain((out,), numbered_paths(out)):
        over = _why_over(path, channel, first=path == out)
        if not over:
            return path, why
        why = why or over
    raise FileExistsError(f"there is no free name beside {out}")


def _may_record(out: Path, source: ReadingSource, channel: int) -> bool:
    """Tell whether a log may be recorded there: to a new file, or on in one that holds its rows."""
    from firing.capture.log_sources import FollowedLog, ReplayedLog

    if isinstance(source, ReplayedLog):
        return not out.exists()
    if not isinstance(source, FollowedLog):
        return True
    path, _ = _target(out, channel)
    if not path.exists():
        return True
    held = _held(path)
    if held is None or held.channels != source.channels:
        return False
    moments_s = [source.base.began_epoch_s + at_s for at_s, _ in source.before()]
    last_s = max(held.epoch_s, default=-math.inf)
    return moments_s[0] > last_s or any(abs(at_s - last_s) < SAME_S for at_s in moments_s)


def _held(path: Path) -> RecordedData | None:
    """Return what a recording holds; None if it is none, or cannot be read."""
    try:
        if not path.is_file() or path.stat().st_size > LARGEST_BYTES:
            return None
        data = path.read_bytes()
    except OSError:
        return None
    head, _, rest = data[: intact_length(data)].decode("utf-8", "replace").partition("\n")
    named = parse_header(head) if head else None
    return None if named is None else parse_rows(rest, *named)


def _why_over(path: Path, channel: int, *, first: bool) -> str:
    """Return why a file is not to be continued; empty if it is, or is to be refused."""
    held = _held(path)
    if held is None:
        return "" if first or not path.exists() else "is no recording"
    if not held.epoch_s or channel >= len(held.channels):
        return ""
    pause_s = time.time() - max(held.epoch_s)
    course_c = [values[channel] for values in held.values_c if values[channel] == values[channel]]
    fired = max(course_c, default=0.0) >= FIRED_C
    cold = fired and course_c[-1] <= COLD_C
    if cold and pause_s < -COLD_PAUSE_S:
        return "holds a firing that is over, by a clock that is ahead of this computer's"
    if (cold and pause_s >= COLD_PAUSE_S) or pause_s >= PAUSE_S:
        return f"holds a firing that ended {format_duration(pause_s)} ago"
    return ""
