"""A watch opened so that others can follow it, and what it tells written down for them.

The watch's own thread writes it down, at its own pace; screens and pages read it in theirs.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, cast

from firing.capture.source import Connection, UsualPause
from firing.watch.calls import CallBoard
from firing.watch.history import History
from firing.watch.setup import OpenWatch, open_watch
from firing.watch.snapshot import RecordingState, RemarkKind, Stage, WatchRemark, WatchState

if TYPE_CHECKING:
    from firing.capture.clock import TimeBase
    from firing.capture.reading import Reading
    from firing.capture.recorder import Recorder
    from firing.capture.source import ReadingSource
    from firing.units import TemperatureUnit
    from firing.watch.events import WatchEvent
    from firing.watch.options import WatchOptions
    from firing.watch.state import Estimate
    from firing.watch.watcher import Watcher

STATUS_EVERY_S = 10.0
"""How often it is worked out how the firing goes on: some 20 ms of work [s]."""
MAX_SPEED_STATUS_S = 900.0
"""The same on the clock of a log that is replayed as fast as it goes [s]."""
LAY_DOWN_S = 0.5
"""How often what is known is laid down at the most [s]."""
MOST_REMARKS = 500


class RememberingConnection(Connection):
    """A connection that remembers the last reading."""

    def __init__(self, source: ReadingSource) -> None:
        super().__init__(source)
        self.reading: Reading | None = None
        self.count = 0

    def read(self, wait_s: float) -> Reading | None:
        """Return the next reading; see `Connection`."""
        reading = super().read(wait_s)
        if reading is not None:
            self.reading = reading
            self.count += 1
        return reading


class WatchListener:
    """Listens to a watch, and publishes what is known whenever it is laid down."""

    def __init__(
        self,
        publish: Callable[[WatchState], None],
        connection: RememberingConnection,
        watcher: Watcher,
        recorder: Recorder | None,
        base: TimeBase,
        *,
        channel: int,
        live: bool,
        silent_after_s: float,
        not_recorded: str = "",
        calls: CallBoard | None = None,
        unit: TemperatureUnit = "C",
    ) -> None:
        self._publish = publish
        self._connection = connection
        self._watcher = watcher
        self._recorder = recorder
        self._base = base
        self._calls = CallBoard() if calls is None else calls
        self._live = live
        self._silent_after_s = silent_after_s
        self._pause = UsualPause(getattr(connection.source, "interval_s", 0.0))
        if live:
            self._pause.begin(base.now_s())
        self._count = 0
        self._read_s: float | None = None
        self._stage: Stage | None = None
        self._why = ""
        self._laid_s = 0.0
        names = connection.source.channels
        self._others = {n: History() for n in range(len(names)) if n != channel}
        earlier = None if recorder is None else recorder.earlier
        if earlier is not None:
            for moment_s, values in zip(earlier.epoch_s, earlier.values_c, strict=True):
                self._add_others(moment_s - base.began_epoch_s, values)
        self._alarms: dict[str, WatchRemark] = {}
        self._seen = WatchState(
            stage="waiting",
            began=base.began.astimezone(),
            live=live,
            names=connection.source.channels,
            channel=channel,
            not_recorded=not_recorded,
            unit=unit,
        )

    def _add_others(self, at_s: float, values_c: Sequence[float]) -> None:
        for number, history in self._others.items():
            if not math.isnan(values_c[number]):
                history.add(at_s, values_c[number])

    @property
    def _now_s(self) -> float:
        if self._live:
            return self._base.now_s()
        reading = self._connection.reading
        return 0.0 if reading is None or reading.at_s is None else reading.at_s

    # What the session tells

    def note(self, sentence: str) -> None:
        """Write something down that was told on the side."""
        self._remember(WatchRemark(self._now_s, "note", sentence))

    def notice(self, notice: WatchEvent) -> None:
        """Write a notice down; one that is told again only rings."""
        if notice.repeat:
            self._seen = replace(self._seen, calls=self._seen.calls + 1)
            return
        kind: RemarkKind = "call" if notice.severity == "act" else "told"
        if notice.state == "raised":
            kind = "alarm"
        elif notice.state == "over":
            kind = "over"
        remark = WatchRemark(notice.at_s, kind, notice.message)
        if kind == "alarm":
            self._alarms[notice.id] = remark
        elif kind == "over":
            self._alarms.pop(notice.id, None)
        if notice.severity == "act":
            self._seen = replace(self._seen, calls=self._seen.calls + 1)
        self._remember(remark)

    def status(self, estimate: Estimate, reading: Reading | None) -> None:
        """Write down how the firing stands and goes on."""
        # First without the rest: whatever fails, an old estimate is not shown as if current.
        self._seen = replace(self._seen, estimate=estimate, rest=None)
        self._seen = replace(self._seen, rest=self._watcher.rest)

    def tick(self) -> None:
        """Lay down what is known, if it is time."""
        if self._connection.count != self._count:
            self._count = self._connection.count
            self._read_s = self._now_s
            self._pause.add(self._now_s)
            reading = self._connection.reading
            if reading is not None:
                usable = [reading.usable_c(n) for n in range(len(reading.values_c))]
                self._add_others(self._now_s, usable)
        if time.monotonic() - self._laid_s < LAY_DOWN_S:
            return
        self.lay_down()

    def ended(self, stage: Stage, why: str = "", *, unreadable: bool = False) -> None:
        """Write down that the watch is over; to be laid down once everything is closed."""
        self._stage, self._why = stage, why
        self._seen = replace(self._seen, unreadable=unreadable)

    def _remember(self, remark: WatchRemark) -> None:
        remarks = (*self._seen.remarks, remark)[-MOST_REMARKS:]
        self._seen = replace(self._seen, remarks=remarks)

    # What is laid down

    def lay_down(self) -> None:
        """Publish what is known now."""
        self._laid_s = time.monotonic()
        seen, history = self._seen, self._watcher.history
        # The course is copied only when it has another point, every half minute, and at the end.
        if history.points != seen.time_s.size or self._stage is not None:
            time_s, course_c = history.trace()
            others = tuple(
                (seen.names[n], *other.trace()) for n, other in self._others.items() if other.points
            )
            seen = replace(seen, time_s=time_s, course_c=course_c, others=others)
        stage, why = self._going_on()
        self._seen = replace(
            seen,
            stage=stage,
            why=why,
            now_s=self._now_s,
            temperature_c=history.now_c(),
            read_s=self._read_s,
            reading=self._connection.reading,
            standing=tuple(
                self._alarms[name] for name in self._watcher.board.standing if name in self._alarms
            ),
            recording=self._kept(),
            open_calls=self._calls.open(),
        )
        self._publish(self._seen)

    def _going_on(self) -> tuple[Stage, str]:
        if self._stage is not None:
            return self._stage, self._why
        if self._connection.lost_because is not None:
            return "lost", self._connection.lost_because
        if self._read_s is None:
            return "waiting", ""
        patience_s = self._pause.patience_s(self._silent_after_s)
        if self._live and self._now_s - self._read_s > patience_s:
            return "silent", ""
        return "reading", ""

    def _kept(self) -> RecordingState | None:
        recorder = self._recorder
        if recorder is None:
            return None
        return RecordingState(
            str(recorder.path),
            recorder.rows,
            recorder.unsynced_s,
            recorder.trouble,
            recorder.waiting,
            recorder.lost,
            recorder.last_gap,
        )


def open_with_listener(
    options: WatchOptions, publish: Callable[[WatchState], None]
) -> tuple[OpenWatch, WatchListener]:
    """Open everything that a watch needs, and what writes down what it tells.

    `publish` is given what is known whenever it is laid down.  Raises `FiringError` if something is
    not there or cannot be used; nothing is left open then.
    """
    opened = open_watch(options, RememberingConnection)
    listener = WatchListener(
        publish,
        cast("RememberingConnection", opened.connection),
        opened.watcher,
        opened.recorder,
        opened.base,
        channel=opened.channel,
        live=opened.live,
        silent_after_s=options.lost_after_s,
        not_recorded=opened.not_recorded,
        calls=opened.calls,
        unit=opened.unit,
    )
    return opened, listener


def status_every_s(opened: OpenWatch) -> float:
    """Return how much of the recording's clock passes between two estimates [s]."""
    if opened.live:
        return STATUS_EVERY_S
    told = opened.options.line.get("speed")
    speed = math.inf if told in (None, "max") else float(told)
    return max(STATUS_EVERY_S, speed) if math.isfinite(speed) else MAX_SPEED_STATUS_S
