"""``firing keep`` and ``firing logbook``: firings kept, found again, and looked at together."""

from __future__ import annotations

import difflib
import re
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from firing.cli import outcome
from firing.cli.arguments import (
    Number,
    Subcommands,
    WholeNumber,
    align_option,
    html_option,
    json_option,
    log_options,
    logbook_option,
    report_options,
    take_reading,
)
from firing.clock import parse_when
from firing.errors import FiringError
from firing.logbook.record import EVENT_KINDS, Entry, EventKind, Filter
from firing.logbook.store import Logbook
from firing.units import TemperatureUnit, parse_rate_c_per_h
from firing.version import code_version

if TYPE_CHECKING:
    from firing.logbook.keeping import KeepProgress, KeptLog
    from firing.logbook.wear import Trends
    from firing.review.overlay import Align

Command = TypeVar("Command", bound=Callable[..., Any])
_CATCH_UP = 20
"""So many firings that an older version derived are derived again beside every keeping."""
SHOWN = 30
"""So many firings a list shows unless it is asked for all."""


def filter_options(command: Command) -> Command:
    """Add the options that narrow a list."""
    for option in reversed(
        [
            click.option("--kiln", default="", help="Of this kiln."),
            click.option("--plan", default="", help="Whose plan's title has this in it."),
            click.option("--purpose", default="", help="bisque, glaze, once-fired, decal, other."),
            click.option("--cone", default="", help="Planned for this cone, or nearest to it."),
            click.option("--month", default="", help='2026-03, 2026, March or "March 2026".'),
            click.option("--member", default="", help="Of this person."),
            click.option("--late", is_flag=True, help="That ran half an hour or a tenth over."),
            click.option(
                "--all", "everything", is_flag=True, help=f"More than the {SHOWN} newest."
            ),
        ]
    ):
        command = option(command)
    return command


unit_option = click.option(
    "--unit", type=click.Choice(["C", "F"]), help="Unit of the report; else the newest plan's."
)


# -- keep -------------------------------------------------------------------------------------


def said_options(command: Command) -> Command:
    """Add what a person says of a firing."""
    for option in reversed(
        [
            click.option("--load", metavar="L", help="What was in it: a load file (TOML)."),
            click.option(
                "--witness", "witnesses", multiple=True, metavar="CONE=SEEN@PLACE",
                help='A cone as it was found: "6=3:00@top", "6=down"; may be given again.',
            ),
            click.option("--note", "notes", multiple=True, metavar="WORDS", help="A note."),
            click.option("--kwh", type=Number(0.0), help="What the meter counted."),
            click.option("--cost", metavar="AMOUNT", help='What it cost: 4.20, or "4.20 EUR".'),
            click.option(
                "--photo", "photos", multiple=True, type=click.Path(path_type=Path),
                help="A photograph; its place is kept, not the picture.",
            ),
            click.option("--member", default="", metavar="NAME", help="Who fired, or for whom."),
            click.option(
                "--began", metavar="WHEN", help="When a log without clock times began."
            ),
        ]
    ):  # fmt: skip
        command = option(command)
    return command


@click.command("keep")
@click.argument("logs", metavar="LOG...|FOLDER", nargs=-1, required=True,
                type=click.Path(path_type=Path))  # fmt: skip
@click.option("--kiln", "kilns", multiple=True, metavar="K",
              help="Kiln file or name; of several, the one a log fits.")  # fmt: skip
@click.option("--plan", "plans", multiple=True, metavar="S",
              help="The plan it was fired by; of several, the one a log fits.")  # fmt: skip
