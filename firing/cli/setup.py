"""``firing setup``, ``new`` and ``edit``: a studio's files, without an editor."""

from __future__ import annotations

import gc
import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from firing.cli import outcome
from firing.cli.arguments import (
    Command,
    Parsed,
    WholeNumber,
    controller_option,
    json_option,
    kiln_options,
    out_option,
    start_option,
)
from firing.errors import FiringError


def _size(kind: Any) -> Callable[[str], str]:
    def read(text: str) -> str:
        from firing.files.starter import checked_size

        return checked_size(text, kind)

    return read


def _supply(text: str) -> Any:
    from firing.files.starter import parse_supply

    return parse_supply(text)


def _price(text: str) -> tuple[str, float]:
    for sign, code in (("$", "USD "), ("€", "EUR "), ("£", "GBP ")):
        text = text.replace(sign, code)
    words = text.replace(",", ".").split()
    try:
        number = next(float(word) for word in words if word[:1].isdigit())
    except (StopIteration, ValueError):
        raise FiringError(f'"{text}" is no price; write it like "0.28 EUR"') from None
    currency = next((word.upper() for word in words if word.isalpha()), "EUR")
    return currency, number


_VOLUME = Parsed("volume", _size("volume"))
_WALL = Parsed("thickness", _size("length"))
_SUPPLY = Parsed("supply", _supply)
_HOTTEST = Parsed("temperature", _size("temperature"))
_PRICE = Parsed("price", _price)


def _asked(*names: str, ask: str, **rest: Any) -> Callable[[Command], Command]:
    """Return an option that is asked for where it is not given."""
    return click.option(*names, prompt=ask, help=f"{ask}?", **rest)


