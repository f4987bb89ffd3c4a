"""Tables whose cells have to be put together before they are times and temperatures.

A moment in six columns, a half of the day in one of its own, one row for each sensor, a unit beside
the number: each is carried over into one row a moment and one column a channel.  Every line stays
where it is, so that a note still names the line a person sees.
"""

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import pairwise

from firing.logs.layout import LogLayout, looks_like_header
from firing.logs.spelling import month_number
from firing.logs.text import Text, printable
from firing.logs.time_column import date_orders
from firing.logs.times import time_of_cell
from firing.logs.values import cell_kind, split_line
from firing.logs.vocabulary import Role, normalized, role, time_unit

_PARTS: dict[str, str] = {
    "year": "year|yr|y|yy|yyyy|jahr|annee|an|ano|anno|jaar|ar|rok|vuosi|ev|yil|年|год",
    "month": "month|mon|mo|m|mm|monat|mois|mes|mese|maand|manad|maned|miesiac|kuukausi|mesic|honap"
    "|月|месяц",
    "day": "day|d|dd|dy|tag|jour|dia|giorno|dag|dzien|paiva|den|nap|日|день",
    "hour": "hour|hours|hr|hrs|hh|h|stunde|stunden|std|heure|heures|hora|horas|ora|ore|uur|timme"
    "|time|godzina|tunti|hodina|時|时|час",
    "minute": "minute|minutes|min|mins|mn|mi|mm|m|minuten|minuto|minutos|minuti|minuut|minut|minuta"
    "|minuutti|分|минута",
    "second": "second|seconds|sec|secs|ss|s|sekunde|sekunden|sek|seconde|secondes|segundo|segundos"
    "|secondo|secondi|sekund|sekunda|sekunti|秒|секунда",
}
_PART_OF = {part: frozenset(words.split("|")) for part, words in _PARTS.items()}
_ORDER = tuple(_PARTS)
_HALVES = {"am": "AM", "pm": "PM", "a": "AM", "p": "PM"}
_UNITS = {"c": "°C", "f": "°F", "k": "K", "celsius": "°C", "fahrenheit": "°F", "kelvin": "K"}
_LEAST_SHARE = 0.9
_MOST_SENSORS = 32
_LEAST_ROWS = 4


@dataclass(frozen=True, eq=False)
class _Table:
    """A layout's rows, and what its columns are called."""

    layout: LogLayout
    names: tuple[str, ...]

    @property
    def width(self) -> int:
        return len(self.layout.kinds)

    def sample(self, index: int) -> list[str]:
        return [cell for cell in self.layout.column(index) if cell]


def rearranged(text: Text, layout: LogLayout) -> Text | None:
    """Return the text with a table that can be read as it stands, None where it already can."""
    names = layout.names or ("",) * len(layout.kinds)
    table = _Table(layout, names)
    for way in (
        _date_lines,
        _dates_within,
        _halves,
        _moment_parts,
        _day_of_year,
        _digit_dates,
        _bare_clock,
        _unit_beside,
        _one_row_a_sensor,
    ):
        found = way(text, table)
        if found is not None:
            return found
    return None


def _rows(text: Text, table: _Table) -> list[tuple[int, list[str]]]:
    """Return the lines that could be readings, and their cells; shorter ones are filled up."""
    lines = text.body.decode("utf-8", "replace").split("\n")
    mark, width = table.layout.delimiter, table.width
    found = []
    for at in range(table.layout.first_row, len(lines)):
        cells = split_line(lines[at], mark)
        if len(cells) >= 2 and lines[at].strip():
            found.append((at, (cells + [""] * width)[: max(width, len(cells))]))
    return found


def _written(
    text: Text,
    table: _Table,
    rows: Sequence[tuple[int, list[str]]],
    names: Sequence[str],
    note: str,
) -> Text:
    """Return the text with these rows on their lines, tabs between cells, and names apart."""
    lines = text.body.decode("utf-8", "replace").split("\n")
    # lines that become none leave an empty one behind
    new = ["" if at >= table.layout.first_row else line for at, line in enumerate(lines)]
    above = table.layout.first_row
    for at in range(above):
        if looks_like_header(lines[at], table.layout.delimiter) or (
            table.layout.names
            and split_line(lines[at], table.layout.delimiter)[: len(names)]
            == list(table.layout.names)
        ):
            new[at] = ""
    for at, cells in rows:
        new[at] = "\t".join(cell.replace("\t", " ") for cell in cells)
    return Text(
        "\n".join(new).encode(),
        text.encoding,
        (*text.notes, note) if note else text.notes,
        tuple(names),
        text.zone,
    )