@said_options
@click.option("--tariff", metavar="T", help="Prices (TOML): the cost, by the logged output.")
@click.option("--dry-run", is_flag=True, help="Show what would be kept; write nothing.")
@logbook_option
@log_options
@report_options
@json_option
def keep_command(
    logs: tuple[Path, ...],
    kilns: tuple[str, ...],
    plans: tuple[str, ...],
    tariff: str | None,
    dry_run: bool,
    place: Path | None,
    channel: str | None,
    as_json: bool,
    **told: Any,
) -> int:
    """Keep the LOG of a firing in the logbook, or all logs in a FOLDER.

    The log's own bytes are kept, so nothing is lost when the program learns to read more of them.
    A log that is there already is not kept twice: what you say of it is added to its firing. One
    that has grown takes the shorter one's place.

    Each log is compared with every plan: those you name, or those in the folder and the logbook and
    the ready ones.  The report says which plan and kiln it took, and why.
    """
    from firing.files.kinds import open_file
    from firing.logbook.keeping import derive_again, keep_logs, logs_in, shelf_of
    from firing.report.logbook import keep_report

    reading = take_reading(told)
    said = replace(_said(told), reading=reading.given(), channel=channel or "")
    folders = [path for path in logs if path.is_dir()]
    files = [found for path in logs for found in (logs_in(path) if path.is_dir() else [path])]
    if not files:
        raise FiringError(f"{folders[0]}: holds no log; name the folder that your logger writes to")
    with Logbook.open(place, create=not dry_run) as book:
        shelf = shelf_of(book, plans=plans, kilns=kilns, beside=logs)
        for fault in shelf.faults:
            outcome.note(f"left out: {fault}")
        prices = open_file("tariff", tariff)
        found = keep_logs(
            book, files, shelf, said, tariff=prices, dry_run=dry_run, progress=progress_line()
        )
        if not dry_run:
            derive_again(book, book.older_than(code_version())[:_CATCH_UP])
    refused = [one for one in found if one.state == "refused"]
    if len(refused) == len(found):
        raise FiringError("\n".join(dict.fromkeys(one.why for one in refused)))
    if as_json:
        outcome.document(_kept_document("keep", found, dry_run))
    else:
        outcome.report(keep_report(found, dry_run=dry_run, full=outcome.asked("full")))
    return outcome.act_if(bool(refused) or not all(one.sure for one in found))


def progress_line() -> Callable[[KeepProgress], None]:
    """Return what shows how far an import is, on a terminal only."""
    if not sys.stderr.isatty():
        return lambda _: None

    def show(now: KeepProgress) -> None:
        end = "\n" if now.done == now.total else ""
        left = "" if end else f", {now.left_s // 60:.0f}:{now.left_s % 60:02.0f} left"
        words = f"{now.done:,} of {now.total:,} logs, {now.per_s:.0f} a second{left}"
        click.echo(f"\r{words:<60}{end}", nl=False, err=True)

    return show


def _kept_document(kind: str, found: Sequence[KeptLog], dry_run: bool = False) -> dict[str, Any]:
    states = [one.state for one in found]
    return {
        "schema": 1,
        "kind": kind,
        "dry_run": dry_run,
        "counts": {state: states.count(state) for state in dict.fromkeys(states)},
        "logs": [one.to_dict() for one in found],
        "log": {"notes": [note for one in found for note in one.notes]},
    }


def _said(told: dict[str, Any]) -> Entry:
    """Return what a person says of a firing, by the options."""
    from firing.logbook.keeping import paper, photo_of

    cost, currency = parse_cost(told["cost"])
    began = told.get("began")
    load = None if told["load"] is None else paper("load", told["load"])
    if told["witnesses"]:
        from firing.review.witness import parse_witness

        for witness in told["witnesses"]:
            parse_witness(witness)
    return Entry(
        "",
        b"",
        began_at=None if began is None else parse_when(began).timestamp(),
        load="" if load is None else load.name,
        load_text="" if load is None else load.text,
        witnesses=told["witnesses"],
        notes=told["notes"],
        photos=tuple(map(photo_of, told["photos"])),
        kwh=told["kwh"],
        cost=cost,
        currency=currency,
        member=told["member"],
    )


def parse_cost(text: str | None) -> tuple[float | None, str]:
    """Read an amount of money and its currency, such as ``4.20`` or ``4,20 EUR``."""
    if text is None:
        return None, ""
    found = re.fullmatch(r"\s*(\d+(?:[.,]\d+)?)\s*([^\d\s]{1,4})?\s*", text)
    if found is None:
        raise FiringError(f'--cost "{text}" is not an amount; write 4.20 or "4.20 EUR"')
    return float(found[1].replace(",", ".")), found[2] or ""


# -- logbook ----------------------------------------------------------------------------------


@click.group("logbook", cls=Subcommands)
def logbook_command() -> None:
    """List, find and compare the kept firings; note events; check, copy and carry the logbook."""


def _subcommand(name: str, example: str) -> Callable[[Command], click.Command]:
    return logbook_command.command(name, epilog=f"Example: firing logbook {example}")


