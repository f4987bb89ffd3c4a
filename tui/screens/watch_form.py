"""Choosing what to watch: where readings come from, how they are read, and what alarms go by."""

from __future__ import annotations

import asyncio
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from firing.errors import FiringError
from firing.report.words import sentence
from firing.watch.options import LINE_OPTIONS, WatchOptions
from firing.watch.setup import check_options

from ..file_choices import typed_path
from ..reading_fields import SourceSort, in_fields, reading_of, watch_fields, watch_texts
from .filling import Filling

if TYPE_CHECKING:
    from .base import WorkScreen

_SHOWN = "watch"
_MOST_PORTS = 8


async def show_safety(screen: WorkScreen) -> None:
    """Say, once a session, what a watch is not."""
    from firing.watch.events import NO_SAFETY_DEVICE

    from .dialogs import Sheet

    if _SHOWN in screen.session.cautions_seen:
        return
    sheet = Sheet(
        "Before a firing is watched",
        [
            f"{sentence(NO_SAFETY_DEVICE)}.",
            "",
            "It only reads.  It never switches a kiln, and an alarm here stops nothing: it is a "
            "line on this screen, the bell of this terminal, and a program of your own if you name "
            "one.  Nobody hears it who is asleep or out of the house.",
            "",
            "Opening a serial port resets many boards: open it before the firing, not during one "
            "that the board controls.",
            "",
            "F5 lists what can hurt people with this plan.  The kiln's manual, the local codes and "
            "licensed electricians come before anything said here.",
        ],
    )
    await screen.app.push_screen_wait(sheet)
    screen.session.cautions_seen.add(_SHOWN)


async def choose_watch(screen: WorkScreen, before: WatchOptions | None) -> WatchOptions | None:
    """Let a source be chosen and the form be filled in, beginning with the last order.

    Returns the new order, or None.
    """
    chosen = await _choose_source(screen, before)
    if chosen is None:
        return None
    sort, source = chosen
    again = before is not None and before.source == source
    return await _fill(screen, sort, source, before if again else None)


async def _choose_source(
    screen: WorkScreen, before: WatchOptions | None
) -> tuple[SourceSort, str] | None:
    from firing.capture.serial_port import BY_NUMBER, list_ports

    ports = (await asyncio.to_thread(list_ports))[:_MOST_PORTS]
    answers: list[tuple[str, str]] = []
    if before is not None:
        answers.append(("again", f"{before.source} again"))
    for port in ports:
        # By its number where it has one of its own: then two kilns cannot change places.
        numbers = [other.serial_number for other in ports]
        alone = port.serial_number and numbers.count(port.serial_number) == 1
        name = f"{BY_NUMBER}{port.serial_number}" if alone else port.device
        shown = f"{name}  {port.device}" if alone else name
        answers.append((name, f"{shown}  {port.description}".rstrip()))
    answers += [
        ("address", "Another port or an address, written by hand"),
        ("file", "A source file (TOML)"),
        ("log", "A log, replayed"),
    ]
    question = "Where do the readings come from?"
    if not ports:
        question += "  No serial port is plugged in."
    answer = await screen.ask(question, *answers)
    if answer is None:
        return None
    if answer == "again" and before is not None:
        return _sort(before.source), before.source
    if answer == "address":
        written = await screen.prompt(
            "The port or address, like /dev/ttyUSB0, COM3 or socket://192.0.2.7:4000:", ""
        )
        return None if written is None else (_sort(written), written)
    if answer in ("file", "log"):
        return await _choose_file(screen, answer == "file")
    return "line", answer


def _sort(source: str) -> SourceSort:
    if "://" in source:
        return "line"
    path = Path(source).expanduser()
    if path.suffix.lower() == ".toml":
        return "file"
    return "log" if path.is_file() else "line"


async def _choose_file(screen: WorkScreen, is_source: bool) -> tuple[SourceSort, str] | None:
    from .file_chooser import FileChooser

    wanted: Literal["source", "log"] = "source" if is_source else "log"
    choice = await screen.app.push_screen_wait(FileChooser(wanted, screen.session.folder))
    if choice is None or choice.path is None:
        return None
    # Whatever was asked for: a path may have been typed.
    return _sort(str(choice.path)), str(choice.path)


async def _fill(
    screen: WorkScreen, sort: SourceSort, source: str, before: WatchOptions | None
) -> WatchOptions | None:
    session, fault = screen.session, ""
    equipment = session.circumstances.equipment
    unit = session.document.schedule.unit
    order = before or _first_order(screen, sort, source)
    while True:
        fields, texts = watch_fields(sort, unit), watch_texts(order, unit)
        form = Filling(f"Watch {source}", fields, texts, fault)
        filled = await screen.app.push_screen_wait(form)
        if filled is None:
            return None
        line = {key: filled[key] for key in LINE_OPTIONS if filled.get(key) not in (None, "")}
        written = str(filled["out"]).strip()
        order = WatchOptions(
            source,
            line,
            reading_of(filled),
            out=typed_path(written, screen.session.folder) if written else None,
            channel=filled["channel"].strip() or None,
            schedule=session.document.schedule,
            plan_file=session.document.path,
            kiln=None if equipment.kiln is None else equipment.kiln.value,
            load=None if equipment.load is None or equipment.kiln is None else equipment.load.value,
            cones=filled["cones"],
            top_c=filled["top"],
            above_c=filled["above"],
            lost_after_s=filled["lost"],
            unload_c=filled["unload"],
            command=filled["command"].strip() or None,
        )
        try:
            await asyncio.to_thread(check_options, order)
        except FiringError as error:
            fault = in_fields(str(error))
            continue
        fault = ""
        if order.out is None or not order.out.exists() or await _continue(screen, order.out):
            return order


async def _continue(screen: WorkScreen, out: Path) -> bool:
    answer = await screen.ask(
        f"{out} exists already.  If its firing still goes on, it is continued: its lines stay as "
        "they are, the pause is marked, and new lines are put at its end.  If its firing is over, "
        "a new file is made beside it.",
        ("name", "Choose another file"),
        ("go", "Record, to this file or beside it"),
    )
    return answer == "go"


def _first_order(screen: WorkScreen, sort: SourceSort, source: str) -> WatchOptions:
    plan = screen.session.document.path
    stem = "firing" if plan is None else plan.stem
    name = f"{stem}-{datetime.now():%Y-%m-%d}.csv"
    circumstances = screen.session.circumstances
    return WatchOptions(
        source,
        {"speed": "600"} if sort == "log" else {},
        out=None if sort == "log" else Path(name),
        cones=() if circumstances.target_cone is None else (circumstances.target_cone,),
        unload_c=circumstances.unload_c,
    )