_LONE_DATE = re.compile(
    r"^[ \t\"=#-]*(?:(?:date|datum|fecha|data|dato|day|tag|jour|log of|log)[ \t]*[:;,=]?[ \t]*)?"
    r"(\d{1,2}[./-]\d{1,2}[./-](?:\d{4}|\d\d)|\d{4}[./-]\d{1,2}[./-]\d{1,2})"
    r"[ \t\"=#;,|-]*$",
    re.M | re.I,
)


def _date_lines(text: Text, table: _Table) -> Text | None:
    """Put a date that has a line of its own beside the clocks below it."""
    kinds = table.layout.kinds
    if "clock" not in kinds or {"date", "datetime"} & set(kinds):
        return None
    body = text.body.decode("utf-8", "replace")
    dates = _lone_dates(body)
    if not dates or len(dates) > _MOST_DAYS:
        return None
    if dates[-1][0] < table.layout.first_row:
        # one above the table may be any date, if the line does not say that it is the firing's
        place = kinds.index("clock")
        since_start = not next(iter(table.sample(place)), "").strip("0:., ")
        line, day = body.split("\n", dates[-1][0] + 1)[dates[-1][0]], dates[-1][1]
        if since_start or not _OF_FIRING.search(line) or len(date_orders([day])[0]) > 1:
            return None
    rows = []
    shown = 0
    for at, cells in _rows(text, table):
        above = [day for line, day in dates if line < at]
        # once, as past midnight it is the next day
        rows.append((at, [above[-1] if len(above) > shown else "", *cells]))
        shown = len(above)
    note = f"dates stand on lines of their own (first at line {dates[0][0] + 1})"
    return _written(text, table, rows, ["Date", *table.names], note)


def _lone_dates(body: str) -> list[tuple[int, str]]:
    """Return the dates that stand on lines without a reading, and the lines, from 0."""
    dated = _BETWEEN_MARKS.search(body) is not None
    found = [(m.start(), m[1]) for m in _LONE_DATE.finditer(body)] if dated else []
    # Few lines have a word behind a blank, and only those may name a month.
    lines = {body.rfind("\n", 0, word.start()) + 1 for word in _WORD.finditer(body)}
    for match in (_WORDED_DATE.match(body, begin) for begin in lines):
        month = month_number(match["mon"]) if match else None
        if match and month is not None:
            found.append((match.start(), f"{match['y']}-{month:02d}-{int(match['d']):02d}"))
    return [(body.count("\n", 0, begin), day) for begin, day in sorted(found)]


_BETWEEN_MARKS = re.compile(r"[./-]\d{1,2}[./-]\d")
_LETTERS = re.compile(r"[a-z]{3}", re.I)
_WORD = re.compile(r" [^\W\d_]{3}")
_WORDED_DATE = re.compile(
    r"^[^\d\n]*?(?P<d>\d{1,2})\.? +(?:de )?(?P<mon>[^\W\d_]{3,12})\.?,? +(?:de )?"
    r"(?P<y>20\d\d)[^\d\n]*$",
    re.M,
)
_OF_FIRING = re.compile(
    r"^(?!.*\b(?:export|calibr|print|download|built|firmware)).*\b(?:date|datum|fecha|data|dato"
    r"|fir(?:ing|ed)|start|started|begin|brand|cuisson|cottura|coccion|cocción)\b",
    re.I,
)
_MOST_DAYS = 60
_DATE_AND_CLOCK = re.compile(r"(?P<date>\S+?)(?:T| +)(?P<clock>\d{1,2}:\d\d(?::\d\d)?(?: ?[AP]M)?)")