def _filter(book: Logbook, told: dict[str, Any], words: str = "") -> Filter:
    cone = told["cone"]
    if told["kiln"]:
        told = {**told, "kiln": _kiln_named(book, told["kiln"])}
    if cone:
        from firing.cones.table import parse_cone

        cone = parse_cone(cone)
    return Filter(**{**told, "cone": cone}, words=words)


def _print_list(
    book: Logbook, which: Filter, everything: bool, unit: TemperatureUnit | None, as_json: bool
) -> int:
    from firing.report.logbook import list_report

    total, nearest = book.count(which), False
    if not total and len(which.words.split()) > 1:
        loose = replace(which, any_word=True)
        if total := book.count(loose):
            which, nearest = loose, True
    firings = book.firings(which, limit=None if everything else SHOWN)
    if as_json:
        outcome.document({
            "schema": 1, "kind": "logbook", "path": str(book.path), "total": total,
            "nearest": nearest, "firings": [one.to_dict() for one in firings],
        })  # fmt: skip
    else:
        older = len(book.older_than(code_version()))
        unit = unit or book.unit()
        outcome.report(list_report(firings, total, which, nearest=nearest, older=older, unit=unit))
    return outcome.DONE


@_subcommand("list", "list --purpose glaze --late")
@filter_options
@unit_option
@logbook_option
@report_options
@json_option
def list_command(
    everything: bool, unit: TemperatureUnit | None, place: Path | None, as_json: bool, **told: Any
) -> int:
    """List the kept firings, the newest first."""
    with Logbook.open(place, create=False) as book:
        return _print_list(book, _filter(book, told), everything, unit, as_json)


@_subcommand("find", "find good glaze march")
@click.argument("words", nargs=-1, required=True)
@filter_options
@unit_option
@logbook_option
@report_options
@json_option
def find_command(
    words: tuple[str, ...], everything: bool, unit: TemperatureUnit | None, place: Path | None,
    as_json: bool, **told: Any,
) -> int:  # fmt: skip
    """Find firings by WORDS in their notes, names and months.

    Names are those of plans, kilns, people, loads and logs. A word also finds what begins with it.
    Capitals and accents don't matter.
    """
    with Logbook.open(place, create=False) as book:
        return _print_list(book, _filter(book, told, " ".join(words)), everything, unit, as_json)


@_subcommand("show", "show 1")
@click.argument("number", type=WholeNumber(1))
@logbook_option
@html_option
@report_options
@json_option
def show_command(
    number: int, place: Path | None, html: Path | None, overwrite: bool, as_json: bool
) -> int:
    """Open one firing: what you said of it, and the review of its log."""
    from firing.logbook.keeping import review_of
    from firing.report.logbook import firing_report
    from firing.report.review import review_report

    with Logbook.open(place, create=False) as book:
        one = book.show(number)
        entry = book.entry(number)
        before = [event for event in book.events(one.kiln) if event.at_s <= one.started_at][-3:]
    found = review_of(entry) if entry.plan_text and not one.trouble else None
    if html is not None:
        if found is None:
            raise FiringError(f"firing {number} has no plan, so there is no review to write")
        outcome.page(review_report(found), html, overwrite=overwrite)
    if as_json:
        outcome.document({
            "schema": 1, "kind": "firing", "firing": one.to_dict(),
            "events": [event.to_dict() for event in before],
            "review": None if found is None else found.to_dict(),
        })  # fmt: skip
    else:
        unit = "C" if found is None else found.schedule.unit
        kiln = None if found is None else found.kiln
        outcome.report(firing_report(one, before, unit, kiln))
        if found is not None:
            outcome.text("")
            outcome.report(review_report(found))
    return outcome.act_if(found is not None and found.needs_action)


@_subcommand("compare", "compare 1 2")
@click.argument("numbers", metavar="[NUMBER...]", nargs=-1, type=WholeNumber(1))
@click.option("--plan", help="The newest six firings of the plan whose title has this in it.")
@align_option
@logbook_option
@html_option
@report_options
@json_option
def compare_command(
    numbers: tuple[int, ...], plan: str | None, align: Align, place: Path | None,
    html: Path | None, overwrite: bool, as_json: bool,
) -> int:  # fmt: skip
    """Lay two to six firings over each other, by the plan of the first."""
    from firing.logbook.keeping import reviews_of
    from firing.report.review import overlay_report
    from firing.review.overlay import MOST_FIRINGS, overlay

    with Logbook.open(place, create=False) as book:
        if plan is not None:
            found = book.firings(Filter(plan=plan), limit=MOST_FIRINGS)
            same = [one.id for one in found if one.plan == found[0].plan]
            numbers = tuple(dict.fromkeys((*numbers, *same)))[:MOST_FIRINGS]
        if len(numbers) < 2:
            raise FiringError("name two firings by their numbers, or a --plan that was fired twice")
        titles = {book.show(number).plan for number in numbers}
        laid = overlay(reviews_of(book, numbers), align)
    if len(titles) > 1:
        outcome.note(f"these ran different plans; all are laid along that of {numbers[0]}")
    if html is not None:
        outcome.page(overlay_report(laid), html, overwrite=overwrite)
    if as_json:
        outcome.document({**laid.to_dict(), "numbers": list(numbers)})
    else:
        outcome.report(overlay_report(laid))
    return outcome.DONE


