"""The schedule file: how it is read with every fault at once, and how it is written."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any, cast

from firing.errors import FiringError
from firing.files.disk import is_there
from firing.files.kinds import FileKind, example_names, kind_of_text, ready_names, ready_text
from firing.files.tomlfile import Wrong, parse, write_text
from firing.schedule.schedule import Drive, Schedule, Segment, WareDone
from firing.schedule.schema import checked, plain_data, table_model, unit_of
from firing.units import (
    ROOM_C,
    TemperatureUnit,
    from_celsius,
    parse_duration_s,
    rate_from_celsius,
    rate_to_celsius,
    to_celsius,
    write_duration,
)

if TYPE_CHECKING:
    from firing.files.tomlfile import KeyPath


def _across(data: dict[str, Any], unit: TemperatureUnit) -> list[Wrong]:
    """Return what is wrong between one segment and the next, wherever both can be read."""
    found: list[Wrong] = []
    start = data.get("start", from_celsius(ROOM_C, unit))
    before, where = start, "the start"
    segments = data.get("segment")
    for index, table in enumerate(segments if isinstance(segments, list) else []):
        target = table.get("target") if isinstance(table, dict) else None
        readable = [
            isinstance(v, int | float) and not isinstance(v, bool) for v in (before, target)
        ]
        if all(readable):
            path: KeyPath = ("segment", index, "target")
            if target == before:
                found.append(
                    (
                        path,
                        f"{target:g} °{unit} equals {where}, so there is nothing to ramp; write "
                        "another target, or put the hold on the segment before",
                    )
                )
            elif table.get("rate") == "off" and target > before:
                found.append(
                    (path, f'{target:g} °{unit} is above {where}, and a kiln that is "off" cools')
                )
            elif table.get("rate") == "unlimited" and target < before:
                found.append(
                    (
                        path,
                        f"{target:g} °{unit} is below {where}; to cool as fast as the kiln does, "
                        'write rate = "off"',
                    )
                )
        before = target
        where = f"the target of segment {index + 1} ({target:g} °{unit})" if readable[1] else ""
    return found


def _faultless(data: dict[str, Any]) -> Schedule | None:
    """Return the schedule of a file without a fault; None for any other.

    Naming the faults is left to the model, whose library takes five times as long to load as
    everything else that reads a schedule.
    """
    try:
        values = checked(data)
    except ValueError:
        return None
    return None if _across(data, values["unit"]) else _schedule(values)


def _schedule(values: dict[str, Any]) -> Schedule:
    unit, start = values["unit"], values["start"]
    return Schedule(
        title=values["title"],
        segments=tuple(_segment(table, unit) for table in values["segment"]),
        purpose=values["purpose"],
        start_c=ROOM_C if start is None else to_celsius(start, unit),
        unit=unit,
        notes=values["notes"],
        cone=values["cone"],
        ware_done=_ware_done(values["ware_done"]),
    )


def _ware_done(table: dict[str, Any] | None) -> WareDone | None:
    if table is None:
        return None
    return WareDone(
        paths_mm=tuple(table["paths_mm"]),
        drying_fourier=table["drying"],
        bound_water_gone=table["bound_water"],
        burn_out_s=parse_duration_s(table["burn_out"]),
    )


def _segment(table: dict[str, Any], unit: TemperatureUnit) -> Segment:
    rate = table["rate"]
    return Segment(
        target_c=to_celsius(table["target"], unit),
        rate_c_per_h=None if isinstance(rate, str) else rate_to_celsius(rate, unit),
        drive=cast("Drive", rate) if isinstance(rate, str) else "rate",
        hold_s=parse_duration_s(table["hold"]),
        name=table["name"],
        action=table["action"],
    )


class _ScheduleFile(FileKind[Any, Schedule]):
    def parse(self, text: str, name: str = "schedule") -> Schedule:
        return _faultless(plain_data(parse(text, name))) or super().parse(text, name)

    def text(self, source: str | Path) -> str:
        path = Path(source)
        if isinstance(source, str) and source not in ready_names() and not is_there(path):
            from difflib import get_close_matches

            if source in example_names():
                kind = kind_of_text(ready_text(source))
                raise FiringError(f"{source} is a {kind}; write it after --{kind}")
            near = get_close_matches(path.name.removesuffix(".toml"), ready_names(), n=1)
            hint = f'; the ready schedule "{near[0]}" has a name like it' if near else ""
            raise FiringError(
                f"{source}: there is no such file{hint}; 'firing schedules' lists the ready ones"
            )
        return super().text(source)


SCHEDULE_FILE = _ScheduleFile(
    "schedule",
    table_model,
    lambda table: _schedule(table.model_dump()),
    across=_across,
    plain=plain_data,
)
parse_schedule, open_schedule = SCHEDULE_FILE.parse, SCHEDULE_FILE.open


def schedule_text(schedule: Schedule, base_text: str | None = None) -> str:
    """Return a schedule as the text of its file.

    Comments, order and notation of `base_text`, the file as it was, stay wherever they still say
    the same.
    """
    from firing.files.tomledit import render

    data = schedule_data(schedule)
    if base_text is not None:
        # A hold written "1:30" means 1h30m already; only what changes in meaning is rewritten.
        raw = parse(base_text, "")
        plain = plain_data(raw)
        if _faultless(plain) is not None:
            _keep_notation(data, plain, schedule.unit)
            _keep_spelling(data, raw, plain)
    return render(data, base_text)


def _keep_notation(data: dict[str, Any], raw: dict[str, Any], unit: TemperatureUnit) -> None:
    if "start" in raw and raw.get("unit", "C") == unit and "start" not in data:
        data["start"] = plain_number(from_celsius(ROOM_C, unit))
    for key, default in (("purpose", "other"), ("unit", "C"), ("notes", "")):
        if key not in raw and data.get(key) == default:
            data.pop(key, None)
    by_meaning = {
        (i, parse_duration_s(str(t["hold"]))): t["hold"]
        for i, t in enumerate(raw["segment"])
        if "hold" in t
    }
    spellings = {seconds: spelling for (_, seconds), spelling in by_meaning.items()}
    for index, table in enumerate(data["segment"]):
        seconds = parse_duration_s(table.get("hold", "0m"))
        spelling = by_meaning.get((index, seconds), spellings.get(seconds))
        if spelling is not None:
            table["hold"] = spelling


def _keep_spelling(data: dict[str, Any], raw: dict[str, Any], plain: dict[str, Any]) -> None:
    """Write figures that carried their unit as they stood, wherever they say the same."""
    if unit_of(data) != unit_of(plain):
        return
    for key in ("rate", "target"):
        spelt = {
            plain_number(known[key]): table[key]
            for table, known in zip(raw["segment"], plain["segment"], strict=True)
            if table.get(key) != known.get(key)
        }
        for table in data["segment"]:
            table[key] = spelt.get(table[key], table[key])
    if raw.get("start") != plain.get("start") and data.get("start") == plain_number(plain["start"]):
        data["start"] = raw["start"]
    if "unit" not in raw and all(isinstance(t["target"], str) for t in data["segment"]):
        data.pop("unit", None)


def faultless_schedule(data: dict[str, Any]) -> Schedule | None:
    """Return the schedule of a file's data without a fault; None for any other, which is quick."""
    return _faultless(plain_data(data))


