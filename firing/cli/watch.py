"""``firing watch``: a firing while it runs."""

from __future__ import annotations

import gc
import importlib
import signal
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    DURATION_S,
    TEMPERATURE,
    controller_option,
    kiln_options,
    temperature_in,
    unload_option,
)
from firing.cli.log_options import log_options, take_reading
from firing.errors import FiringError
from firing.units import TemperatureUnit

ANSWER_SIGNAL = getattr(signal, "SIGUSR1", None)  # not on Windows
"""Answers every call that waits, where nobody sits at the keyboard."""

if TYPE_CHECKING:
    from firing.remote.outlets import Outlets
    from firing.watch.listener import WatchListener


@click.command("watch")
@click.argument("source")
@click.option("--schedule", "plan", metavar="SCHEDULE", help="The plan it is fired by.")
@kiln_options
@controller_option()
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Record to this CSV file; one that is there is continued, unless its firing is over.",
)
@click.option("--fields", metavar="FIELDS", help='Fields of a line, like "kiln,top,-,output".')
@click.option("--baud", type=int, metavar="RATE", help="Of a serial port; default 9600.")
@click.option("--speed", metavar="N|max", help="Of a replayed log: times real time; default max.")
@click.option("--follow", is_flag=True, help="Of a log that is still being written.")
@click.option("--cone", "cones", multiple=True, metavar="CONE", help="Report when it is down.")
@click.option("--top", type=TEMPERATURE, metavar="TEMP", help="Alarm from here on.")
@click.option(
    "--above-plan",
    "above",
    default="15C",
    show_default=True,
    metavar="DEG",
    help="Alarm when so far above the plan; a plain number uses the plan's unit.",
)
@click.option(
    "--lost-after",
    "lost_after_s",
    type=DURATION_S,
    default="1m",
    show_default=True,
    help="Alarm when there is no reading for so long.",
)
@unload_option("unload", "Report when the kiln has cooled to this.")
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
@click.option(
    "--page",
    "page",
    is_flag=False,
    flag_value="",
    metavar="[PORT]",
    help="Show it on a page in the browser, too; on this computer only.",
)
@click.option(
    "--page-lan",
    is_flag=True,
    help="Let phones of the local network open the page, with the token printed at the start.",
)
@click.option(
    "--notify",
    "notify",
    type=click.Path(path_type=Path),
    metavar="FILE",
    help="Send messages as this notify file (TOML) says.",
)
@click.option("--screen", is_flag=True, help="Show it on the Watch screen instead.")
@log_options
def watch_command(
    source: str,
    plan: str | None,
    kiln: str | None,
    load: str | None,
    controller: str | None,
    out: Path | None,
    channel: str | None,
    cones: tuple[str, ...],
    every_s: float,
    alarm_command: str | None,
    as_json: bool,
    screen: bool,
    page: str | None,
    page_lan: bool,
    notify: Path | None,
    **told: Any,
) -> int:
    """Watch a firing: where it stands, when it will be done, and what is wrong.

    SOURCE is a source file (TOML), a serial port, usb:NUMBER, socket://HOST:PORT, "-" for lines on
    standard input, or a log: replayed, or with --follow a live source while a logger writes it.
    It is only ever read from.  Opening a port resets many boards.

    FIELDS go in the order of a line: "-" is passed over, "junction" is the reference junction in
    °C, "output" the controller's output in %, and any other name is a temperature's.

    A log is read as "firing review" reads it, by the same options.  Of a port's lines you give
    --unit, --delimiter, --decimal, --thermocouple-type and --junction.

    --controller says whether its clock waits while the kiln lags.  One that does not wait ends the
    program by the clock, wherever the kiln is then.

    With --kiln it shows the energy too, and forecasts the rest by the kiln's model, refitted to
    the firing every quarter of an hour; what the firing can't show keeps its kiln-file value.

    The watch ends with the source, by SIGTERM (exit code 0) or by Ctrl-C (130).  A port that
    cannot be opened at the start is refused; one that is lost later is tried again for ever.
    Exit code 1: lines are missing from the recording, or what a port sent was no readings.

    The alarm program is tried when the watch begins.  {id}, {severity} and {state} in its arguments
    are filled in; FIRING_ID and so on are in its environment.  What somebody has to do comes
    again after 5 min, 10 min, then every 15 min until you acknowledge it: by Enter, on the screen
    or the page, or by SIGUSR1.  That changes only the message, never the kiln.

    This is no safety device: an independent over-temperature cut-out and a person at the end
    point are.
    """
    from firing.cones.table import parse_cone
    from firing.files.kinds import open_file
    from firing.report.sanitize import printed
    from firing.schedule.file import open_schedule
    from firing.watch.events import NO_SAFETY_DEVICE
    from firing.watch.options import (
        LINE_OPTIONS,
        WatchOptions,
        parse_difference_c,
        require_top_c,
    )
    from firing.watch.setup import open_watch
    from firing.watch.terminal import Terminal, keyboard

    gc.enable()  # a watch runs for days
    schedule = None if plan is None else open_schedule(plan)
    unit: TemperatureUnit = "F" if told["unit"] == "F" else "C"
    if schedule is not None:
        unit = schedule.unit
    plain = any(str(told[name] or "").strip()[-1:].isdigit() for name in ("top", "above", "unload"))
    told["above_c"] = parse_difference_c(told.pop("above"), unit)
    told["top_c"] = temperature_in(told.pop("top"), unit)
    if told["top_c"] is not None:
        require_top_c(told["top_c"], unit)
    told["unload_c"] = temperature_in(told.pop("unload"), unit)
    if load is not None and kiln is None:
        raise FiringError("--load says what is in a kiln, so give --kiln too")
    if not 1.0 <= every_s <= 86_400.0:
        raise FiringError("--every wants a time from 1 s to 24 h, such as 1m")
    keyed = open_file("controller", controller)
    options = WatchOptions(
        source,
        {name: told.pop(name) for name in LINE_OPTIONS},
        take_reading(told),
        out=out,
        channel=channel,
        schedule=schedule,
        kiln=open_file("kiln", kiln),
        load=open_file("load", load),
        cones=tuple(parse_cone(cone) for cone in cones),
        waits=None if keyed is None else keyed.waits,
        command=alarm_command,
        plain_in=unit if plain else None,
        **told,
    )
    outlets = _outlets(page, page_lan, notify)
    if screen:
        if as_json:
            raise FiringError("--json prints and --screen draws; give one of them")
        # By name and only here: the library and its other commands know of no screen.
        entry = importlib.import_module("firing.tui.entry")
        return outcome.act_if(not entry.watch(options, plan=plan, kiln=kiln, load=load))
    with _signals() as caught:
        published: WatchListener | None = None
        if outlets is None:
            opened = open_watch(options)
        else:
            from firing.remote.outlets import ESTIMATE_EVERY_S
            from firing.watch.listener import open_with_listener

            opened, published = open_with_listener(options, outlets.publish)
        try:
            terminal = Terminal(
                opened.base.began.astimezone(),
                schedule,
                opened.command,
                opened.recorder,
                as_json,
                opened.connection.source.channels,
                printed,
                opened.calls,
                None if source == "-" else keyboard(),
                opened.unit,
            )
            if opened.not_recorded:
                terminal.note(opened.not_recorded)
            terminal.note(NO_SAFETY_DEVICE)

            def stopped() -> bool:
                if ANSWER_SIGNAL in caught:
                    caught.discard(ANSWER_SIGNAL)
                    terminal.answer()
                return bool(caught)

            if outlets is None or published is None:
                opened.session(terminal, every_s).run(lambda: stopped() or terminal.unheard)
            else:
                for sentence in outlets.begin(opened):
                    terminal.note(sentence)
                together = outlets.beside(terminal, {"the page": published}, every_s)
                opened.session(together, min(every_s, ESTIMATE_EVERY_S)).run(stopped)
                together.show_withheld()
                published.ended("stopped" if caught else "ended")
                published.lay_down()
        finally:
            opened.close()  # the recording first: nothing else can keep it from its disk
            if outlets is not None:
                outlets.end(by_itself=not caught)
    unreadable = opened.unreadable()
    if unreadable:
        terminal.note(unreadable)
    if signal.SIGINT in caught:
        raise KeyboardInterrupt
    recorder = opened.recorder
    failed = out is not None and (recorder is None or recorder.failed)
    return outcome.act_if(failed or bool(unreadable))


def _outlets(page: str | None, page_lan: bool, notify: Path | None) -> Outlets | None:
    """Return where a watch is shown and told beside its terminal or screen; None if nowhere."""
    if page is None and not page_lan and notify is None:
        return None
    from firing.remote.outlets import Outlets

    settings = None
    if notify is not None:
        from firing.remote.notify_file import open_notify

        settings = open_notify(notify)
    if page is None and not page_lan:
        return Outlets(None, settings)
    from firing.remote.page_server import DEFAULT_PORT, PageAddress, kept_token

    port = page or f"{DEFAULT_PORT}"
    if not (port.isascii() and port.isdigit() and 1024 <= int(port) <= 65535):
        raise FiringError(
            f"--page {port} is no port; write one from 1024 to 65535, or --page after the source"
        )
    return Outlets(PageAddress(int(port), kept_token() if page_lan else None), settings)


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
    if ANSWER_SIGNAL is not None:
        wanted.append(ANSWER_SIGNAL)
    # Under nohup it is ignored, and has to stay so.
    if hang_up is not None and signal.getsignal(hang_up) is not signal.SIG_IGN:
        wanted.append(hang_up)
    before = {number: signal.signal(number, catch) for number in wanted}
    try:
        yield caught
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