@_subcommand("add", 'add 1 --note "the good celadon" --witness "6=3:00"')
@click.argument("number", type=WholeNumber(1))
@click.option("--kiln", metavar="K", help="Kiln file or name.")
@click.option("--plan", metavar="S", help="The plan it was fired by.")
@said_options
@logbook_option
@json_option
def add_command(
    number: int, kiln: str | None, plan: str | None, place: Path | None, as_json: bool, **told: Any
) -> int:
    """Add notes, cones, photographs, energy, cost or its beginning to a firing.

    --plan and --kiln set right what was matched wrong.
    """
    from firing.logbook.keeping import amend, shelf_of
    from firing.report.logbook import firing_report

    said = _said(told)
    with Logbook.open(place, create=False) as book:
        book.show(number)
        if kiln is not None:
            ((name, paper),) = shelf_of(book, kilns=[kiln]).kilns.items()
            said = replace(said, kiln=name, kiln_text=paper.text)
        if plan is not None:
            ((title, paper),) = shelf_of(book, plans=[plan]).plans.items()
            said = replace(said, plan=title, plan_text=paper.text)
        amend(book, number, said)
        one, unit = book.show(number), book.unit()
    if as_json:
        outcome.document({"schema": 1, "kind": "firing", "firing": one.to_dict()})
    else:
        outcome.report(firing_report(one, unit=unit))
    return outcome.DONE


@_subcommand("remove", "remove 1 --yes")
@click.argument("number", type=WholeNumber(1))
@click.option("--yes", is_flag=True, help="Needed, as the log goes with it.")
@logbook_option
@json_option
def remove_command(number: int, yes: bool, place: Path | None, as_json: bool) -> int:
    """Remove a firing that does not belong in the logbook.

    A backup is made first, and still has it.
    """
    with Logbook.open(place, create=False) as book:
        one = book.show(number)
        if not yes:
            raise FiringError(
                f"firing {number} of {one.started:%Y-%m-%d}, {one.plan or 'no plan'}, would go "
                "with its log; add --yes to remove it"
            )
        copy = book.remove(number)
    if as_json:
        outcome.document(
            {"schema": 1, "kind": "logbook-remove", "removed": one.to_dict(), "backup": str(copy)}
        )
    else:
        outcome.text(f"Firing {number} is removed; {copy.name} still has it.")
    return outcome.DONE