def _dates_within(text: Text, table: _Table) -> Text | None:
    """Part a date that stands before its first clock only, in one cell with it."""
    kinds = table.layout.kinds
    if "clock" not in kinds or {"date", "datetime"} & set(kinds):
        return None
    place = kinds.index("clock")
    first, mark = table.layout.first_row, table.layout.delimiter
    body = text.body.decode("utf-8", "replace")
    lines = body.split("\n", first)
    if not _BETWEEN_MARKS.search(body) and not _LETTERS.search(lines[-1]):
        return None
    above = [(at, split_line(lines[at], mark)) for at in range(max(0, first - _FEW), first)]
    rows = [(at, cells) for at, cells in above if len(cells) == table.width]
    rows = [row for row in rows if time_of_cell(row[1][place]) == "datetime"]
    rows += _rows(text, table)
    dated = [row for row in rows if time_of_cell(row[1][place]) == "datetime"]
    parts = [_DATE_AND_CLOCK.fullmatch(cells[place]) for _, cells in dated]
    if not dated or not all(parts) or len(dated) > _MOST_DAYS:
        return None
    days = {at: match for (at, _), match in zip(dated, parts, strict=True) if match}
    new = []
    for at, cells in rows:
        match = days.get(at)
        if match is not None:
            cells[place] = match["clock"]
        new.append((at, [match["date"] if match else "", *cells]))
    return _written(text, table, new, ["Date", *table.names], "")


def _all_in(cells: Sequence[str], words: dict[str, str] | frozenset[str]) -> bool:
    return bool(cells) and all(cell.casefold().replace(".", "") in words for cell in cells)


def _halves(text: Text, table: _Table) -> Text | None:
    """Put a.m. and p.m. from a column of their own beside the clock."""
    kinds = table.layout.kinds
    clocks = [i for i, kind in enumerate(kinds) if kind in ("clock", "datetime")]
    halves = [
        i for i, kind in enumerate(kinds) if kind == "text" and _all_in(table.sample(i), _HALVES)
    ]
    if not clocks or len(halves) != 1:
        return None
    half, clock = halves[0], min(clocks, key=lambda i: abs(i - halves[0]))
    rows = _rows(text, table)
    for _, cells in rows:
        word = _HALVES.get(cells[half].casefold().replace(".", ""), "")
        if word:
            cells[clock] = f"{cells[clock]} {word}"
        cells[half] = ""
    names = [name if i != half else "" for i, name in enumerate(table.names)]
    return _written(text, table, rows, names, "")


def _moment_parts(text: Text, table: _Table) -> Text | None:
    """Put a moment together from columns of its parts: year, month, day, hour, minute, second."""
    places = _parts_of(table)
    dates = {"year", "month", "day"} <= set(places)
    kinds = table.layout.kinds
    clocks = [i for i, kind in enumerate(kinds) if kind == "clock"]
    whole = [i for i, kind in enumerate(kinds) if kind in ("date", "datetime")]
    hours = "hour" in places and "minute" in places
    if not ((dates and (hours or clocks)) or (hours and not clocks and not dates)):
        return None
    used = [places[part] for part in _ORDER if part in places]
    if dates and not hours:
        used = [places[part] for part in _ORDER[:3]]
    first = min(used)
    rows = _rows(text, table)
    kept = []
    for at, cells in rows:
        parts = {part: cells[place] for part, place in places.items()}
        if "month" in parts:
            parts["month"] = _month_number(parts["month"])
        if not all(re.fullmatch(r"\d{1,4}(?:[.,]\d+)?", parts[p]) for p in parts if parts[p]):
            continue
        for place in used:
            cells[place] = ""
        moment = ""
        if dates:
            year = parts["year"] if len(parts["year"]) != 2 else f"20{parts['year']}"
            moment = f"{year}-{parts['month'].zfill(2)}-{parts['day'].zfill(2)}"
        if hours:
            second = parts.get("second", "0").replace(",", ".") or "0"
            whole_s, _, part_s = second.partition(".")
            clock = f"{parts['hour']}:{parts['minute'].zfill(2)}:{whole_s.zfill(2)}"
            clock += f".{part_s}" if part_s else ""
            moment = f"{moment} {clock}".strip()
        cells[first] = moment
        kept.append((at, cells))
    names = ["" if i in used else name for i, name in enumerate(table.names)]
    names[first] = "Date" if dates and not hours else "Time"
    del whole
    return _written(text, table, kept, names, "")


_DAYS_OF_YEAR = ("doy", "day of year", "yday", "jday", "julian day")


def _day_of_year(text: Text, table: _Table) -> Text | None:
    """Put a date together from the columns of its year and its day of the year."""
    names = [normalized(name) for name in table.names]
    years = [i for i, name in enumerate(names) if name in _PART_OF["year"]]
    days = [i for i, name in enumerate(names) if name in _DAYS_OF_YEAR]
    if len(years) != 1 or len(days) != 1:
        return None
    rows = []
    for at, cells in _rows(text, table):
        if not (
            re.fullmatch(r"20\d\d", cells[years[0]]) and re.fullmatch(r"\d{1,3}", cells[days[0]])
        ):
            return None
        day = date(int(cells[years[0]]), 1, 1) + timedelta(days=int(cells[days[0]]) - 1)
        cells[years[0]], cells[days[0]] = day.isoformat(), ""
        rows.append((at, cells))
    renamed = ["Date" if i == years[0] else "" if i == days[0] else name
               for i, name in enumerate(table.names)]  # fmt: skip
    return _written(text, table, rows, renamed, "")


