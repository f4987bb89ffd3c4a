"""``firing watch``: a firing while it runs."""

from __future__ import annotations

import gc
import importlib
import signal
import sys
import threading
import time
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click
from click.core import ParameterSource

from firing.cli import outcome
from firing.cli.arguments import (
    DURATION_S,
    TEMPERATURE,
    WholeNumber,
    controller_option,
    kiln_options,
    log_options,
    logbook_option,
    take_reading,
    temperature_in,
    unload_option,
)
from firing.errors import FiringError
from firing.units import TemperatureUnit

ANSWER_SIGNAL = getattr(signal, "SIGUSR1", None)  # not on Windows
"""Answers every call that waits, where nobody sits at the keyboard."""

if TYPE_CHECKING:
    from firing.capture.source_settings import WatchedFiring
    from firing.remote.notify_file import NotifySettings
    from firing.remote.outlets import Outlets
    from firing.remote.page_server import PageAddress
    from firing.watch.listener import WatchListener
    from firing.watch.options import WatchOptions


@click.command("watch")
@click.argument("sources", metavar="SOURCE...", nargs=-1)
@click.option("--schedule", "plan", metavar="SCHEDULE", help="The plan it is fired by.")
@kiln_options
@controller_option()
@click.option(
    "--out",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Record to this CSV file; one that is there is continued, unless its firing is over.",
)
@click.option("--fields", metavar="FIELDS", help='Fields of a line, like "kiln,top,-,output".')
@click.option(
    "--baud",
    type=WholeNumber(50, 4_000_000),
    metavar="RATE",
    help="Of a serial port; default 9600.",
)
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
@click.option(
    "--print-service",
    is_flag=True,
    help="Print a unit of systemd that runs this watch, and how to install it; nothing begins.",
)
@click.option("--screen", is_flag=True, help="Show it on the Watch screen instead.")
@click.option("--keep", is_flag=True, help="Keep the --out recording in the logbook at its end.")
@logbook_option
@log_options
def watch_command(
    sources: tuple[str, ...],
    every_s: float,
    as_json: bool,
    screen: bool,
    page: str | None,
    page_lan: bool,
    print_service: bool,
    keep: bool,
    place: Path | None,
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

    A source file may name all the rest in a table [firing]: its kiln, plan, controller, recording,
    notify file and page.  An option wins over it.  Several such files are watched side by side.

    With --kiln it shows the energy too, and forecasts the rest by the kiln's model, refitted to
    the firing every quarter of an hour; what the firing can't show keeps its kiln-file value.

    The watch ends with the source, by SIGTERM (exit code 0) or by Ctrl-C (130).  A port that
    cannot be opened at the start is refused; one that is lost later is tried again for ever.  Of
    several kilns one that can't be reached at the start is tried again, too.  Exit code 1: lines
    are missing from the recording, what a port sent was no readings, or an alarm still stood when
    the source ended and nobody had acknowledged it.

    With --keep the recording goes into the logbook when the watch ends, with its plan, kiln and
    load. A failure of that leaves the recording as it is.

    The alarm program is tried when the watch begins.  {id}, {severity} and {state} in its arguments
    are filled in; FIRING_ID and so on are in its environment.  What somebody has to do comes
    again after 5 min, 10 min, then every 15 min until you acknowledge it: by Enter, on the screen
    or the page, or by SIGUSR1.  That changes only the message, never the kiln.

    This is no safety device: an independent over-temperature cut-out and a person at the end
    point are.
    """
    gc.enable()  # a watch runs for days
    if page and not page.isdigit() and (not sources or Path(page).exists()):
        # "--page kiln.toml" means the page, and a source after it.
        sources, page = (page, *sources), ""
    if not sources:
        raise click.UsageError("Missing argument 'SOURCE...'.", click.get_current_context())
    if not 1.0 <= every_s <= 86_400.0:
        raise FiringError("--every takes a time from 1 s to 24 h, such as 1m")
    if len(sources) > 1:
        _require_own_files(sources, screen)
    several = len(sources) > 1  # one that is not there does not keep the others from being watched
    orders = [_order(source, several, dict(told, patient=several)) for source in sources]
    if keep:
        _require_recordings(orders)
    if print_service:
        return _print_service(orders)
    address = _page_address(page, page_lan, orders)
    if screen:
        if as_json:
            raise FiringError("--json prints and --screen draws; give one of them")
        # By name and only here: the library and its other commands know of no screen.
        entry = importlib.import_module("firing.tui.entry")
        (order,) = orders
        seen = entry.watch(
            order.options,
            plan=order.named.schedule,
            kiln=order.named.kiln,
            load=order.named.load,
            outlets=_outlets(orders, address)[0],
        )
        if keep:
            _keep(order, place)
        return outcome.act_if(not seen)
    kept = partial(_keep, place=place) if keep else None
    return _watch(orders, _outlets(orders, address), every_s, as_json, kept)


@dataclass(frozen=True)
class _Order:
    """One watch as it was asked for: what it goes by, and the files as they were named."""

    named: WatchedFiring
    options: WatchOptions
    notify: NotifySettings | None
    name: str


def _order(source: str, several: bool, told: dict[str, Any]) -> _Order:
    """Return a watch by the options, and by what its source file says beside them."""
    from firing.cones.table import parse_cone
    from firing.files.kinds import open_file
    from firing.schedule.file import open_schedule
    from firing.watch.options import (
        LINE_OPTIONS,
        WatchOptions,
        parse_difference_c,
        require_top_c,
    )

    named = _named(source, told)
    schedule = None if named.schedule is None else open_schedule(named.schedule)
    unit: TemperatureUnit = "F" if told["unit"] == "F" else "C"
    if schedule is not None:
        unit = schedule.unit
    plain = any(str(told[name] or "").strip()[-1:].isdigit() for name in ("top", "above", "unload"))
    told["above_c"] = parse_difference_c(told.pop("above"), unit)
    told["top_c"] = temperature_in(told.pop("top"), unit)
    if told["top_c"] is not None:
        require_top_c(told["top_c"], unit)
    told["unload_c"] = temperature_in(told.pop("unload"), unit)
    if named.load is not None and named.kiln is None:
        raise FiringError("--load says what is in a kiln, so give --kiln too")
    keyed = open_file("controller", named.controller)
    options = WatchOptions(
        source,
        {name: told.pop(name) for name in LINE_OPTIONS},
        take_reading(told),
        out=named.out,
        schedule=schedule,
        plan_file=None if named.schedule is None else Path(named.schedule),
        kiln=open_file("kiln", named.kiln),
        load=open_file("load", named.load),
        cones=tuple(parse_cone(cone) for cone in told.pop("cones")),
        waits=None if keyed is None else keyed.waits,
        command=told.pop("alarm_command"),
        plain_in=unit if plain else None,
        **told,
    )
    notify = None
    if named.notify is not None:
        from firing.remote.notify_file import open_notify

        notify = open_notify(named.notify)
    name = named.name or (Path(source).stem if several else "")
    return _Order(named, options, notify, name)


def _named(source: str, told: dict[str, Any]) -> WatchedFiring:
    """Return the files that options name, and where they do not, the source file's table."""
    from firing.capture.source_settings import WatchedFiring

    given = {
        name: told.pop(option)
        for name, option in (
            ("schedule", "plan"), ("kiln", "kiln"), ("load", "load"),
            ("controller", "controller"), ("out", "out"), ("notify", "notify"),
        )
    }  # fmt: skip
    given = {name: value for name, value in given.items() if value is not None}
    if not source.lower().endswith(".toml") or "://" in source:
        return WatchedFiring(**given)
    from firing.capture.source_file import read_firing

    return replace(read_firing(source), **given)


def _require_recordings(orders: Sequence[_Order]) -> None:
    """Refuse to keep at the end what nobody records."""
    if any(order.options.out is None for order in orders):
        raise FiringError("--keep keeps the recording of the firing, so give --out FILE too")


def _keep(order: _Order, place: Path | None) -> None:
    """Keep a recording that has ended; whatever fails is said, and the recording stays."""
    from firing.logbook.keeping import keep_one

    named, out = order.named, order.options.out
    assert out is not None
    try:
        kept = keep_one(out, place=place, plan=named.schedule, kiln=named.kiln, load=named.load)
    except Exception as error:
        outcome.note(f"{out}: is not kept in the logbook ({error}); later: firing keep {out}")
    else:
        outcome.note(f"{out}: {kept.words}")


def _require_own_files(sources: tuple[str, ...], screen: bool) -> None:
    """Refuse what can be said of one kiln only, where several are watched."""
    context = click.get_current_context()
    shared = {
        *("sources", "every_s", "as_json", "page", "page_lan", "print_service", "keep", "place")
    }
    for option in context.command.params:
        name = option.name or ""
        if name not in shared and context.get_parameter_source(name) != ParameterSource.DEFAULT:
            raise FiringError(
                f"{option.opts[0]} is for one kiln, and several are watched; write it into each "
                "source file, under [firing], or watch them one by one"
            )
    for source in sources:
        if not source.lower().endswith(".toml") or "://" in source:
            raise FiringError(
                f"{source}: several kilns are watched by their source files (TOML), each with a "
                "table [firing]"
            )
    if len({Path(source).resolve() for source in sources}) < len(sources):
        raise FiringError("a source file is named twice")


def _print_service(orders: list[_Order]) -> int:
    from firing.remote.service import service_unit
    from firing.watch.setup import check_options

    arguments = [word for word in sys.argv[1:] if word != "--print-service"]
    for order in orders:
        check_options(order.options)
        if order.options.source == "-" or "--screen" in arguments:
            raise FiringError(
                "a service has no terminal: leave --screen out, and name a port or a source file"
            )
    name = " and ".join(order.name for order in orders if order.name)
    outcome.text(service_unit(arguments, Path.cwd(), name).rstrip("\n"))
    return outcome.DONE


class _Run:
    """One watch of this command, opened: its terminal and its outlets."""

    def __init__(self, order: _Order, outlets: Outlets | None, as_json: bool, alone: bool) -> None:
        from firing.report.sanitize import printed
        from firing.watch.listener import open_with_listener
        from firing.watch.setup import open_watch
        from firing.watch.terminal import Terminal, keyboard

        self.outlets, self.order = outlets, order
        self.published: WatchListener | None = None
        self.error: Exception | None = None
        if outlets is None:
            self.opened = open_watch(order.options)
        else:
            self.opened, self.published = open_with_listener(order.options, outlets.publish)
        opened = self.opened
        try:
            if outlets is not None:
                outlets.open(opened)
            self.terminal = Terminal(
                opened.base.began.astimezone(),
                order.options.schedule,
                opened.command,
                opened.recorder,
                as_json,
                opened.connection.source.channels,
                printed,
                opened.calls,
                keyboard() if alone and order.options.source != "-" else None,
                opened.unit,
                "" if alone else order.name,
            )
        except BaseException:
            opened.close()
            raise

    def run(self, every_s: float, stopped: Callable[[], bool]) -> None:
        """Watch until it is over."""
        from firing.watch.events import NO_SAFETY_DEVICE

        terminal, outlets = self.terminal, self.outlets
        if self.opened.not_recorded:
            terminal.note(self.opened.not_recorded)
        terminal.note(NO_SAFETY_DEVICE)
        if outlets is None or self.published is None:
            self.opened.session(terminal, every_s).run(lambda: stopped() or terminal.unheard)
            return
        from firing.remote.outlets import ESTIMATE_EVERY_S

        for sentence in outlets.begin():
            terminal.note(sentence)
        together = outlets.beside(terminal, {"the page": self.published}, every_s)
        self.opened.session(together, min(every_s, ESTIMATE_EVERY_S)).run(stopped)
        together.show_withheld()
        self.published.ended("stopped" if stopped() else "ended")
        self.published.lay_down()

    def run_aside(self, every_s: float, stopped: Callable[[], bool]) -> None:
        """Watch in a thread beside others, none of which ends with this one."""
        try:
            self.run(every_s, stopped)
        except Exception as error:
            self.error = error
            self.terminal.note(f"this watch has failed ({error}); the others go on")

    def close(self, *, stopped: bool) -> None:
        """Let everything go."""
        self.opened.close()  # the recording first: nothing else can keep it from its disk
        if self.outlets is not None:
            self.outlets.end(by_itself=not stopped)

    @property
    def failed(self) -> bool:
        """Whether lines are missing, or what came were no readings, which is then said."""
        unreadable = self.opened.unreadable()
        if unreadable:
            self.terminal.note(unreadable)
        recorder, wanted = self.opened.recorder, self.order.options.out is not None
        return bool(unreadable) or (wanted and (recorder is None or recorder.failed))


def _watch(
    orders: list[_Order],
    outlets: Sequence[Outlets | None],
    every_s: float,
    as_json: bool,
    kept: Callable[[_Order], None] | None = None,
) -> int:
    with _signals() as caught:
        runs: list[_Run] = []

        def stopped() -> bool:
            if ANSWER_SIGNAL in caught:
                caught.discard(ANSWER_SIGNAL)
                for run in runs:
                    run.terminal.answer()
            return bool(caught)

        try:
            for order, beside in zip(orders, outlets, strict=True):
                runs.append(_Run(order, beside, as_json, len(orders) == 1))
            lost = [run.opened.connection.lost_because for run in runs]
            if all(lost):
                raise FiringError(f"{lost[0]}")
            if len(runs) == 1:
                runs[0].run(every_s, stopped)
            else:
                _run_side_by_side(runs, every_s, stopped)
        finally:
            for run in reversed(runs):  # the first has the page of all of them
                run.close(stopped=bool(caught))
            if kept is not None:
                for run in runs:
                    kept(run.order)
    failed = [run.failed for run in runs]
    if signal.SIGINT in caught:
        raise KeyboardInterrupt
    for run in runs:
        if run.error is not None:
            raise run.error
    alarmed = not caught and any(run.opened.calls.alarmed for run in runs)
    return outcome.act_if(any(failed) or alarmed)


def _run_side_by_side(runs: list[_Run], every_s: float, stopped: Callable[[], bool]) -> None:
    """Run watches in a thread each; signals come to this one."""
    stop = threading.Event()
    threads = [
        threading.Thread(target=run.run_aside, args=(every_s, stop.is_set), name=run.order.name)
        for run in runs
    ]
    for thread in threads:
        thread.start()
    try:
        while any(thread.is_alive() for thread in threads):
            if stopped():
                stop.set()
            time.sleep(0.1)
    finally:
        stop.set()
        for thread in threads:
            thread.join()


def _page_address(page: str | None, page_lan: bool, orders: list[_Order]) -> PageAddress | None:
    """Return where the page is served, by the options or the first source file that says so."""
    named = next((o.named.page for o in orders if o.named.page is not None), None)
    lan = page_lan or any(order.named.page_lan for order in orders)
    if page is None and named is None and not lan:
        return None
    from firing.remote.page_server import DEFAULT_PORT, PageAddress, kept_token

    port = page or f"{named or DEFAULT_PORT}"
    if not (port.isascii() and port.isdigit() and 1024 <= int(port) <= 65535):
        raise FiringError(
            f"--page {port} is no port; write one from 1024 to 65535, or --page after the source"
        )
    return PageAddress(int(port), kept_token() if lan else None)


def _outlets(orders: list[_Order], address: PageAddress | None) -> list[Outlets | None]:
    """Return where each watch is shown and told beside its terminal; None if nowhere."""
    if address is None and all(order.notify is None for order in orders):
        return [None for _ in orders]
    from firing.remote.outlets import Outlets

    first, *rest = orders
    others = [Outlets(None, order.notify, order.name) for order in rest]
    return [Outlets(address, first.notify, first.name, others), *others]


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