@_subcommand("event", 'event "Workshop kiln" "new elements" --on 2026-03-01')
@click.argument("kiln", required=False)
@click.argument("kind", required=False, metavar=f"[{'|'.join(EVENT_KINDS)}]")
@click.option("--on", "when", metavar="WHEN", help="When; now if left out.")
@click.option("--note", "words", default="", metavar="WORDS", help="Anything to remember of it.")
@click.option(
    "--remove", type=WholeNumber(1), metavar="NUMBER", help="Take back an event noted by mistake."
)
@logbook_option
@json_option
def event_command(
    kiln: str | None, kind: str | None, when: str | None, words: str, remove: int | None,
    place: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Note what was done to KILN, or list what is noted.

    An event is: new elements, new sensor, relay, repair, or note. Trends of wear and of the
    thermocouple begin anew at the first two. Without an event it lists what is noted, of KILN or
    of all.
    """
    from firing.report.logbook import events_report

    if kind is not None and remove is not None:
        raise FiringError("--remove takes an event back; leave out what was done")
    if kiln is not None and kind is None and remove is None:
        if kiln.casefold() in EVENT_KINDS:
            raise FiringError(f'name the kiln first: firing logbook event KILN "{kiln}"')
        if when is not None or words:
            raise FiringError(f"say what was done to {kiln}: {', '.join(EVENT_KINDS)}")
    with Logbook.open(place, create=kind is not None) as book:
        if kiln is not None and kind is not None:
            at = _moment_of_event(when)
            offset = at.utcoffset()
            book.add_event(
                book.kiln_called(kiln), _event_kind(kind), words, at_s=at.timestamp(),
                utc_offset_s=0 if offset is None else round(offset.total_seconds()),
            )  # fmt: skip
        if remove is not None:
            its_kiln = [event.kiln for event in book.events() if event.id == remove]
            if kiln is not None and its_kiln not in ([], [book.kiln_called(kiln)]):
                raise FiringError(f"event {remove} is of {its_kiln[0]}, not of {kiln}")
            book.remove_event(remove)
        asked = kiln is not None and kind is None and remove is None
        events = book.events(_kiln_named(book, kiln)) if asked and kiln else book.events()
    if as_json:
        outcome.document(
            {"schema": 1, "kind": "events", "events": [event.to_dict() for event in events]}
        )
    else:
        outcome.report(events_report(events))
    return outcome.DONE


def _moment_of_event(text: str | None) -> datetime:
    """Read when an event was: a day alone is its noon, and today's is not to come."""
    now = parse_when("now")
    if text is None:
        return now
    if ":" in text or text.strip().casefold() == "now":
        return parse_when(text, near=now)
    try:
        noon = parse_when(f"{text} 12:00", near=now)
    except FiringError:
        raise FiringError(
            f'--on "{text}" is no day; write year, month and day: {now:%Y-%m-%d}, or with the '
            f'time "{now:%Y-%m-%d} 14:30"'
        ) from None
    return min(noon, now) if noon.date() == now.date() else noon


def _event_kind(text: str) -> EventKind:
    words = text.strip().casefold().replace("-", " ")
    for kind in EVENT_KINDS:
        if words == kind:
            return kind
    near = difflib.get_close_matches(words, EVENT_KINDS, n=1)
    meant = f"; did you mean '{near[0]}'?" if near else f"; write {', '.join(EVENT_KINDS)}"
    raise FiringError(f'"{text}" is no event{meant}')


@_subcommand("check", "check")
@logbook_option
@json_option
def check_command(place: Path | None, as_json: bool) -> int:
    """Check the logbook's file and every log in it."""
    from firing.report.logbook import check_report

    with Logbook.open(place, create=False) as book:
        found = book.check(code_version())
    if as_json:
        outcome.document({"schema": 1, "kind": "logbook-check", **found.to_dict()})
    else:
        outcome.report(check_report(found))
    return outcome.act_if(bool(found.wrong))


@_subcommand("export", "export studio-2026")
@click.argument("folder", type=click.Path(path_type=Path))
@logbook_option
@json_option
def export_command(folder: Path, place: Path | None, as_json: bool) -> int:
    """Write the logbook into a new FOLDER of plain files.

    Logs as they are, what you said as TOML, and CSV for a spreadsheet; 'import' reads it back.
    """
    from firing.logbook.exchange import export

    with Logbook.open(place, create=False) as book:
        count = export(book, folder, progress_line())
    if as_json:
        outcome.document({"schema": 1, "kind": "logbook-export", "folder": str(folder),
                          "firings": count})  # fmt: skip
    else:
        outcome.text(f"{count:,} firings written to {folder}.")
    return outcome.DONE


@_subcommand("import", "import studio-2026 --logbook new.sqlite")
@click.argument("folder", type=click.Path(path_type=Path))
@logbook_option
@report_options
@json_option
def import_command(folder: Path, place: Path | None, as_json: bool) -> int:
    """Read a FOLDER that 'export' wrote into the logbook.

    What is there already is passed over.
    """
    from firing.logbook.exchange import import_
    from firing.report.logbook import keep_report

    with Logbook.open(place) as book:
        found = import_(book, folder, progress_line())
    if as_json:
        outcome.document(_kept_document("logbook-import", found))
    else:
        outcome.report(keep_report(found, full=outcome.asked("full"), kind="Import"))
    return outcome.act_if(any(one.state == "refused" for one in found))


@_subcommand("backup", "backup studio-copy.sqlite")
@click.argument("file", required=False, type=click.Path(path_type=Path, dir_okay=False))
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="As FILE.")
@logbook_option
@json_option
def backup_command(file: Path | None, out: Path | None, place: Path | None, as_json: bool) -> int:
    """Copy the logbook to FILE as it stands now; a running watch goes on.

    Without FILE the copy lies beside the logbook, with the moment in its name.
    """
    if file is not None and out is not None:
        raise FiringError("name the copy once: FILE and --out are the same")
    with Logbook.open(place, create=False) as book:
        copy = book.backup(file or out)
    if as_json:
        outcome.document({"schema": 1, "kind": "logbook-backup", "backup": str(copy)})
    else:
        outcome.text(f"Copied to {copy}.")
    return outcome.DONE