def _digit_dates(text: Text, table: _Table) -> Text | None:
    """Read 261124 as a date beside a clock of digits, both called so."""
    kinds, names = table.layout.kinds, table.names
    timed = [i for i, kind in enumerate(kinds) if kind == "number" and role(names[i]) == "time"]
    if len(timed) != 2 or {"date", "datetime", "clock"} & set(kinds):
        return None
    for day, clock in (timed, timed[::-1]):
        cells, digits = table.sample(day), table.sample(clock)
        if not all(re.fullmatch(r"(?:[0-3]\d){3}", cell) for cell in cells):
            continue
        if len(set(cells)) > _MOST_DAYS or not all(
            _DIGIT_CLOCK.fullmatch(cell.zfill(4)) for cell in digits
        ):
            continue
        rows = _rows(text, table)
        for _, row in rows:
            row[day] = "/".join(re.findall(r"\d\d", row[day]))
            row[clock] = ":".join(
                re.findall(r"\d\d", row[clock].zfill(len(row[clock]) + len(row[clock]) % 2))
            )
        return _written(text, table, rows, names, "")
    return None


def _parts_of(table: _Table) -> dict[str, int]:
    """Return the places of the parts of a moment, by their names and their numbers."""
    places: dict[str, int] = {}
    for index, name in enumerate(table.names):
        words = normalized(name)
        if table.layout.kinds[index] == "text" and words in _PART_OF["month"]:
            months = [_month_number(cell) for cell in table.sample(index)]
            if months and all(months) and "month" not in places:
                places["month"] = index
            continue
        if table.layout.kinds[index] != "number":
            continue
        for part in _ORDER:
            if words not in _PART_OF[part] or part in places:
                continue
            # "mm" is a month before the hour and a minute after it
            if (
                part == "month"
                and words in ("mm", "m")
                and "year" not in places
                and ("day" not in places)
            ):
                continue
            if _fits_part(part, table.sample(index)):
                places[part] = index
                break
    return places


def _month_number(cell: str) -> str:
    """Return the number of a month that is written as one or by its name, or nothing."""
    if cell.isdigit():
        return cell
    number = month_number(cell)
    return "" if number is None else str(number)


def _fits_part(part: str, cells: Sequence[str]) -> bool:
    limits = {"month": (1, 12), "day": (1, 31), "minute": (0, 59), "second": (0, 60)}
    try:
        values = [float(cell.replace(",", ".")) for cell in cells]
    except ValueError:
        return False
    if part != "second" and any(value != int(value) for value in values):
        return False
    low, high = limits.get(part, (0, 9999))
    return bool(values) and all(low <= value < high + 1 for value in values)


_DIGIT_CLOCK = re.compile(r"([01]?\d|2[0-4])[.,]?([0-5]\d)(?:[.,]?([0-5]\d))?")


_SIX_DIGITS = re.compile(r"([01]\d|2[0-4])([0-5]\d)([0-5]\d)")
_FOUR_DIGITS = re.compile(r"([01]?\d|2[0-4])([0-5]\d)")
_CLOCK_NAMES = (
    "hhmm", "hhmmss", "hh mm", "hh mm ss", "h mm", "std min", "h min", "hr min", "hours minutes",
)  # fmt: skip


def _digits_clock(
    text: Text, table: _Table, digits: re.Pattern[str], width: int, words: str
) -> Text | None:
    """Read 070513 or 0705 as a clock where no two digits ever pass 59."""
    for index, name in enumerate(table.names):
        cells = table.sample(index)
        if table.layout.kinds[index] != "number" or time_unit(name) is not None:
            continue
        if role(name) != "time" and normalized(name) not in _CLOCK_NAMES:
            continue
        found = [digits.fullmatch(cell.zfill(width)) for cell in cells]
        hours = {match[1] for match in found if match is not None}
        minutes = {match[2] for match in found if match is not None}
        if len(cells) < _LONG_ENOUGH or not all(found) or len(hours) < 2 or max(minutes) < "40":
            continue
        rows = _rows(text, table)
        for _, row in rows:
            match = digits.fullmatch(row[index].zfill(width))
            if match is not None:
                row[index] = ":".join(match.groups())
        note = f'times such as "{cells[0]}" never pass 59, so they are read as {words}'
        return _written(text, table, rows, table.names, note)
    return None


