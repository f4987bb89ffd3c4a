"""``firing watch``: a firing while it runs."""

from __future__ import annotations

import gc
import shlex
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import DURATION_S, TEMPERATURE_C, load_schedule
from firing.cli.planoptions import kiln_options, open_kiln, open_load
from firing.errors import FiringError

if TYPE_CHECKING:
    from firing.capture.recorder import Recorder
    from firing.capture.source import Source
    from firing.capture.stamps import TimeBase
    from firing.kiln.description import KilnDescription
    from firing.schedule import Schedule
    from firing.ware.load import Load
    from firing.watch.command import NoticeCommand
    from firing.watch.watcher import Watcher

ABOVE_PEAK_C = 20.0
"""The top temperature, unless told: this much above the plan's peak [°C]; common practice."""


@click.command("watch")
@click.argument("source")
@click.option("--schedule", "plan", metavar="SCHEDULE", help="The plan it is fired by.")
@kiln_options
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Record to this CSV file; one that is there is continued.",
)
@click.option("--channel", metavar="NAME|N", help="The kiln's channel, by name or number.")
@click.option("--fields", metavar="LIST", help='Fields of a line, like "kiln,top,-".')
@click.option("--delimiter", metavar="CHAR", help='Between fields; default ",".')
@click.option("--unit", type=click.Choice(["C", "F", "mV"]), help="Unit of the readings.")
@click.option("--thermocouple", metavar="LETTER", help="Its type, for readings in mV.")
@click.option(
    "--junction", "junction_c", type=TEMPERATURE_C, metavar="TEMP", help="Reference junction."
)
@click.option("--baud", type=int, metavar="RATE", help="Of a serial port; default 9600.")
@click.option("--speed", metavar="N|max", help="Of a replayed log: times real time; default max.")
@click.option("--cone", "cones", multiple=True, metavar="CONE", help="Tell when it is down.")
@click.option("--top", "top_c", type=TEMPERATURE_C, metavar="TEMP", help="Alarm from here on.")
@click.option(
    "--above-plan",
    "above_c",
    type=click.FloatRange(1.0, 200.0),
    default=15.0,
    show_default=True,
    metavar="°C",
    help="Alarm when so far above the plan.",
)
@click.option(
    "--lost-after",
    "lost_after_s",
    type=DURATION_S,
    default="1m",
    show_default=True,
    help="Alarm when there is no reading for so long.",
)
@click.option(
    "--unload-at",
    "unload_c",
    type=TEMPERATURE_C,
    default="60",
    show_default=True,
    metavar="TEMP",
    help="Tell when the kiln has cooled to this.",
)
@click.option(
    "--alarm-command",
    metavar="ARGS",
    help="Program to run for every notice; its sentence is the last argument.  No shell.",
)
@click.option(
    "--every",
    "every_s",
    type=DURATION_S,
    default="1m",
    show_default=True,
    help="How often to say how it stands.",
)
@click.option(
    "--json", "as_json", is_flag=True, help="Status and notices as one JSON document a line."
)
def watch_command(
    source: str,
    plan: str | None,
    kiln: str | None,
    load: str | None,
    out: Path | None,
    channel: str | None,
    cones: tuple[str, ...],
    every_s: float,
    alarm_command: str | None,
    as_json: bool,
    **told: Any,
) -> int:
    """Watch a firing: where it stands, when it will be done, and what is wrong.

    SOURCE is a source file (TOML), a serial port, socket://HOST:PORT, "-" for lines on standard
    input, or a log to replay.  It is only ever read from.  Opening a port resets many boards.

    The watch ends with the source, by SIGTERM (exit code 0) or by Ctrl-C (130).  A port that
    cannot be opened at the start is refused; one that is lost later is tried again for ever.
    Exit code 1: lines are missing from the recording.

    This is no safety device: an independent over-temperature cut-out and a person at the end
    point are.
    """
    from firing.capture.choice import kiln_channel, source_of
    from firing.capture.connection import Connection
    from firing.capture.replay import Replay
    from firing.watch.notices import NO_SAFETY_DEVICE
    from firing.watch.session import Session
    from firing.watch.terminal import Terminal

    gc.enable()  # a watch runs for days
    schedule = None if plan is None else load_schedule(plan)
    if load is not None and kiln is None:
        raise FiringError("--load says what is in a kiln, so give --kiln too")
    command = _command(alarm_command)
    if not 1.0 <= every_s <= 86_400.0:
        raise FiringError("--every wants a time from 1 s to 24 h, such as 1m")
    opened = source_of(source, told)
    number = kiln_channel(opened, channel)
    kiln_read = None if kiln is None else open_kiln(kiln)
    load_read = None if load is None else open_load(load)
    watcher = _watcher(schedule, kiln_read, load_read, cones, told)
    with _signals() as caught:
        connection = Connection(opened)
        connection.open()
        recorder: Recorder | None = None
        try:
            base = _time_base(opened)
            live = not isinstance(opened, Replay)
            recorder = _recorder(out, opened.channels, base, live)
            if recorder is not None:
                base = recorder.base
                _remember(watcher, recorder, number)
            listener = Terminal(
                base.began.astimezone(), schedule, command, recorder, as_json, opened.channels
            )
            listener.note(NO_SAFETY_DEVICE)
            Session(
                connection,
                watcher,
                listener,
                base,
                channel=number,
                recorder=recorder,
                status_every_s=every_s,
                silent_after_s=told["lost_after_s"],
                live=live,
            ).run(lambda: bool(caught) or listener.unheard)
        finally:
            connection.close()
            if recorder is not None:
                recorder.close()
            if command is not None:
                command.close()
    if signal.SIGINT in caught:
        raise KeyboardInterrupt
    failed = out is not None and (recorder is None or recorder.failed)
    return outcome.act_if(failed)