@_subcommand("page", "page --html logbook.html")
@html_option
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="As --html.")
@unit_option
@logbook_option
@report_options
@json_option
def page_command(
    html: Path | None, out: Path | None, overwrite: bool, unit: TemperatureUnit | None,
    place: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Put the logbook on one page: trends, costs and all firings.

    Energy and cost are summed by month and by person. Without --html it is printed.
    """
    from firing.report.logbook import month_sums, page_report
    from firing.report.trends import trends_report

    out = html or out
    with Logbook.open(place, create=False) as book:
        firings, events, unit = book.firings(), book.events(), unit or book.unit()
    trends = [_trends(place, name) for name in _kilns(place, None)]
    report = page_report(
        firings, events, trends_report(trends, unit), listed=None if out else SHOWN, unit=unit
    )
    if out is not None:
        outcome.page(report, out, overwrite=overwrite)
    if as_json:
        outcome.document({
            "schema": 1, "kind": "logbook-page", "total": len(firings),
            "months": [one.to_dict() for one in month_sums(firings)],
            "kilns": [one.to_dict() for one in trends],
        })  # fmt: skip
    elif out is None:
        outcome.report(report)
    return outcome.DONE


@_subcommand("restore", "restore --logbook studio.sqlite")
@click.option(
    "--from",
    "backup",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    help="The backup to begin with; by default the newest sound one.",
)
@logbook_option
@json_option
def restore_command(backup: Path | None, place: Path | None, as_json: bool) -> int:  # fmt: skip
    """Save a damaged logbook: its backup, and all that can be read.

    The damaged file is not changed; it stays beside the new one under another name.
    """
    from firing.logbook.keeping import derive
    from firing.logbook.rescue import restore
    from firing.logbook.store import default_path
    from firing.report.logbook import rescue_report

    found = restore(default_path() if place is None else place, derive, backup)
    if as_json:
        outcome.document({"schema": 1, "kind": "logbook-restore", **found.to_dict()})
    else:
        outcome.report(rescue_report(found))
    return outcome.act_if(found.incomplete)


@_subcommand("refresh", "refresh")
@click.option("--everything", is_flag=True, help="Figures of this version, too.")
@logbook_option
@json_option
def refresh_command(everything: bool, place: Path | None, as_json: bool) -> int:
    """Derive again what an older version derived of the logs."""
    from firing.logbook.keeping import derive_again

    with Logbook.open(place, create=False) as book:
        older = book.older_than("" if everything else code_version())
        troubled = derive_again(book, older, progress_line())
    if as_json:
        outcome.document({"schema": 1, "kind": "logbook-refresh", "derived": len(older),
                          "unreadable": troubled})  # fmt: skip
    else:
        more = (
            f" {troubled} logs can't be read any more; their old figures stay." if troubled else ""
        )
        outcome.text(f"{len(older)} firings derived again.{more}")
    return outcome.act_if(bool(troubled))


@_subcommand("trends", 'trends "Workshop kiln"')
@click.argument("kiln", required=False)
@unit_option
@logbook_option
@report_options
@json_option
def trends_command(
    kiln: str | None, unit: TemperatureUnit | None, place: Path | None, as_json: bool
) -> int:
    """Show how KILN's elements wear and what its sensor reads.

    It says when the peak goes out of reach. Takes neither load nor meter. Without KILN it shows
    every kiln. Exit status 1: a peak is out of reach, or nearly.
    """
    from firing.report.trends import trends_report

    found = [_trends(place, name) for name in _kilns(place, kiln)]
    if as_json:
        outcome.document({"schema": 1, "kind": "trends", "kilns": [one.to_dict() for one in found]})
    else:
        with Logbook.open(place, create=False) as book:
            outcome.report(trends_report(found, unit or book.unit()))
    return outcome.act_if(any(one.needs_action for one in found))


def _kilns(place: Path | None, kiln: str | None) -> list[str]:
    """Return the kiln that is named, or every kiln of which firings are kept."""
    with Logbook.open(place, create=False) as book:
        if kiln is None:
            return [name for name in book.kilns() if book.count(Filter(kiln=name))]
        return [_kiln_named(book, kiln)]


def _kiln_named(book: Logbook, name: str) -> str:
    """Return the kept kiln of a name, or the only one whose name begins so."""
    known = {one.casefold(): one for one in book.kilns()}
    begun = [key for key in known if key.startswith(name.casefold())]
    if name.casefold() in known or len(begun) == 1:
        return known.get(name.casefold()) or known[begun[0]]
    near = difflib.get_close_matches(name.casefold(), known, n=1)
    meant = f'; did you mean "{known[near[0]]}"?' if near else (
        f"; it has: {', '.join(known.values()) or 'none yet'}"
    )  # fmt: skip
    raise FiringError(f"{name}: the logbook holds no kiln of that name{meant}")


def _trends(place: Path | None, kiln: str) -> Trends:
    from firing.logbook.wear import trends_of

    with Logbook.open(place, create=False) as book:
        derive_older(book, kiln)
        mine = [one for one in book.firings(Filter(kiln=kiln)) if one.kiln == kiln]
        return trends_of(kiln, mine, book.events(kiln))


def derive_older(book: Logbook, kiln: str) -> None:
    """Derive again what an older version measured of a kiln's firings: a trend compares like."""
    older = set(book.older_than(code_version()))
    stale = [one.id for one in book.firings(Filter(kiln=kiln)) if one.id in older] if older else []
    if stale:
        from firing.logbook.keeping import derive_again

        derive_again(book, stale, progress_line())


@_subcommand("sensor", 'sensor "Workshop kiln" --plan glaze.toml --out glaze-corrected.toml')
@click.argument("kiln")
@click.option("--plan", metavar="PLAN", help="The next plan, whose peak is to be corrected.")
@click.option(
    "--already",
    metavar="DEGREES",
    help="What the plan allows for already: kiln_reads_low of the kiln file it was made with, or 0",
)
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="The corrected plan.")
@click.option("--overwrite", is_flag=True, help="Replace the --out file if it is there already.")
@logbook_option
@json_option
def sensor_command(
    kiln: str, plan: str | None, already: str | None, out: Path | None, overwrite: bool,
    place: Path | None, as_json: bool,
) -> int:  # fmt: skip
    """Show what KILN's thermocouple reads wrong by its witness cones, and correct a plan by it."""
    from firing.files.tomlfile import read_text
    from firing.kiln.file import parse_kiln
    from firing.logbook.sensor import corrected
    from firing.report.trends import correction_report, sensor_report
    from firing.schedule.file import open_schedule, schedule_text

    name = _kilns(place, kiln)[0]
    sensor = _trends(place, name).sensor
    if plan is None:
        if out is not None or already is not None:
            raise FiringError("--out and --already speak of a plan; name it with --plan PLAN")
        if as_json:
            outcome.document({"schema": 1, "kind": "sensor", "kiln": name, **sensor.to_dict()})
        else:
            with Logbook.open(place, create=False) as book:
                outcome.report(sensor_report(name, sensor, book.unit()))
        return outcome.DONE
    next_plan = open_schedule(plan)
    if already is None:
        with Logbook.open(place, create=False) as book:
            text = book.kilns()[name]
        written = parse_kiln(text, name).fitted.cone_offset_c if text else 0.0
        if written:
            raise FiringError(
                f"the kiln file has kiln_reads_low_c = {written:g}; say with --already {written:g} "
                "that the plan was made with it, or with --already 0 that it was not"
            )
    allowed = (already or "0").strip()
    size_c = parse_rate_c_per_h(allowed.lstrip("-−"), next_plan.unit) if allowed != "0" else 0.0
    correction = corrected(next_plan, sensor, -size_c if allowed[0] in "-−" else size_c)
    if out is not None and correction.schedule is not None:
        base = read_text(Path(plan)) if Path(plan).exists() else None
        outcome.write(out, schedule_text(correction.schedule, base), overwrite=overwrite)
        outcome.note(f"written to {out}")
    if as_json:
        outcome.document({"schema": 1, "kind": "correction", "kiln": name, **correction.to_dict()})
    else:
        outcome.report(correction_report(correction, next_plan.unit))
    return outcome.DONE