_SHORT_ENOUGH = 12  # rows, each at a full five minutes, as a person writes them down
_LONG_ENOUGH = 60  # rows: of so many decimal hours, two in five would show 60 hundredths and more


def _bare_clock(text: Text, table: _Table) -> Text | None:
    """Read 18.40 or 1840 in a column of clocks beside one of dates, or 18.40 by itself."""
    kinds = table.layout.kinds
    if "clock" in kinds or "datetime" in kinds:
        return None
    if "date" not in kinds:
        return (
            _dotted_clock(text, table)
            or _digits_clock(text, table, _SIX_DIGITS, 6, "hours, minutes and seconds")
            or _digits_clock(text, table, _FOUR_DIGITS, 4, "hours and minutes")
        )
    for index, name in enumerate(table.names):
        cells = table.sample(index)
        if kinds[index] != "number":
            continue
        if re.fullmatch(r"(?:sec|secs|seconds) (?:of|in)(?: the)? day", normalized(name)):
            rows = _rows(text, table)
            for _, row in rows:
                if row[index].isdigit():
                    row[index] = str(timedelta(seconds=int(row[index])))
            return _written(text, table, rows, table.names, "")
        if role(name) != "time" and normalized(name) not in _CLOCK_NAMES:
            continue
        if len(cells) >= _LEAST_ROWS and all(map(_DAY_SHARE.fullmatch, cells)):
            rows = _rows(text, table)
            for _, row in rows:
                if _DAY_SHARE.fullmatch(row[index]):
                    seconds = round(86400.0 * float(row[index].replace(",", ".")))
                    row[index] = str(timedelta(seconds=min(seconds, 86_399)))
            return _written(text, table, rows, table.names, "")
        if len(cells) >= _LEAST_ROWS and all(
            _DIGIT_CLOCK.fullmatch(cell.zfill(4)) for cell in cells
        ):
            rows = _rows(text, table)
            for _, row in rows:
                match = _DIGIT_CLOCK.fullmatch(row[index].zfill(4))
                if match is not None:
                    row[index] = ":".join(part for part in match.groups() if part)
            return _written(text, table, rows, table.names, "")
    return None


_DAY_SHARE = re.compile(r"0(?:[.,]\d{3,})?")


def _dotted_clock(text: Text, table: _Table) -> Text | None:
    """Read 7.58, 8.00 as a clock where no hundredth ever passes 59."""
    for index, name in enumerate(table.names):
        cells = table.sample(index)
        named = role(name) == "time" or normalized(name) in _CLOCK_NAMES or not name
        if table.layout.kinds[index] != "number" or not named:
            continue
        if time_unit(name) not in (None, "h"):
            continue
        found = [_DOTTED.fullmatch(cell) for cell in cells]
        minutes = [int(match[2]) for match in found if match is not None]
        hours = {match[1] for match in found if match is not None}
        if not all(found) or len(hours) < 3 or max(minutes) < 30:
            continue
        by_hand = len(cells) >= _SHORT_ENOUGH and all(minute % 5 == 0 for minute in minutes)
        if not (by_hand or (len(cells) >= _LONG_ENOUGH and max(minutes) >= 40)):
            continue
        rows = _rows(text, table)
        for _, row in rows:
            row[index] = row[index].replace(".", ":").replace(",", ":")
        note = f'times such as "{cells[0]}" never pass 59 hundredths, so they are read as a clock'
        return _written(text, table, rows, table.names, note)
    return None


_DOTTED = re.compile(r"([01]?\d|2[0-4])[.,]([0-5]\d)")


def _unit_beside(text: Text, table: _Table) -> Text | None:
    """Put the unit from a column of its own behind the number before it."""
    if _sensor_column(table) is not None:
        return None
    for index, kind in enumerate(table.layout.kinds):
        if kind != "text":
            continue
        cells = [_bare_unit(cell) for cell in table.sample(index)]
        numbers = [i for i in range(index) if table.layout.kinds[i] == "number"]
        if not _all_in(cells, _UNITS) or not numbers:
            continue
        if normalized(table.names[index]) and role(table.names[index]) not in ("unknown", "other"):
            continue
        rows = _rows(text, table)
        for _, row in rows:
            unit = _UNITS.get(_bare_unit(row[index]))
            for number in numbers:
                if unit and role(table.names[number]) in ("temperature", "unknown", "set-point"):
                    row[number] = f"{row[number]} {unit}" if row[number] else ""
            row[index] = ""
        names = [name if i != index else "" for i, name in enumerate(table.names)]
        return _written(text, table, rows, names, "")
    return None