@contextmanager
def _signals() -> Iterator[set[int]]:
    """Collect requests to stop instead of dying of them; a second Ctrl-C is heeded at once."""
    caught: set[int] = set()

    def catch(number: int, frame: object) -> None:
        if number == signal.SIGINT and number in caught:
            raise KeyboardInterrupt
        caught.add(number)

    wanted = [signal.SIGTERM, signal.SIGINT]
    hang_up = getattr(signal, "SIGHUP", None)  # not on Windows
    # Under nohup it is ignored, and has to stay so.
    if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:
        wanted.append(hang_up)
    before = {number: signal.signal(number, catch) for number in wanted}
    try:
        yield caught
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _command(text: str | None) -> NoticeCommand | None:
    if text is None:
        return None
    from firing.watch.command import NoticeCommand

    try:
        arguments = shlex.split(text)
    except ValueError:
        raise FiringError(f"--alarm-command {text}: a quotation mark is not closed") from None
    if not arguments:
        raise FiringError("--alarm-command is empty; write a program and its arguments")
    return NoticeCommand(arguments)


def _watcher(
    schedule: Schedule | None,
    kiln: KilnDescription | None,
    load: Load | None,
    cones: tuple[str, ...],
    told: dict[str, Any],
) -> Watcher:
    from firing.cones.table import CONES, cone_number, parse_cone
    from firing.watch.notices import Limits
    from firing.watch.outlook import ForecastOutlook
    from firing.watch.watcher import Watcher

    wanted = tuple(parse_cone(cone) for cone in cones)
    tops = [told["top_c"]] if told["top_c"] is not None else []
    if not tops and schedule is not None:
        tops.append(schedule.peak_c + ABOVE_PEAK_C)
    if kiln is not None:
        tops.append(kiln.max_c)
    limits = Limits(
        min(tops) if tops else None, told["above_c"], told["lost_after_s"], told["unload_c"]
    )
    offset_c = 0.0 if kiln is None else kiln.fitted.cone_offset_c
    if schedule is None:
        return Watcher(limits, cones=wanted, cone_offset_c=offset_c)
    from firing.forecast import forecast

    course = forecast(schedule, unload_c=told["unload_c"], kiln=kiln, load=load)
    number = course.cones.reached_number
    if not wanted and number is not None:
        wanted = (min(CONES, key=lambda cone: abs(cone_number(cone) - number)),)
    return Watcher(
        limits,
        schedule,
        ForecastOutlook(course),
        cones=wanted,
        cone_offset_c=offset_c,
        thermocouple_c=course.cones.budget.thermocouple_c,
    )


def _time_base(source: Source) -> TimeBase:
    from firing.capture.replay import Replay
    from firing.capture.stamps import TimeBase

    started = source.started if isinstance(source, Replay) else None
    return TimeBase() if started is None else TimeBase(started.timestamp())


def _recorder(
    out: Path | None, channels: tuple[str, ...], base: TimeBase, live: bool
) -> Recorder | None:
    """Open the recording; if the disk does not let it, say so and watch without."""
    if out is None:
        return None
    from firing.capture.recorder import Recorder

    if not live and out.exists():
        raise FiringError(f"{out} exists already; a replayed log is recorded to a new file only")
    try:
        return Recorder(out, channels, None if live else base)
    except OSError as fault:
        outcome.note(
            f"firing: {out} cannot be written: {fault.strerror}; NOTHING IS RECORDED, watching "
            "goes on; end this and choose another file to record"
        )
        return None


def _remember(watcher: Watcher, recorder: Recorder, channel: int) -> None:
    """Let the watcher know what was recorded before."""
    earlier = recorder.earlier
    if earlier is None:
        return
    began_s = recorder.base.began_epoch_s
    for moment_s, values in zip(earlier.epoch_s, earlier.values_c, strict=True):
        if values[channel] == values[channel]:
            watcher.remember(moment_s - began_s, values[channel])