def plain_number(value: float) -> int | float:
    """Return a number as a person would write it: rounded past conversion noise, whole if whole."""
    rounded = round(value, 6)
    return int(rounded) if rounded == int(rounded) else rounded


def schedule_data(schedule: Schedule) -> dict[str, Any]:
    """Return what the schedule's file would hold, as a TOML reader returns it."""
    unit = schedule.unit
    data: dict[str, Any] = {"title": schedule.title, "purpose": schedule.purpose, "unit": unit}
    if schedule.start_c != ROOM_C:
        data["start"] = plain_number(from_celsius(schedule.start_c, unit))
    if schedule.cone is not None:
        data["cone"] = schedule.cone
    if schedule.notes:
        data["notes"] = schedule.notes
    done = schedule.ware_done
    if done is not None:
        data["ware_done"] = {
            "paths_mm": [plain_number(path) for path in done.paths_mm],
            "drying": plain_number(done.drying_fourier),
            "bound_water": plain_number(done.bound_water_gone),
            "burn_out": write_duration(done.burn_out_s),
        }
    data["segment"] = []
    for segment in schedule.segments:
        table: dict[str, Any] = {}
        if segment.name:
            table["name"] = segment.name
        table["rate"] = (
            segment.drive
            if segment.rate_c_per_h is None
            else plain_number(rate_from_celsius(segment.rate_c_per_h, unit))
        )
        table["target"] = plain_number(from_celsius(segment.target_c, unit))
        if segment.hold_s:
            table["hold"] = write_duration(segment.hold_s)
        if segment.action:
            table["action"] = segment.action
        data["segment"].append(table)
    return data


def write_schedule(
    schedule: Schedule, path: Path, *, base_text: str | None = None, overwrite: bool = False
) -> None:
    """Write a schedule file whole or not at all, keeping the comments of `base_text`."""
    write_text(path, schedule_text(schedule, base_text), overwrite=overwrite)