def _bare_unit(cell: str) -> str:
    return re.sub(r"^(?:deg(?:rees?)?\.?|[°º˚])\s*", "", cell.casefold().strip(" ()[]"))


# One row a sensor


def _one_row_a_sensor(text: Text, table: _Table) -> Text | None:
    """Put rows of several sensors side by side: one row a moment, one column a sensor."""
    sensor = _sensor_column(table)
    blocks = None if sensor is not None else _sensor_blocks(text, table)
    sensor = blocks if sensor is None else sensor
    if sensor is None:
        return None
    rows = _rows(text, table)
    kinds, names = table.layout.kinds, table.names
    times = [i for i, kind in enumerate(kinds) if kind in ("datetime", "date", "clock")]
    numbers = [i for i, kind in enumerate(kinds) if kind == "number" and i != sensor]
    if not times:
        times = [i for i in numbers if role(names[i]) == "time"][:1]
    values = [i for i in numbers if i not in times and role(names[i]) != "time"]
    if not times or not values:
        return None
    value = max(values, key=lambda i: (_value_rank(role(names[i])), -i))
    if blocks is not None:
        # stable: rows of one moment stand together, in the order of the first block
        moments: dict[tuple[str, ...], int] = {}
        for _, row in rows:
            moments.setdefault(tuple(row[i] for i in times), len(moments))
        rows.sort(key=lambda found: moments[tuple(found[1][i] for i in times)])
    sensors = list(dict.fromkeys(row[sensor] for _, row in rows if row[sensor]))
    if not 2 <= len(sensors) <= _MOST_SENSORS:
        return None
    units = [i for i, kind in enumerate(kinds) if kind == "text" and i != sensor
             and _all_in([_bare_unit(c) for c in table.sample(i)], _UNITS)]  # fmt: skip
    kept: list[tuple[int, list[str]]] = []
    moment: list[str] = []
    for at, row in rows:
        here = [row[i] for i in times]
        cell = row[value]
        if units and cell:
            cell = f"{cell} {_UNITS.get(_bare_unit(row[units[0]]), '')}".strip()
        if row[sensor] not in sensors:
            continue
        place = len(times) + sensors.index(row[sensor])
        # readings of one round may be a second apart: a round ends where a sensor comes again
        if not kept or kept[-1][1][place] or not _near(here, moment):
            kept.append((at, [*here, *([""] * len(sensors))]))
            moment = here
        kept[-1][1][place] = cell
    stated = names[value] if role(names[value]) == "temperature" else ""
    unit = re.search(r"[(\[][^)\]]*[)\]]|[_ ][cfkCFK]$|°[CFK]", stated)
    tail = f" {unit[0].strip('_ ')}" if unit and not units else ""
    tail = f" ({tail.strip()})" if tail and tail.strip() in tuple("cfkCFK") else tail
    shown = [
        (one if not one.isdigit() else f"{names[sensor] or 'channel'} {one}") + tail
        for one in sensors
    ]
    note = (
        f"each row holds one of {len(sensors)} sensors; they are read as columns: "
        f"{', '.join(printable(one) for one in sensors[:8])}"
    )
    return _written(text, table, kept, [*(names[i] for i in times), *shown], note)


def _sensor_blocks(text: Text, table: _Table) -> int | None:
    """Return the column of sensors where each has a block of its own, at the same times."""
    kinds = table.layout.kinds
    times = [i for i, kind in enumerate(kinds) if kind in ("datetime", "date", "clock")]
    for index, kind in enumerate(kinds):
        named = _SENSOR_NUMBER.fullmatch(normalized(table.names[index]))
        # the first rows and the last are of two sensors
        if not times or not (kind == "text" or (kind == "number" and named)):
            continue
        if len(set(table.sample(index))) < 2:
            continue
        rows = _rows(text, table)
        cells = [row[index] for _, row in rows]
        sensors = set(cells)
        changes = sum(one != two for one, two in pairwise(cells))
        if not 2 <= len(sensors) <= _MOST_SENSORS or changes != len(sensors) - 1:
            continue
        moments = [
            {tuple(row[i] for i in times) for _, row in rows if row[index] == one}
            for one in sensors
        ]
        if len(set.intersection(*moments)) >= 0.5 * max(map(len, moments)):
            return index
    return None