@click.command("setup")
@_asked("--volume", type=_VOLUME, ask='What does the kiln hold ("180 l", "7 cu ft")')
@_asked("--shape", type=click.Choice(["round", "box"]), ask="Is the inside round or a box")
@_asked("--wall", type=_WALL, ask='How thick is its brick wall ("75 mm", "3 in")')
@_asked("--power", type=_SUPPLY, ask='What does its plate say ("9.6 kW at 240 V", "240 V 40 A")')
@_asked("--max", "hottest", type=_HOTTEST, ask='How hot may it go, by its plate ("1300C", "2350F")')
@_asked("--segments", type=WholeNumber(1, 99), ask="How many segments has the controller")
@_asked("--unit", type=click.Choice(["C", "F"]), ask="Which unit does the controller show, C or F")
@_asked(
    "--waits/--by-the-clock",
    ask="Does its clock wait when the kiln falls behind",
    default=True,
    show_default=True,
)
@_asked("--price", type=_PRICE, ask='What does a kilowatt-hour cost ("0.28 EUR")')
@click.option(
    "--folder",
    type=click.Path(path_type=Path, file_okay=False),
    default=Path(),
    help="Where the files go; here if not given.",
)
@click.option("--overwrite", is_flag=True, help="Replace files that are there already.")
@json_option
def setup_command(
    volume: str,
    shape: Any,
    wall: str,
    power: Any,
    hottest: str,
    segments: int,
    unit: Any,
    waits: bool,
    price: tuple[str, float],
    folder: Path,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Ask about your kiln, controller and price, and write their files.

    Writes kiln.toml, controller.toml and tariff.toml. Every question is an option, too.
    """
    from firing.files.starter import controller_text, kiln_text, tariff_text

    texts = {
        "kiln": kiln_text("My kiln", volume, shape, wall, power, hottest),
        "controller": controller_text("My controller", segments, unit, waits),
        "tariff": tariff_text(*price),
    }
    paths = {kind: folder / f"{kind}.toml" for kind in texts}
    there = [str(path) for path in paths.values() if path.exists()]
    if there and not overwrite:
        raise FiringError(f"{', '.join(there)}: there already; name a --folder, or add --overwrite")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FiringError(f"{folder}: cannot be made: {error.strerror}") from None
    for kind, path in paths.items():
        outcome.write(path, texts[kind], overwrite=overwrite)
    if as_json:
        written = {kind: str(path) for kind, path in paths.items()}
        outcome.document({"schema": 1, "kind": "setup", "files": written})
        return outcome.DONE
    legs = '"100C/h to 600C, 150C/h to 1000C hold 10m"'
    if unit == "F":
        legs = '"180F/h to 1100F, 270F/h to 1830F hold 10m"'
    outcome.text(
        f"Written: {', '.join(map(str, paths.values()))}. Go on with:\n"
        f"  firing new {legs} --out plan.toml\n"
        f"  firing forecast plan.toml --kiln {paths['kiln']} --tariff {paths['tariff']} "
        "--start 07:30\n"
        f"  firing kiln show {paths['kiln']}"
    )
    return outcome.DONE


@click.command("new")
@click.argument("legs", nargs=-1, required=True)
@click.option("--title", default="My schedule", show_default=True, help="Ware and purpose.")
@click.option(
    "--purpose",
    type=click.Choice(["bisque", "glaze", "once-fired", "decal", "other"]),
    default="other",
    show_default=True,
    help="Which cautions and limits apply.",
)
@click.option("--cone", metavar="CONE", help="Target cone.")
@click.option("--unit", type=click.Choice(["C", "F"]), help="Unit of plain numbers.")
@out_option("Write a new file.")
@json_option
def new_command(
    legs: tuple[str, ...],
    title: str,
    purpose: Any,
    cone: str | None,
    unit: Any,
    out: Path | None,
    overwrite: bool,
    as_json: bool,
) -> int:
    """Write a schedule from LEGS: "100C/h to 600C, 150C/h to 1000C hold 10m".

    Legs stand behind one another with a comma or "then"; those that cool count, too.
    """
    from firing.cones.cone_at import parse_legs
    from firing.cones.table import parse_cone
    from firing.schedule.file import parse_schedule, schedule_text
    from firing.schedule.schedule import Schedule, Segment

    read, in_unit = parse_legs(" ".join(legs), unit)
    plan = Schedule(
        title,
        tuple(Segment(leg.target_c, leg.rate_c_per_h, hold_s=leg.hold_s) for leg in read),
        purpose=purpose,
        unit=in_unit,
        cone=None if cone is None else parse_cone(cone),
    )
    content = schedule_text(plan)
    parse_schedule(content, "this schedule")
    if out is not None:
        outcome.write(out, content, overwrite=overwrite)
        outcome.note(f"written to {out}; 'firing forecast {out}' shows what it does")
    if as_json:
        outcome.document({"schema": 1, "kind": "new", "schedule": plan.to_dict()})
    elif out is None:
        outcome.text(content.rstrip("\n"))
    return outcome.DONE


@click.command("edit")
@click.argument("schedule", required=False)
@kiln_options
@controller_option()
@click.option("--tariff", metavar="T", help="Tariff file (TOML), or example-tariff.")
@start_option()
@click.option("--cone", metavar="CONE", help="Target cone.")
@click.option("--light", is_flag=True, help="Begin in the light colours.")
@json_option
def edit_command(
    schedule: str | None,
    kiln: str | None,
    load: str | None,
    controller: str | None,
    tariff: str | None,
    start: str | None,
    cone: str | None,
    light: bool,
    as_json: bool,
) -> int:
    """Open SCHEDULE in the screens: plan, see what it does at once, and review logs.

    SCHEDULE is a TOML file or the name of a ready schedule; without it a new plan is opened. F1 is
    help. Without a kiln, load, controller or tariff named here, those last chosen in the screens
    are taken up again. With --json, how the plan was left is printed at the end.
    """
    given = {"kiln": kiln, "load": load, "controller": controller, "tariff": tariff}
    # By name and only here: the library and its other commands know of no screen.
    gc.enable()
    left = importlib.import_module("firing.tui.entry").edit(
        schedule,
        light=light,
        names={kind: name for kind, name in given.items() if name is not None},
        start=start,
        cone=cone,
    )
    if as_json:
        outcome.document(left)
    return outcome.DONE