def _near(here: Sequence[str], before: Sequence[str]) -> bool:
    """Tell whether two moments as written are of one round: alike but for their last digits."""
    return list(here) == list(before) or (
        bool(here) and len(here[-1]) == len(before[-1]) and here[-1][:-2] == before[-1][:-2]
    )


def _value_rank(meaning: Role) -> int:
    return {"temperature": 3, "emf": 2, "unknown": 1}.get(meaning, 0)


_SENSOR_NUMBER = re.compile(
    r"(?:channel|ch|sensor|probe|kanal|fuhler|capteur|canal|voie|sonda|input|zone|thermocouple|tc)"
    r"(?: (?:id|no|nr|number))?"
)


def _sensor_column(table: _Table) -> int | None:
    """Return the column that says whose reading a row holds: a few words that take turns."""
    kinds = table.layout.kinds
    for index, kind in enumerate(kinds):
        name = normalized(table.names[index])
        if kind == "number" and not _SENSOR_NUMBER.fullmatch(name):
            continue
        if kind not in ("text", "number"):
            continue
        cells = table.sample(index)
        counts = Counter(cells)
        if not 2 <= len(counts) <= _MOST_SENSORS or len(cells) < 2 * len(counts):
            continue
        changes = sum(one != two for one, two in pairwise(cells))
        share = min(counts.values()) / len(cells)
        # sensors take turns; the words of a status stay a while
        if changes >= 0.8 * (len(cells) - 1) and share >= 0.5 / len(counts):
            if kind == "number" and not all(cell.isdigit() for cell in counts):
                continue
            return index
    return None


# One table that changes its columns, or the mark between them

# begins with the line's end before it, which is found many times sooner than a line's beginning
_NO_READING = re.compile(rb"\n([^\d\s\"'+\-;,|][^\n]*)")
_MARKS = (";", "\t", ",", "|")


def with_same_columns(text: Text) -> Text:
    """Carry the rows below a later header over into the columns of the first one, by their names.

    A later header that lacks a time or a temperature of the first is left: it begins another table.
    """
    seen: list[tuple[int, list[str], str]] = []
    for match in _NO_READING.finditer(b"\n" + text.body):
        line = match[1].decode("utf-8", "replace")
        for mark in _MARKS:
            if mark in line and looks_like_header(line, mark):
                seen.append((match.start(), split_line(line, mark), mark))
                break
        if len(seen) > 200:
            return text
    if len({tuple(map(normalized, cells)) for _, cells, _ in seen}) < 2:
        return text
    first = [normalized(cell) for cell in seen[0][1]]
    needed = {
        name
        for name, cell in zip(first, seen[0][1], strict=True)
        if role(cell) in ("time", "temperature", "emf")
    }
    if any(not needed <= {normalized(cell) for cell in cells} for _, cells, _ in seen[1:]):
        return text
    lines = text.body.decode("utf-8", "replace").split("\n")
    own = seen[0][2]
    changed = 0
    for number, (begin, cells, mark) in enumerate(seen[1:], start=1):
        names = [normalized(cell) for cell in cells]
        if names == first and mark == own:
            continue
        at = text.body.count(b"\n", 0, begin)
        end = seen[number + 1][0] if number + 1 < len(seen) else len(text.body)
        last = text.body.count(b"\n", 0, end) + (0 if number + 1 < len(seen) else 1)
        places = [names.index(name) if name in names else None for name in first]
        for place in range(at, min(last, len(lines))):
            row = split_line(lines[place], mark)
            if len(row) < 2:
                continue
            moved = ["" if p is None or p >= len(row) else row[p] for p in places]
            lines[place] = own.join(f'"{c}"' if own in c else c for c in moved)
        changed = changed or at + 1
    if not changed:
        return text
    note = f"from line {changed} on the table has other columns; they are read by their names"
    return Text(
        "\n".join(lines).encode(), text.encoding, (*text.notes, note), text.names, text.zone
    )


def with_joined_decimals(text: Text) -> Text:
    """Put numbers together whose decimal comma also stands between columns: 20,5 in two cells."""
    lines = text.body[:_HEAD].decode("utf-8", "replace").split("\n")[:-1]
    at = next((n for n, line in enumerate(lines) if looks_like_header(line, ",")), None)
    if at is None or '"' in "".join(lines):
        return text
    names = split_line(lines[at], ",")
    timed = next((n for n, name in enumerate(names) if role(name) != "time"), len(names))
    rows = [split_line(line, ",") for line in lines[at + 1 :] if line.strip()]
    wide = timed + 2 * (len(names) - timed)
    if len(rows) < _FEW or wide == len(names) or any(len(row) != wide for row in rows[:_SHOWN]):
        return text
    parts = {len(row[n]) for row in rows[:_SHOWN] for n in range(timed + 1, wide, 2)}
    digits = all(cell.lstrip("-").isdigit() for row in rows[:_SHOWN] for cell in row[timed:])
    if not digits or not parts <= {1, 2}:
        return text
    pair = re.compile(r",([+-]?\d+),(\d{1,2})(?=,|$)")
    below = text.body.decode("utf-8", "replace").split("\n")
    for n in range(at + 1, len(below)):
        if below[n].count(",") == wide - 1:
            below[n] = pair.sub(r",\1.\2", below[n])
    note = "a comma stands between columns and in numbers; two cells make one number"
    return Text(
        "\n".join(below).encode(), text.encoding, (*text.notes, note), text.names, text.zone
    )


_HEAD, _SHOWN = 8192, 40


def with_one_mark(text: Text, layout: LogLayout) -> Text | None:
    """Put one mark between all cells, where a file changes it on the way; None elsewhere."""
    mark, width, kinds = layout.delimiter, len(layout.kinds), layout.kinds
    begin = layout.first_row if not starts_earlier(text, layout) else 0
    times = [i for i, kind in enumerate(kinds) if kind in ("datetime", "date", "clock")]
    watched = times or [0]
    lines = text.body.decode("utf-8", "replace").split("\n")
    changed: list[int] = []
    for at in range(begin, len(lines)):
        line = lines[at]
        if not line.strip() or _fits(split_line(line, mark), kinds, watched):
            continue
        for other in (*_MARKS, " "):
            if other == mark or other not in line:
                continue
            cells = split_line(line, other)
            if len(cells) == width and (
                _fits(cells, kinds, watched)
                or (at < layout.first_row and looks_like_header(line, other))
            ):
                joined = (f'"{cell}"' if mark in cell else cell for cell in cells)
                lines[at] = mark.join(joined)
                changed.append(at)
                break
    if not changed:
        return None
    note = (
        f"{len(changed)} lines have another mark between their cells (first at line "
        f"{changed[0] + 1}); they are read like the others"
    )
    return Text(
        "\n".join(lines).encode(), text.encoding, (*text.notes, note), text.names, text.zone
    )


_FEW = 5


def starts_earlier(text: Text, layout: LogLayout) -> bool:
    """Tell whether readings stand above the table that was found, other marks between them."""
    if layout.first_row <= _FEW:
        return False
    lines = text.body.decode("utf-8", "replace").split("\n")[: layout.first_row]
    found = 0
    for line in lines[-200:]:
        for mark in _MARKS:
            cells = split_line(line, mark)
            if len(cells) == len(layout.kinds) and time_of_cell(cells[0]) == layout.kinds[0]:
                found += 1
                break
    return found > _FEW


def _fits(cells: Sequence[str], kinds: Sequence[str], watched: Sequence[int]) -> bool:
    return len(cells) >= len(kinds) and all(cell_kind(cells[i]) == kinds[i] for i in watched)


def without_groups(text: Text, layout: LogLayout) -> Text:
    """Take the mark of thousands out of numbers: 1,002 after 998 is a thousand."""
    edge = re.escape(layout.delimiter)
    quoted = layout.grouped == layout.delimiter  # elsewhere the mark stands between cells
    before = '(?<=")' if quoted else rf'(?:(?<={edge})|(?<=^)|(?<="))'
    pattern = re.compile(
        rf"{before}([+-]?[1-9]\d{{0,2}}){re.escape(layout.grouped)}(\d{{3}})"
        rf'(?=[ ]*(?:{edge}|"|$))',
        re.M,
    )
    body = pattern.sub(r"\1\2", text.body.decode("utf-8", "replace"))
    note = f'"{layout.grouped}" stands between thousands, as the readings around it show'
    return Text(body.encode(), text.encoding, (*text.notes, note), text.names, text.zone)
