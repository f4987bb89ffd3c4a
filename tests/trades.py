"""Logs as the instruments of many trades write them, each with its truth.

A second collection beside `dialects`, made without looking at the reader: weather stations, cold
rooms, heat treatment, laboratories, building services, plant historians, home automation, data
bases, serial terminals, report printers.  `dialects.score` says how each is read.
"""

import gzip
import io
import json
import math
import random
import zipfile
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cached_property, lru_cache
from typing import Any

from dialects import Case

START = datetime(2026, 11, 24, 18, 42, 0)
LATE = datetime(2026, 10, 24, 20, 3, 0)  # the clocks go back in this night
LOW = datetime(2026, 5, 4, 8, 21, 0)  # 05/04 leaves the order open
STEP_S = 180.0
CET = START.replace(tzinfo=timezone(timedelta(hours=1)))
Made = Callable[[], list[Case]]


@dataclass(frozen=True)
class Course:
    """A firing every `STEP_S` seconds: times, and what each instrument would have read."""

    start: datetime
    s: list[float]
    kiln: list[float]
    aim: list[float]
    room: list[float]
    shelf: list[float]
    duty: list[float]

    @cached_property
    def at(self) -> list[datetime]:
        return [self.start + timedelta(seconds=s) for s in self.s]


@lru_cache
def course(peak_c: float = 1040.0, start: datetime = START, step_s: float = STEP_S) -> Course:
    """Return a firing: candling, a slow ramp, a fast one, a hold, and cooling as a wall cools."""
    chance = random.Random(f"{peak_c}{start}{step_s}")
    s, kiln, aim, room, shelf, duty = [], [], [], [], [], []
    at, now, ware, target, held = 0.0, 18.4, 18.2, 18.4, 0.0
    while held < 1500.0 or now > 75.0:
        rate = 80.0 if target < 140.0 else 120.0 if target < 600.0 else 210.0
        heating = held < 1500.0
        if heating and target >= peak_c:
            held += step_s
        target = min(peak_c, target + rate * step_s / 3600.0) if heating else 0.0
        was = now
        if heating:
            now += (target - now) * (1.0 - math.exp(-step_s / 140.0))
        else:
            now = 18.0 + (now - 18.0) * math.exp(-step_s / (9000.0 + 12.0 * now))
        ware += (now - ware) * (1.0 - math.exp(-step_s / 900.0))
        s.append(at)
        kiln.append(round(was + chance.gauss(0.0, 0.2), 1))
        aim.append(round(target, 1))
        room.append(round(18.0 + 6.0 * was / peak_c + chance.gauss(0.0, 0.1), 1))
        shelf.append(round(ware + chance.gauss(0.0, 0.2), 1))
        duty.append(round(min(99.0, 15.0 + 0.07 * was)) if heating else 0)
        at += step_s
    return Course(start, s, kiln, aim, room, shelf, duty)


def case(
    name: str,
    data: str | bytes,
    of: Course,
    *,
    clock: datetime | str | None = "start",
    suffix: str = ".csv",
    tol_c: float = 0.06,
    tol_s: float = 1.0,
    refuse: bool = False,
    **answers: str,
) -> Case:
    """Return a file with its truth, and what its owner would answer if asked."""
    started = of.start if clock == "start" else clock
    assert not isinstance(started, str)
    said = {"unit": "C", "date_order": "dmy", "zone": "Europe/Berlin", **answers}
    text = data.encode() if isinstance(data, str) else data
    return Case(
        name,
        name.partition(":")[0],
        text,
        suffix,
        tuple(of.s),
        tuple(of.kiln),
        started,
        tol_c,
        tol_s,
        said,
        False,
        refuse,
    )


def lines(
    head: Sequence[str] | None, *columns: Iterable[Any], sep: str = ",", end: str = "\n"
) -> str:
    """Return columns as lines with a header, if there is one."""
    rows = [sep.join(map(str, row)) for row in zip(*columns, strict=True)]
    return end.join([*([] if head is None else [sep.join(head)]), *rows]) + end


def iso(of: Course) -> list[str]:
    return [f"{at:%Y-%m-%d %H:%M:%S}" for at in of.at]


# ------------------------------------------------------------------------------------ the moments

NOVEMBER = {
    "en": "November", "de": "November", "fr": "novembre", "es": "noviembre", "it": "novembre",
    "nl": "november", "pt": "novembro", "sv": "november", "pl": "listopada", "da": "november",
    "cs": "listopadu", "fi": "marraskuuta", "tr": "Kasım", "hu": "november", "ro": "noiembrie",
    "ru": "ноября", "el": "Νοεμβρίου",
}  # fmt: skip


def hms(s: float) -> str:
    return f"{int(s // 3600):02d}:{int(s // 60) % 60:02d}:{int(s) % 60:02d}"


def since(at: datetime, year: int) -> float:
    return (at - datetime(year, 1, 1)).total_seconds()


def written(form: str, at: datetime, s: float, **more: Any) -> str:
    """Return a moment, and the seconds since the start, in a form."""
    return form.format(**parts_of(at, s), **more)


@lru_cache(maxsize=8192)
def parts_of(at: datetime, s: float) -> dict[str, Any]:
    """Return what a form may hold."""
    half = at.hour >= 12
    epoch = since(at, 1970) - 3600.0
    return dict(  # noqa: C408  # they are the names that the forms have
        at=at, utc=at - timedelta(hours=1), s=s, d=at.day, mo=at.month, y=at.year, h=at.hour,
        h12=at.hour % 12 or 12, mi=at.minute, sec=at.second, AM=["AM", "PM"][half],
        am=["am", "pm"][half], πμ=["πμ", "μμ"][half], 上午=["上午", "下午"][half],
        오전=["오전", "오후"][half], am_=["a.m.", "p.m."][half], a_m=("a. m.", "p. m.")[half],
        Mo=["Mo", "Di", "Mi", "Do", "Fr", "Sa", "So"][at.weekday()], epoch=epoch, ms=1e3 * epoch,
        us=1e6 * epoch, hex=int(epoch), days=since(at, 1900) / 86400.0 + 2.0,
        days_=f"{since(at, 1900) / 86400.0 + 2.0:.8f}".replace(".", ","), mac=since(at, 1904),
        cocoa=since(at, 2001), filetime=1e7 * since(at, 1601), ticks=1e7 * since(at, 1),
        datenum=since(at, 1) / 86400.0 + 367.0, jd=epoch / 86400.0 + 2440587.5, hms=hms(s),
        hhmm=int(f"{at:%H%M}"), sod=at.hour * 3600 + at.minute * 60 + at.second,
        th={1: "st", 2: "nd", 3: "rd"}.get(at.day, "th"), D=int(s // 86400), clock=hms(s % 86400),
        H=int(s // 3600), Hd=int(s // 3600) % 24, M=int(s // 60), m=int(s // 60) % 60,
        S=int(s) % 60, min=s / 60.0, milli=1e3 * s, hr=s / 3600.0, day=s / 86400.0,
        D19=f"{s:.6E}".replace("E", "D"), uptime=f"{int(s // 86400)} days, {hms(s % 86400)}",
    )  # fmt: skip


CLOCKS = {
    "iso, T": ("t", "{at:%Y-%m-%dT%H:%M:%S}"),
    "iso, seven decimals": ("TimeStamp", "{at:%Y-%m-%dT%H:%M:%S}.0000000"),
    "iso, no seconds": ("Date/Time", "{at:%Y-%m-%d %H:%M}"),
    "iso, slashes": ("Date Time", "{at:%Y/%m/%d %H:%M:%S}"),
    "iso, dots": ("stamp", "{at:%Y.%m.%d %H:%M:%S}"),
    "iso, underscore": ("stamp", "{at:%Y-%m-%d_%H-%M-%S}"),
    "iso, basic": ("stamp", "{at:%Y%m%dT%H%M%S}"),
    "iso, space in brackets": ("", "[{at:%Y-%m-%d %H:%M:%S}]"),
    "iso, comma decimals": ("asctime", '"{at:%Y-%m-%d %H:%M:%S},250"'),
    "14 digits": ("DTTM", "{at:%Y%m%d%H%M%S}"),
    "12 digits": ("DTTM", "{at:%Y%m%d%H%M}"),
    "dots, two-digit year": ("Datum Zeit", "{at:%d.%m.%y %H:%M:%S}"),
    "dots, no zeros": ("Zeit", "{d}.{mo}.{y} {h}:{at:%M}"),
    "slashes, day first": ("Time", "{at:%d/%m/%Y %H:%M:%S}"),
    "dashes, day first": ("Time", "{at:%d-%m-%Y %H:%M:%S}"),
    "h between": ("Heure", "{at:%d/%m/%Y %Hh%M}"),
    "h, min, s": ("Heure", "{at:%d/%m/%Y %Hh%Mm%Ss}"),
    "Uhr": ("Zeitpunkt", "{at:%d.%m.%Y, %H:%M} Uhr"),
    "clock before date": ("when", "{at:%H:%M:%S %d/%m/%Y}"),
    "clock before iso": ("when", "{at:%H:%M:%S %Y-%m-%d}"),
    "dot clock": ("klo", "{at:%d.%m.%Y %H.%M.%S}"),
    "AM and PM": ("Time", "{at:%m/%d/%Y} {h12}:{at:%M:%S} {AM}"),
    "am and pm, glued": ("Time", "{at:%m/%d/%Y} {h12}:{at:%M:%S}{am}"),
    "a.m. and p.m.": ("Time", "{at:%d/%m/%Y} {h12}:{at:%M:%S} {am_}"),
    "a. m. and p. m.": ("Hora", "{at:%d/%m/%Y} {h12}:{at:%M:%S} {a_m}"),
    "Greek halves": ("Ώρα", "{at:%d/%m/%Y} {h12}:{at:%M:%S} {πμ}"),
    "Chinese halves": ("时间", "{at:%Y/%m/%d} {上午}{h12}:{at:%M:%S}"),
    "Korean halves": ("시간", "{at:%Y-%m-%d} {오전} {h12}:{at:%M:%S}"),
    "Japanese": ("日時", "{y}年{mo}月{d}日 {h}時{mi}分{sec}秒"),
    "Chinese": ("日期", "{y}年{at:%m}月{at:%d}日 {at:%H:%M:%S}"),
    "Korean": ("일시", "{y}년 {mo}월 {d}일 {at:%H:%M:%S}"),
    "ctime": ("", "{at:%a %b %d %H:%M:%S %Y}"),
    "Unix date": ("date", "{at:%a %b %d %H:%M:%S} CET {at:%Y}"),
    "mail": ("Date", '"{at:%a, %d %b %Y %H:%M:%S} +0100"'),
    "web log": ("time", "[{at:%d/%b/%Y:%H:%M:%S} +0100]"),
    "oracle": ("TS", "{at:%d-%b-%y %I.%M.%S.000000} {AM}"),
    "day-month words": ("T", "{at:%d-%b-%y %H:%M}"),
    "month first words": ("T", '"{at:%b %d, %Y %H:%M:%S}"'),
    "month first, 12 h": ("T", '"{at:%b} {d}, {y}, {h12}:{at:%M:%S} {AM}"'),
    "ordinal": ("T", "{d}{th} {at:%B %Y %H:%M}"),
    "weekday in front": ("T", "{Mo} {at:%d.%m.%Y %H:%M:%S}"),
    "year, day of the year": ("T", "{at:%Y-%j %H:%M:%S}"),
    "iso week": ("T", "{at:%G-W%V-%u %H:%M:%S}"),
    "zone Z": ("T", "{utc:%Y-%m-%dT%H:%M:%SZ}"),
    "zone offset": ("T", "{at:%Y-%m-%dT%H:%M:%S}+01:00"),
    "zone offset, space": ("T", "{at:%Y-%m-%d %H:%M:%S} +0100"),
    "zone UTC word": ("T", "{utc:%Y-%m-%d %H:%M:%S} UTC"),
    "zone UTC+1": ("T", "{at:%Y-%m-%d %H:%M:%S} UTC+1"),
    "zone GMT+01:00": ("T", "{at:%d.%m.%Y %H:%M:%S} GMT+01:00"),
    "zone CET": ("T", "{at:%Y-%m-%d %H:%M:%S} CET"),
    "zone MEZ": ("T", "{at:%d.%m.%Y %H:%M:%S} MEZ"),
    "zone name": ("T", "{at:%Y-%m-%dT%H:%M:%S}+01:00[Europe/Berlin]"),
    "header UTC": ("Time (UTC)", "{utc:%Y-%m-%d %H:%M:%S}"),
    "header GMT": ("DateTime GMT", "{utc:%Y-%m-%d %H:%M:%S}"),
    "header offset": ('"Time, GMT+01:00"', "{at:%Y-%m-%d %H:%M:%S}"),
    "epoch s": ("unix", "{epoch:.0f}"),
    "epoch s, decimals": ("epoch", "{epoch:.3f}"),
    "epoch ms": ("ts", "{ms:.0f}"),
    "epoch µs": ("ts", "{us:.0f}"),
    "epoch ns": ("time", "{epoch:.0f}000000000"),
    "epoch, exponent": ("ts", "{epoch:.9E}"),
    "serial days": ("Date", "{days:.8f}"),
    "serial days, comma": ("Datum", '"{days_}"'),
}
"""How a moment is written, with its head: in one column."""

STRANGE = {
    "seconds from 1904": ("Time", "{mac:.3f}"),
    "seconds from 2001": ("timestamp", "{cocoa:.1f}"),
    "ticks from 1601": ("FileTime", "{filetime:.0f}"),
    "ticks from 0001": ("Ticks", "{ticks:.0f}"),
    "days from 0000": ("datenum", "{datenum:.8f}"),
    "Julian days": ("JD", "{jd:.8f}"),
    "Buddhist year": ("วันที่", "{at:%d/%m/}2569 {at:%H:%M:%S}"),
    "year of Reiwa": ("日時", "令和8年{mo}月{d}日 {at:%H:%M:%S}"),
    "year of Minguo": ("日期", "115/{at:%m/%d %H:%M:%S}"),
    "hex epoch": ("ts", "{hex:X}"),
    "12 h without halves": ("Time", "{at:%Y-%m-%d} {h12}:{at:%M:%S}"),
}
"""Moments that a reader may well refuse, but never read wrong in silence."""

ELAPSED = {
    "h:mm:ss": ("Elapsed", "{hms}"),
    "h:mm:ss.000": ("Elapsed", "{hms}.000"),
    "h:mm": ("Run time (h:mm)", "{H:02d}:{m:02d}"),
    "days, h:mm:ss": ("uptime", "{D} {clock}"),
    "days in words": ("uptime", '"{uptime}"'),
    "d:hh:mm:ss": ("D:H:M:S", "{D}:{clock}"),
    "1d02h": ("run", "{D}d{Hd:02d}h{m:02d}m"),
    "h m s letters": ("run", "{H}h {m}m {S}s"),
    "words": ("Dauer", "{H} Std. {m} Min."),
    "iso duration": ("duration", "PT{H}H{m}M{S}S"),
    "T plus": ("mission", "T+{hms}"),
    "seconds": ("Time (s)", "{s:.0f}"),
    "seconds with unit": ("t", "{s:.1f} s"),
    "sec head": ("SEC", "{s:.2f}"),
    "milliseconds": ("millis", "{milli:.0f}"),
    "minutes": ("Minutes", "{min:.2f}"),
    "minutes with unit": ("t", "{min:.1f}min"),
    "hours": ("Zeit [h]", "{hr:.5f}"),
    "hours, bare unit row": ("hours", "{hr:.4f}"),
    "days": ("Days", "{day:.7f}"),
    "scientific": ("Time [s]", "{s:.6E}"),
    "fortran": ("TIME(S)", "{D19}"),
    "minutes and seconds": ("mm:ss", "{M}:{S:02d}"),
    "primes": ("temps", "{M}'{S:02d}''"),
}


def stamps(form: str, of: Course) -> list[str]:
    return [written(form, at, s) for at, s in zip(of.at, of.s, strict=True)]


def moments() -> list[Case]:
    found = []
    of = course()
    zoned = {
        "mail",
        "web log",
        "zone Z",
        "zone offset",
        "zone offset, space",
        "zone UTC word",
        "zone UTC+1",
        "zone GMT+01:00",
        "zone CET",
        "zone MEZ",
        "zone name",
        "header UTC",
        "header GMT",
        "header offset",
        "Julian days",
        "epoch s",
        "epoch s, decimals",
        "epoch ms",
        "epoch µs",
        "epoch ns",
        "epoch, exponent",
        "Unix date",
        "hex epoch",
    }
    for name, (head, write) in (CLOCKS | STRANGE).items():
        clock: datetime = START
        if name in zoned:
            clock = CET
        if name == "iso, comma decimals":
            clock += timedelta(seconds=0.25)
        american = {"date_order": "mdy"} if "PM" in name or "glued" in name else {}
        unit = "serial" if "serial" in name else "epoch"
        text = lines((head, "Kiln °C"), stamps(write, of), of.kiln)
        tol_s = 31.0 if "exponent" in name else 1.0
        odd = name in STRANGE
        found.append(
            case(
                f"moment: {name}",
                text,
                of,
                clock=clock,
                tol_s=tol_s,
                refuse=odd,
                time_unit=unit,
                **american,
            )
        )
    units = {
        "seconds": "s",
        "sec head": "s",
        "milliseconds": "ms",
        "minutes": "min",
        "hours": "h",
        "hours, bare unit row": "h",
        "days": "d",
        "scientific": "s",
        "fortran": "s",
    }
    for name, (head, write) in ELAPSED.items():
        text = lines((head, "Kiln °C"), stamps(write, of), of.kiln)
        unit = units.get(name, "min")
        found.append(case(f"elapsed: {name}", text, of, clock=None, time_unit=unit))
    for head, unit, per in (("", "min", 60), ("x", "s", 1), ("Time", "h", 3600), ("n", "min", 60)):
        text = lines((head, "Kiln °C"), [f"{s / per:g}" for s in of.s], of.kiln)
        found.append(case(f"elapsed: untold {unit} {head}", text, of, clock=None, time_unit=unit))
    for lang, name in NOVEMBER.items():
        for style in ("long", "short"):
            word = name if style == "long" else "marrask." if lang == "fi" else f"{name[:3]}."
            dot = "." * (lang in "defidacs")
            form = "{d}" + f"{dot} {word} " + "{at:%Y %H:%M:%S}"
            if lang == "hu":
                form = "{y}. " + f"{word} " + "{d}. {at:%H:%M:%S}"
            cells = stamps(form, of)
            far = lang in ("cs", "fi", "tr", "hu", "ro", "ru", "el")
            text = lines(("Kiln °C", "T"), of.kiln, cells, sep=";")
            found.append(case(f"months: {lang} {style}", text, of, refuse=far))
    low = course(start=LOW)
    orders = {"dmy": "%d/%m/%Y", "mdy": "%m/%d/%Y", "ymd": "%y/%m/%d"}
    for order, pattern in orders.items():
        for word in ("/", "-", "."):
            text = lines(
                ("Time", "Kiln °C"),
                [f"{at:{pattern.replace('/', word)} %H:%M}" for at in low.at],
                low.kiln,
            )
            found.append(case(f"order: {order} {word}", text, low, date_order=order))
    parts = {
        "date and time": ("Date|Time", "{at:%Y-%m-%d|%H:%M:%S}"),
        "time and date": ("Uhrzeit|Datum", "{at:%H:%M:%S|%d.%m.%Y}"),
        "halves apart": ("Date|Time|AM/PM", "{at:%m/%d/%Y|%I:%M:%S|%p}"),
        "halves, no head": ("Date|Time|", "{at:%Y-%m-%d|%I:%M|%p}"),
        "six columns": ("Year|Month|Day|Hour|Minute|Second", "{y}|{mo}|{d}|{h}|{mi}|{sec}"),
        "six short": ("YY|MO|DD|HH|MI|SS", "26|{mo}|{d}|{h}|{mi}|{sec}"),
        "five columns": ("Jahr|Monat|Tag|Stunde|Minute", "{y}|{mo}|{d}|{h}|{mi}"),
        "day of year, hhmm": ("Year|DOY|HHMM", "{at:%Y|%j}|{hhmm}"),
        "digits": ("DATE|TIME", "{at:%Y%m%d|%H%M%S}"),
        "short digits": ("DATE|TIME", "{at:%y%m%d|%H%M}"),
        "day-first digits": ("ddmmyy|hhmmss", "{at:%d%m%y|%H%M%S}"),
        "date and seconds": ("Date|Sec of day", "{at:%Y-%m-%d}|{sod}"),
        "milliseconds apart": ("Date|Time|ms", "{at:%Y/%m/%d|%H:%M:%S}|0"),
        "zone apart": ("Date|Time|Zone", "{at:%Y-%m-%d|%H:%M:%S}|CET"),
        "number first": ("No.|Date|Time", "{M}|{at:%d/%m/%Y|%H:%M}"),
        "weekday apart": ("Day|Date|Time", "{at:%a|%d.%m.%Y|%H:%M:%S}"),
        "epoch and iso": ("unixtime|datetime", "{epoch:.0f}|{at:%Y-%m-%d %H:%M:%S}"),
        "elapsed and clock": ("Elapsed|Date|Time", "{hms}|{at:%Y-%m-%d|%H:%M:%S}"),
    }
    for name, (heads, form) in parts.items():
        cells = [cell.replace("|", ",") for cell in stamps(form, of)]
        text = lines((*heads.split("|"), "Kiln °C"), cells, of.kiln)
        order = {"halves apart": "mdy", "short digits": "ymd"}.get(name, "dmy")
        clock = CET if name == "zone apart" else START
        found.append(case(f"parts: {name}", text, of, clock=clock, date_order=order))
    return found


# --------------------------------------------------------------------------------- the readings


def thousands(value: float, mark: str, decimal: str = ".") -> str:
    return f"{value:,.1f}".replace(",", "\0").replace(".", decimal).replace("\0", mark)


def fahrenheit(value: float) -> float:
    return 1.8 * value + 32.0


NUMBERS: dict[str, Callable[[float], str]] = {
    "plain": lambda v: f"{v}",
    "decimal comma": lambda v: f"{v}".replace(".", ","),
    "apostrophe": lambda v: thousands(v, "'"),
    "typographic apostrophe": lambda v: thousands(v, "’"),
    "thin space": lambda v: thousands(v, "\u202f", ","),
    "no-break space": lambda v: thousands(v, "\xa0", ","),
    "point thousands": lambda v: thousands(v, ".", ","),
    "comma thousands": lambda v: f'"{thousands(v, ",")}"',
    "plus": lambda v: f"+{v:.1f}",
    "zeros": lambda v: f"{v:06.1f}",
    "spaces": lambda v: f"{v:>10.1f}  ",
    "four decimals": lambda v: f"{v:.4f}",
    "exponent": lambda v: f"{v:.5E}",
    "exponent, comma": lambda v: f"{v:.5E}".replace(".", ","),
    "exponent, three figures": lambda v: f"{v:.5e}".replace("e+", "e+0"),
    "fortran": lambda v: f"{v:.5E}".replace("E", "D"),
    "degree sign": lambda v: f"{v}°",
    "degree C": lambda v: f"{v} °C",
    "ring C": lambda v: f"{v}˚C",
    "ordinal C": lambda v: f"{v}ºC",
    "one sign": lambda v: f"{v}℃",
    "C": lambda v: f"{v}C",
    "deg C": lambda v: f"{v} deg C",
    "Celsius": lambda v: f"{v} Celsius",
    "Grad": lambda v: f"{v} Grad",
    "both units": lambda v: f"{v}C / {fahrenheit(v):.1f}F",
    "named": lambda v: f"T={v}",
    "named, colon": lambda v: f"temp: {v}",
    "apostrophe in front": lambda v: f"'{v}",
    "text formula": lambda v: f'="{v}"',
    "quotes": lambda v: f'"{v}"',
    "single quotes": lambda v: f"'{v}'",
    "full-width": lambda v: "".join(chr(ord(c) + 0xFEE0) if c.isdigit() else c for c in f"{v}"),
    "Arabic digits": lambda v: "".join(chr(ord(c) + 0x630) if c.isdigit() else c for c in f"{v}"),
    "minus sign": lambda v: f"{v - 100.0:.1f}".replace("-", "−"),
    "star where it alarms": lambda v: f"{v}*" if v > 900 else f"{v}",
    "H where it alarms": lambda v: f"{v} H" if v > 900 else f"{v}",
    "in brackets": lambda v: f"[{v}]",
    "ok in braces": lambda v: f"{v} {{ok}}",
    "plus or minus": lambda v: f"{v} ±1.5",
    "point behind": lambda v: f"{v:.0f}.",
    "whole": lambda v: f"{v:.0f}",
}

MISSING = (
    "NaN",
    "-",
    "--",
    "----",
    "OL",
    "O.L",
    "OPEN",
    "open",
    "#N/A",
    "#WERT!",
    "null",
    "None",
    "Err",
    "ERROR",
    "Fault",
    "Over",
    "Under",
    "OVERRANGE",
    "Burnout",
    "B.OUT",
    "S.br",
    "sEnS",
    "disconnected",
    "unavailable",
    "unknown",
    "-9999",
    "-99.9",
    "9999",
    "6999",
    "9.9E37",
    "-273.15",
    "32767",
    "3276.7",
    "1372.0",
    "0",
    "-200",
    "-1999",
    "nil",
    "n/a",
    "...",
    "*",
    "?",
    "missing",
    "offline",
    "Sensor defekt",
)


def readings() -> list[Case]:
    found = []
    of = course(1210.0)
    comma = {"decimal comma", "thin space", "no-break space", "point thousands", "exponent, comma"}
    for name, write in NUMBERS.items():
        if name == "minus sign":
            continue
        sep = ";" if name in comma else ","
        text = lines(("Time", "Kiln"), iso(of), map(write, of.kiln), sep=sep)
        tol = 0.6 if name in ("whole", "point behind") else 0.06
        found.append(case(f"number: {name}", text, of, tol_c=tol))
        if name in ("plain", "decimal comma", "thin space", "point thousands", "quotes", "whole"):
            text = lines(("Zeit", "Ofen"), iso(of), map(write, of.kiln), sep="\t")
            found.append(case(f"number: {name}, tabs", text, of, tol_c=tol))
    for word in MISSING:
        cells = [word if i % 40 in (7, 8) else str(v) for i, v in enumerate(of.kiln)]
        text = lines(("Time", "Kiln °C"), iso(of), cells)
        kept = [i for i in range(len(of.s)) if i % 40 not in (7, 8)]
        less = Course(of.start, *([v[i] for i in kept] for v in (of.s, of.kiln)), [], [], [], [])
        found.append(case(f"missing: {word}", text, less))
    units: dict[str, tuple[str, str, Callable[[float], str], float]] = {
        "F in the head": ("F", "Kiln (°F)", lambda v: f"{fahrenheit(v):.1f}", 0.06),
        "deg F": ("F", "Kiln deg F", lambda v: f"{fahrenheit(v):.1f}", 0.06),
        "Fahrenheit": ("F", "Temperature Fahrenheit", lambda v: f"{fahrenheit(v):.0f}", 0.4),
        "_f": ("F", "kiln_temp_f", lambda v: f"{fahrenheit(v):.1f}", 0.06),
        "TempF": ("F", "TempF", lambda v: f"{fahrenheit(v):.1f}", 0.06),
        "F glued": ("F", "Kiln", lambda v: f"{fahrenheit(v):.1f}F", 0.06),
        "untold F": ("F", "Kiln", lambda v: f"{fahrenheit(v):.1f}", 0.06),
        "untold F, whole": ("F", "temp", lambda v: f"{fahrenheit(v):.0f}", 0.4),
        "K in the head": ("K", "Kiln (K)", lambda v: f"{v + 273.15:.2f}", 0.06),
        "Kelvin": ("K", "Temperature Kelvin", lambda v: f"{v + 273.15:.2f}", 0.06),
        "K glued": ("K", "Kiln", lambda v: f"{v + 273.15:.2f} K", 0.06),
        "untold K": ("K", "Kiln", lambda v: f"{v + 273.15:.2f}", 0.06),
        "tenths": ("C/10", "Kiln", lambda v: f"{10 * v:.0f}", 0.06),
        "tenths, told": ("C/10", "Kiln (0.1 °C)", lambda v: f"{10 * v:.0f}", 0.06),
        "tenths, times ten": ("C/10", "Kiln °C x10", lambda v: f"{10 * v:.0f}", 0.06),
        "tenths with zeros": ("C/10", "PV", lambda v: f"{10 * v:06.0f}", 0.06),
        "hundredths": ("C/100", "Kiln", lambda v: f"{100 * v:.0f}", 0.06),
        "thousandths": ("C/1000", "mdegC", lambda v: f"{1000 * v:.0f}", 0.06),
        "quarters": ("C/4", "raw", lambda v: f"{4 * v:.0f}", 0.2),
        "tenths of F": ("F/10", "Kiln", lambda v: f"{10 * fahrenheit(v):.0f}", 0.06),
        "tenths of K": ("K/10", "Kiln", lambda v: f"{10 * (v + 273.15):.0f}", 0.06),
        "counts": ("C", "ADC", lambda v: f"{v * 3.1 + 17:.0f}", 0.06),
        "share of range": ("C", "Kiln", lambda v: f"{v / 1400:.6f}", 0.06),
        "kilodegrees": ("C", "Kiln", lambda v: f"{v / 1000:.4f}", 0.06),
    }
    for name, (unit, head, write, tol) in units.items():
        odd = name in ("counts", "share of range", "kilodegrees")
        for more in ("", "with a room"):
            columns: list[Iterable[Any]] = [iso(of), map(write, of.kiln)]
            heads = ["Time", head]
            if more:
                columns.insert(1, of.room)
                heads.insert(1, "Ambient °C")
                if "untold F" in name or "untold K" in name:
                    heads[1] = "Ambient"
                    columns[1] = [write(v) for v in of.room]
            text = lines(heads, *columns)
            found.append(
                case(
                    f"unit: {name} {more}",
                    text,
                    of,
                    tol_c=tol,
                    refuse=odd,
                    unit="none" if odd else unit,
                    channel=head,
                )
            )
    return found


# ----------------------------------------------------------------------- which column is the kiln

AIMS = (
    "Set Point|Process Value",
    "SV|PV",
    "SP|PV",
    "SP1|PV1",
    "Sollwert|Istwert",
    "Soll|Ist",
    "consigne|mesure",
    "Consigna|Lectura",
    "Valor deseado|Valor real",
    "Riferimento|Misura",
    "Valore impostato|Valore letto",
    "Ingesteld|Gemeten",
    "Gewenst|Werkelijk",
    "Alvo|Leitura",
    "Börvärde|Ärvärde",
    "Ønsket|Målt",
    "Skal|Er",
    "Asetusarvo|Oloarvo",
    "Zadana|Rzeczywista",
    "Žádaná|Skutečná",
    "設定値|現在値",
    "设定温度|实际温度",
    "목표|현재",
    "Заданная|Текущая",
    "Ayar|Ölçülen",
    "Target|Actual",
    "Demand|Measured",
    "Programmed|Reading",
    "Command|Feedback",
    "WSP|PV",
    "Reference|Signal",
    "Profile|Chamber",
    "Desired temp|Current temp",
    "Goal|Now",
    "set|act",
    "T_set|T_is",
    "w|x",
    "Ramp SP|TC",
    "|",
    "A|B",
    "T1|T2",
    "CH1|CH2",
    "Temp 1|Temp 2",
    "Input 1|Input 2",
    "Value|Value",
    "Probe A|Probe B",
    "Series1|Series2",
    "y1|y2",
)

BESIDE: dict[str, Callable[[Course, int], Any]] = {
    "Ambient": lambda of, i: of.room[i],
    "Int. temp": lambda of, i: of.room[i],
    "CJC": lambda of, i: of.room[i],
    "Cold junction": lambda of, i: of.room[i],
    "Board": lambda of, i: of.room[i],
    "Raumtemperatur": lambda of, i: of.room[i],
    "Outdoor": lambda of, i: round(3.0 + math.sin(of.s[i] / 9000.0), 1),
    "Shell": lambda of, i: round(18.0 + 0.09 * of.shelf[i], 1),
    "T0": lambda of, i: of.room[i],
    "Temp": lambda of, i: of.room[i],
    "Humidity": lambda of, i: round(48.0 + 5.0 * math.sin(of.s[i] / 7000.0), 1),
    "Pressure": lambda of, i: round(1013.0 + 2.0 * math.sin(of.s[i] / 20000.0), 1),
    "CO2": lambda of, i: round(420.0 + 0.7 * of.shelf[i]),
    "Battery": lambda of, i: round(3010.0 - 0.002 * of.s[i]),
    "Bat %": lambda of, i: round(100.0 - of.s[i] / 9000.0),
    "RSSI": lambda of, i: -67 - i % 5,
    "Volt": lambda of, i: round(231.0 + math.sin(i), 1),
    "Amp": lambda of, i: round(of.duty[i] * 0.32, 2),
    "Output": lambda of, i: of.duty[i],
    "MV": lambda of, i: of.duty[i],
    "OUT1": lambda of, i: of.duty[i],
    "Duty": lambda of, i: of.duty[i],
    "Power W": lambda of, i: round(of.duty[i] * 72.0),
    "kWh": lambda of, i: round(sum(of.duty[: i + 1]) * 7.2 * 0.05 / 100.0, 3),
    "Index": lambda of, i: i + 1,
    "Record": lambda of, i: 20_417 + i,
    "Status": lambda of, i: 0,
    "Segment": lambda of, i: 1 + (of.kiln[i] > 140) + (of.kiln[i] > 600),
    "Alarm": lambda of, i: "",
    "Ramp °C/h": lambda of, i: 0 if i == 0 else round((of.kiln[i] - of.kiln[i - 1]) * 20, 1),
    "Dew point": lambda of, i: round(of.room[i] - 9.5, 1),
    "Relay": lambda of, i: "ON" if of.duty[i] else "OFF",
    "": lambda of, i: i,
}
"""A column before the kiln's own, by its head."""


def choices() -> list[Case]:
    found = []
    of = course(1160.0)
    for words in AIMS:
        aim, real = words.split("|")
        both = (("first", (aim, real), (of.aim, of.kiln)), ("last", (real, aim), (of.kiln, of.aim)))
        for where, heads, columns in both:
            text = lines(("Time", *heads), iso(of), *columns)
            told = real if aim != real else "2" if where == "first" else "1"
            found.append(case(f"aim {where}: {words}", text, of, channel=told))
    rises: dict[str, Callable[[int], Any]] = {
        "falls to zero": lambda i: of.aim[i],
        "empty when off": lambda i: of.aim[i] or "",
        "stays at its last": lambda i: of.aim[i] or 1160.0,
        "steps": lambda i: (
            (140.0 if of.aim[i] < 140 else 600.0 if of.aim[i] < 600 else 1160.0) * (of.aim[i] > 0)
        ),
        "off in words": lambda i: of.aim[i] or "OFF",
    }
    for name, aims in rises.items():
        written = [aims(i) for i in range(len(of.s))]
        for heads in (("T1", "T2"), ("PV", "SV"), None):
            for first in (True, False):
                pair = (written, of.kiln) if first else (of.kiln, written)
                titles = heads if heads is None or not first else heads[::-1]
                text = lines(titles and ("Time", *titles), iso(of), *pair)
                told = "2" if first else "1"
                if heads:
                    told = "PV" if heads[0] == "PV" else ("T2", "T1")[0 if first else 1]
                    if heads[0] == "T1" and first:
                        told = "T1"  # the heads are turned round with the columns
                found.append(case(f"aim {name}: {heads} {first}", text, of, channel=told))
    for head, write in BESIDE.items():
        beside = [write(of, i) for i in range(len(of.s))]
        for kiln in ("Kiln", "Probe", "Value"):
            text = lines(("Time", head, kiln), iso(of), beside, of.kiln)
            found.append(case(f"beside: {head} {kiln}", text, of, channel=kiln))
        text = lines(None, iso(of), beside, of.kiln)
        found.append(case(f"beside, no heads: {head}", text, of, channel="2"))
    fahr = [f"{fahrenheit(v):.1f}" for v in of.kiln]
    twice = {
        "F and C": (("Time", "Temp F", "Temp C"), (fahr, of.kiln)),
        "C and F": (("Time", "Temp C", "Temp F"), (of.kiln, fahr)),
        "F before C, bare": (("Time", "°F", "°C"), (fahr, of.kiln)),
        "untold F and C": (("Time", "T1", "T2"), (fahr, of.kiln)),
        "K and C": (("Time", "K", "C"), ([f"{v + 273.15:.2f}" for v in of.kiln], of.kiln)),
        "min, mean, max": (
            ("Time", "Min", "Avg", "Max"),
            ([v - 0.5 for v in of.kiln], of.kiln, [v + 0.5 for v in of.kiln]),
        ),
        "raw and filtered": (
            ("Time", "Raw mV", "Kiln °C"),
            ([round(v * 0.0405, 3) for v in of.kiln], of.kiln),
        ),
    }
    for name, (heads, columns) in twice.items():
        text = lines(heads, iso(of), *columns)
        tol = 0.6 if name == "min, mean, max" else 0.06
        told = {"K and C": "C", "min, mean, max": "Avg", "untold F and C": "T2"}
        found.append(case(f"twice: {name}", text, of, tol_c=tol, channel=told.get(name, heads[-1])))
    return found


# --------------------------------------------------------------------------- the shape of the file


def shapes() -> list[Case]:
    """Return files in every form that a program prints, sends or stores."""
    of = course(1100.0)
    when, n = iso(of), range(len(of.s))
    unix = [int(since(at, 1970) - 3600) for at in of.at]
    zulu = stamps("{utc:%Y-%m-%dT%H:%M:%SZ}", of)

    def each(form: str, *, every: int = 0, before: str = "") -> str:
        """Return a line for each reading, and others before every so many."""
        return "".join(
            (before.format(page=i // every + 1) if every and i % every == 0 else "")
            + written(form, of.at[i], of.s[i], kiln=of.kiln[i], room=of.room[i], t=when[i], i=i)
            for i in n
        )

    body = lines(("Time", "Kiln °C"), when, of.kiln)
    bare = lines(None, when, of.kiln)
    found: list[Case] = []

    def add(name: str, data: str | bytes, **more: Any) -> None:
        found.append(case(f"shape: {name}", data, of, **more))

    tops = {
        "key and value": "Serial No,00417\nModel,Mini 4\nInterval,180 s\n\n",
        "key: value": "Device: kiln room\nFirmware: 2.1.0\nStart: 2026-11-24 18:42:00\n",
        "hashes": "# made by logger\n# site: shed\n#\n",
        "percent signs": "% export\n% 400 samples\n",
        "semicolons": "; export\n; channel 1\n",
        "slashes": "// export\n//\n",
        "sections": "[Header]\nName=Kiln\nPoints=400\n[Data]\n",
        "long words": "Temperature report for the period 24/11/2026 to 25/11/2026\n\n",
        "numbers in it": "Report,7\nMin,18.2\nMax,1101.3\nMean,612.7\n\n",
        "sep": "sep=,\n",
        "bars": "=" * 60 + "\nKILN LOG\n" + "=" * 60 + "\n",
        "alarms first": "Alarms\nTime,Alarm\n2026-11-24 20:00:00,High\n2026-11-24 21:00:00,OK\n\n",
        "blank lines": "\n\n\n\n",
        "twenty lines": "".join(f"Param {k},{k * 3},on\n" for k in range(20)),
    }
    for name, top in tops.items():
        add(f"above: {name}", top + body)
        add(f"above, bare rows: {name}", top + bare, unit="C")
    ends = {
        "summary": "\nMin,18.2\nMax,1101.3\nAvg,600.1\n",
        "end of file": "END OF DATA\n",
        "count": "(400 rows)\n",
        "sum row": "Average,604.2\n",
        "events": "\nEvents\nTime,Event\n2026-11-24 19:00:00,Start\n2026-11-25 02:00:00,Stop\n",
        "signature": "Checksum: A7F3\n",
        "page": "\x0c",
        "control Z": "\x1a",
    }
    for name, tail in ends.items():
        add(f"below: {name}", body + tail)
    marks = {
        "pipe": "|", "spaced pipe": " | ", "two spaces": "  ", "caret": "^", "tab": "\t",
        "comma and space": ", ", "semicolon and space": " ; ", "tilde": "~", "double comma": ",,",
        "unit separator": "\x1f", "at": "@", "equals": "=", "arrow": " -> ",
    }  # fmt: skip
    for name, sep in marks.items():
        odd = name in ("tilde", "unit separator", "at", "caret")
        text = f"Time{sep}Kiln °C\n" + each("{t}" + sep + "{kiln}\n")
        add(f"between: {name}", text, delimiter=sep, refuse=odd)
    add("trailing comma", body.replace("\n", ",\n"))
    add("leading comma", "".join(f",{line}\n" for line in body.splitlines()))
    add("trailing comma in rows only", "Time,Kiln °C\n" + bare.replace("\n", ",\n"))
    for name, end in {"cr": "\r", "crlf": "\r\n", "cr cr lf": "\r\r\n", "lf cr": "\n\r"}.items():
        add(f"ends: {name}", body.replace("\n", end))
    add("blank between", body.replace("\n", "\n\n"))
    add("fixed width", f"{'TIME':<21}KILN\n" + each("{t:<20}{kiln:7.1f}\n"))
    add("units row", lines(("Time", "Kiln"), ["yyyy-mm-dd", *when], ["°C", *of.kiln]))
    fahr = [f"{fahrenheit(v):.1f}" for v in of.kiln]
    add("units row of F", lines(("Time", "Kiln"), ["", *when], ["[°F]", *fahr]), unit="F")
    add("two head rows", "Group,Kiln\n" + body)
    add("types row", "Time,Kiln\nTIMESTAMP,FLOAT\n" + bare)
    add("heads each 60", each("{t},{kiln}\n", every=60, before="Time,Kiln °C\n"))
    page = "\x0cKILN LOG   Page {page}\n\nTime                 Kiln °C\n"
    add("pages", each("{t}  {kiln:8.1f}\n", every=50, before=page))
    frame = "+---------------------+---------+\n"
    top = f"{frame}| ts                  | kiln_c  |\n{frame}"
    ruled = "         ts          | kiln_c\n---------------------+--------\n"
    prints = {
        "markdown": ".md", "framed table": ".txt", "data base table": ".txt", "key=value": ".log",
        "terminal": ".log", "terminal in brackets": ".log", "terminal, two": ".log",
        "program's log": ".log", "system's log": ".log", "messages": ".log",
        "sentences with a sum": ".log",
    }  # fmt: skip
    texts = {
        "markdown": "| Time | Kiln °C |\n|---|---:|\n" + each("| {t} | {kiln} |\n"),
        "framed table": top + each("| {t} | {kiln:7.1f} |\n") + frame,
        "data base table": ruled + each(" {t} | {kiln:6.1f}\n") + f"({len(n)} rows)\n",
        "key=value": each("time={utc:%Y-%m-%dT%H:%M:%SZ} kiln={kiln} room={room}\n"),
        "terminal": each("{at:%H:%M:%S}.000 -> {kiln}\n"),
        "terminal in brackets": each("[{t}] Kiln: {kiln} C\n"),
        "terminal, two": each("[{t}] T1={room} T2={kiln}\n"),
        "program's log": each("{t},000 INFO kiln temp {kiln} C\n"),
        "system's log": each("{at:%b %d %H:%M:%S} shed kiln[417]: temp={kiln}\n"),
        "messages": each("{t} shed/kiln/temp {kiln}\n"),
        "sentences with a sum": each("$KLN,{at:%H%M%S},{kiln},C*{i:04X}\n"),
        "insert statements": each("INSERT INTO log VALUES ('{t}',{kiln});\n"),
        "html table": f"<table>{each('<tr><td>{t}</td><td>{kiln}</td></tr>')}</table>",
        "xml": f"<?xml version='1.0'?><log>{each('<r t={t!r} c={kiln!r}/>')}</log>",
        "yaml": each("- time: {t}\n  kiln_c: {kiln}\n"),
        "hex dump": each("{i:08x}  {hex:08x} {M:04x}\n"),
        "transposed": f"Time,{each('{t},')}\nKiln °C,{each('{kiln},')}\n",
        "no times": "n,Kiln °C\n" + each("{i},{kiln}\n"),
        "no times at all": "Kiln °C\n" + each("{kiln}\n"),
        "line protocol": each("kiln,probe=top temp={kiln} {epoch:.0f}000000000\n"),
        "metrics": each('kiln_celsius{{probe="top"}} {kiln} {ms:.0f}\n'),
    }
    undated = ("terminal", "system's log", "sentences with a sum", "no times", "no times at all")
    for name, text in texts.items():
        clock = None if name in undated else CET if name == "key=value" else START
        channel = {"terminal, two": "T2"}.get(name, "kiln")
        suffix = prints.get(name, ".txt")
        odd = name not in prints
        add(name, text, suffix=suffix, clock=clock, channel=channel, refuse=odd, time_unit="none")
    # one row a channel
    pairs = [(i, who) for i in n for who in ("room", "kiln")]
    values = {"room": of.room, "kiln": of.kiln}
    long = {
        "tag, time, value": ("Tag;Timestamp;Value;Quality", "SHED.{W}.PV;{t};{v};Good"),
        "time, tag, value": ("Time,Tag,Value", "{t},{w},{v}"),
        "value last unit": ("Time,Point,Value,Unit", "{t},{w},{v},°C"),
        "no heads": ("", "{t},{w},{v}"),
        "entities": ("entity_id,state,last_changed", "sensor.{w},{v},{utc:%Y-%m-%dT%H:%M:%SZ}"),
        "channel numbers": ("time,ch,temp", "{t},{number},{v}"),
        "field": ("_time,_field,_value", "{utc:%Y-%m-%dT%H:%M:%SZ},{w},{v}"),
    }
    ours = {"tag, time, value": "SHED.KILN.PV", "entities": "sensor.kiln", "channel numbers": "2"}
    for name, (head, form) in long.items():
        for way, ordered in (
            ("", pairs),
            (", by channel", sorted(pairs, key=lambda p: p[1] < "r")),
        ):
            text = f"{head}\n" * bool(head) + "".join(
                written(form, of.at[i], of.s[i], t=when[i], v=values[w][i], w=w, W=w.upper(),
                        number=1 + (w == "kiln")) + "\n"
                for i, w in ordered
            )  # fmt: skip
            clock = CET if "utc" in form else START
            add(f"long{way}: {name}", text, channel=ours.get(name, "kiln"), clock=clock)
    side = lines(("Time", "Room", "Time", "Kiln"), when, of.room, when, of.kiln)
    add("blocks side by side", side, channel="Kiln")
    lag = [f"{at + timedelta(seconds=5):%Y-%m-%d %H:%M:%S}" for at in of.at]
    add(
        "blocks side by side, later",
        lines(("Time", "Room", "Time", "Kiln"), when, of.room, lag, of.kiln),
        channel="Kiln",
        tol_s=6.0,
        clock=None,
        refuse=True,
    )
    sheets = "Room\n" + lines(("Time", "°C"), when, of.room) + "\nKiln\n" + body
    add("one table after another", sheets, channel="Kiln", part="2")
    # JSON
    jsons: dict[str, Any] = {
        "rows": [{"time": when[i], "kiln": of.kiln[i]} for i in n],
        "rows, nested": {"readings": [{"time": when[i], "kiln": of.kiln[i]} for i in n]},
        "columns": {"time": when, "kiln": of.kiln},
        "pairs": [[1000 * unix[i], of.kiln[i]] for i in n],
        "series": {"series": [{"name": "kiln", "data": [[1000 * unix[i], of.kiln[i]] for i in n]}]},
        "states": [
            [
                {"entity_id": "sensor.kiln", "state": str(of.kiln[i]), "last_changed": zulu[i]}
                for i in n
            ]
        ],
        "datapoints": [{"target": "kiln", "datapoints": [[of.kiln[i], 1000 * unix[i]] for i in n]}],
        "split": {"columns": ["time", "kiln"], "data": [[when[i], of.kiln[i]] for i in n]},
        "by time": {when[i]: of.kiln[i] for i in n},
        "deep": {"device": {"log": [{"ts": unix[i], "v": {"kiln": of.kiln[i]}} for i in n]}},
    }
    in_unix = ("pairs", "series", "states", "datapoints", "deep")
    for name, document in jsons.items():
        clock = CET if name in in_unix else START
        add(
            f"json: {name}",
            json.dumps(document),
            suffix=".json",
            clock=clock,
            refuse=True,
            time_unit="epoch",
        )
        add(
            f"json, indented: {name}",
            json.dumps(document, indent=1),
            suffix=".json",
            clock=clock,
            refuse=True,
            time_unit="epoch",
        )
    records = [{"time": zulu[i], "kiln": of.kiln[i], "room": of.room[i]} for i in n]
    add(
        "json lines",
        "".join(json.dumps(r) + "\n" for r in records),
        suffix=".jsonl",
        clock=CET,
        channel="kiln",
    )
    add(
        "json lines, arrays",
        "".join(json.dumps([when[i], of.kiln[i]]) + "\n" for i in n),
        suffix=".ndjson",
    )
    add(
        "json in a column",
        "".join(f"{when[i]}\t{json.dumps({'temp': of.kiln[i]})}\n" for i in n),
        refuse=True,
    )
    # bytes
    for codec in (
        "utf-8-sig",
        "utf-16",
        "utf-16-le",
        "utf-16-be",
        "utf-32",
        "cp1252",
        "cp437",
        "cp850",
        "mac-roman",
        "iso-8859-15",
        "cp1250",
        "cp1251",
        "koi8-r",
        "shift_jis",
        "gb18030",
        "big5",
        "euc-jp",
    ):
        add(f"bytes: {codec}", body.encode(codec, "replace"), encoding=codec)
    japanese = lines(("日時", "炉内温度"), when, of.kiln)
    add("bytes: shift_jis words", japanese.encode("shift_jis"), encoding="shift_jis")
    add(
        "bytes: gb18030 words",
        lines(("时间", "窑炉温度"), when, of.kiln).encode("gb18030"),
        encoding="gb18030",
    )
    add(
        "bytes: koi8-r words",
        lines(("Время", "Печь"), when, of.kiln).encode("koi8-r"),
        encoding="koi8-r",
    )
    add("bytes: ebcdic", body.encode("cp037", "replace"), refuse=True, encoding="cp037")
    add("bytes: gzip", gzip.compress(body.encode()), suffix=".csv.gz")
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("log.csv", body)
    add("bytes: zip", packed.getvalue(), suffix=".zip", refuse=True)
    add("bytes: nuls within", body.encode()[:9000] + b"\0" * 700 + body.encode()[9000:])
    add("bytes: nuls at the end", body.encode() + b"\0" * 4096)
    add("bytes: 0xff at the end", body.encode() + b"\xff" * 4096)
    return found


# ------------------------------------------------------------------------ the order of the rows


def orders() -> list[Case]:
    """Return files whose rows, clocks or firings are not simply one after another."""
    of = course(980.0)
    when = iso(of)
    rows = list(zip(when, of.kiln, strict=True))
    found: list[Case] = []

    def add(name: str, rows: Iterable[Sequence[Any]], truth: Course = of, **more: Any) -> None:
        text = lines(("Time", "Kiln °C"), *zip(*rows, strict=True))
        found.append(case(f"rows: {name}", text, truth, **more))

    half = len(rows) // 2
    add("newest first", rows[::-1])
    add("a block late", rows[:100] + rows[140:] + rows[100:140])
    add("two halves turned", rows[half:] + rows[:half])
    add("each twice", [row for row in rows for _ in range(2)])
    add("a block twice", rows[:150] + rows[100:])
    shuffled = rows[:]
    random.Random(3).shuffle(shuffled)
    add("shuffled", shuffled)
    pairs = [rows[i ^ 1] if i ^ 1 < len(rows) else rows[i] for i in range(len(rows))]
    add("pairs turned", pairs)
    for name, hours in {"an hour": 1, "a day": 24, "a year": 8760, "back an hour": -1}.items():
        jumped = [
            (w if i < half else f"{of.at[i] + timedelta(hours=hours):%Y-%m-%d %H:%M:%S}", v)
            for i, (w, v) in enumerate(rows)
        ]
        add(f"clock set by {name}", jumped, clock=None, refuse=True)
    unset = [
        (f"{datetime(2000, 1, 1) + timedelta(seconds=of.s[i]):%Y-%m-%d %H:%M:%S}", v)
        if i < 40
        else (w, v)
        for i, (w, v) in enumerate(rows)
    ]
    add("clock set late", unset, clock=None, refuse=True)
    night = course(980.0, LATE)
    wall = [at if at < datetime(2026, 10, 25, 3, 0) else at - timedelta(hours=1) for at in night.at]
    add(
        "clocks go back",
        [(f"{w:%d.%m.%Y %H:%M}", v) for w, v in zip(wall, night.kiln, strict=True)],
        night,
    )
    named = [
        (f"{w:%Y-%m-%d %H:%M:%S} {'CEST' if at < datetime(2026, 10, 25, 3, 0) else 'CET'}", v)
        for w, at, v in zip(wall, night.at, night.kiln, strict=True)
    ]
    cest = LATE.replace(tzinfo=timezone(timedelta(hours=2)))
    add("clocks go back, named", named, night, clock=cest)
    spring = course(980.0, datetime(2026, 3, 28, 20, 3, 0))
    ahead = [
        at if at < datetime(2026, 3, 29, 2, 0) else at + timedelta(hours=1) for at in spring.at
    ]
    add(
        "clocks go on",
        [(f"{w:%d.%m.%Y %H:%M}", v) for w, v in zip(ahead, spring.kiln, strict=True)],
        spring,
    )
    add("clock only", [(w[11:], v) for w, v in rows], clock=None)
    add("clock only, no seconds", [(w[11:16], v) for w, v in rows], clock=None)
    add(
        "clock only, 12 h",
        zip(stamps("{h12}:{at:%M:%S} {AM}", of), of.kiln, strict=True),
        clock=None,
    )
    add(
        "24:00",
        [
            (f"{at - timedelta(days=1):%Y-%m-%d} 24:00:00" if at.hour == at.minute == 0 else w, v)
            for at, (w, v) in zip(of.at, rows, strict=True)
        ],
    )
    add(
        "date where it changes",
        [
            ((w if i == 0 or w[:10] != when[i - 1][:10] else w[11:]), v)
            for i, (w, v) in enumerate(rows)
        ],
    )
    halfway = [
        (f"{at:%d.%m.%Y %H:%M:%S}" if i > half else w, v)
        for i, (at, (w, v)) in enumerate(zip(of.at, rows, strict=True))
    ]
    add("style changes", halfway)
    add("bad times", [("garbage" if i % 60 == 5 else w, v) for i, (w, v) in enumerate(rows)])
    quick = course(980.0, START, 20.0)
    first = Course(quick.start, quick.s[::3], quick.kiln[::3], [], [], [], [])
    add(
        "minutes, thrice", [(w[:16], v) for w, v in zip(iso(quick), quick.kiln, strict=True)], first
    )
    text = lines(("Time", "Kiln °C"), when, of.kiln)
    found.append(case("rows: cut short", text[:-9], of))
    found.append(case("rows: separator changes", text[:5000] + text[5000:].replace(",", ";"), of))
    found.append(
        case(
            "rows: a column more",
            text[:5000].rpartition("\n")[0]
            + "\n"
            + "".join(
                f"{w},{v},{d}\n"
                for (w, v), d in list(zip(rows, of.duty, strict=True))[
                    text[:5000].count("\n") - 1 :
                ]
            ),
            of,
        )
    )
    twice = course(980.0, START + timedelta(days=3))
    both = rows + list(zip(iso(twice), twice.kiln, strict=True))
    add("two firings", both, part="1", refuse=True)
    changes = [0] + [i for i in range(1, len(rows)) if abs(of.kiln[i] - of.kiln[i - 1]) > 1.5]
    less = Course(of.start, *([v[i] for i in changes] for v in (of.s, of.kiln)), [], [], [], [])
    add("changes only", [rows[i] for i in changes], less)
    restart = [
        (hms(s if i < half else s - of.s[half]), v)
        for i, (s, v) in enumerate(zip(of.s, of.kiln, strict=True))
    ]
    add("restarted at nought", restart, clock=None, restart_pause_s="3m", tol_s=200.0)
    hours = [s if s < 43200 else s - 43200 for s in of.s]
    add(
        "12 h counter",
        [(hms(s), v) for s, v in zip(hours, of.kiln, strict=True)],
        clock=None,
        tol_s=200.0,
        refuse=True,
        restart_pause_s="3m",
    )
    return found


# --------------------------------------------------------------------------------------- mixtures


def mixtures(count: int = 100, seed: int = 417) -> list[Case]:
    """Return files that join a random moment, number, separator, company, top and coding."""
    chance = random.Random(seed)
    beside = [head for head in BESIDE if head not in ("", "Temp", "T0", "Status", "Alarm")]
    tops = ("", "", "Serial,417\nSite,shed\n\n", "# export\n", "KILN LOG\n\n")
    plain = [name for name in CLOCKS if not name.startswith(("epoch", "zone", "header"))]
    found = []
    while len(found) < count:
        of = course(
            chance.choice([950.0, 1060.0, 1222.0, 1280.0]), step_s=chance.choice([120.0, 300.0])
        )
        if chance.random() < 0.25:
            name = chance.choice(list(ELAPSED))
            (head, clock), started = ELAPSED[name], None
        else:
            name = chance.choice(plain)
            (head, clock), started = CLOCKS[name], START
        if name in ("mail", "web log", "Unix date", "iso, comma decimals"):
            started = None
        number = chance.choice([k for k in NUMBERS if k not in ("minus sign", "both units")])
        sep = chance.choice([",", ";", "\t"])
        times = stamps(clock, of)
        cells = [NUMBERS[number](v) for v in of.kiln]
        if "," in NUMBERS[number](1.5) and times[1].replace(".", "").isdigit():
            times = [cell.replace(".", ",") for cell in times]
        if sep in "".join(times[:3]).strip('"') or sep in "".join(cells[:1] + cells[200:201]):
            continue
        kiln = chance.choice(["Kiln °C", "Ofen [°C]", "PV", "Temperature", "temp_c", "Four (°C)"])
        columns = [(head, times), (kiln, cells)]
        for other in chance.sample(beside, chance.randrange(3)):
            written = [str(BESIDE[other](of, i)) for i in range(len(of.s))]
            if "," in NUMBERS[number](1.5):
                written = [w.replace(".", ",") for w in written]
            columns.insert(chance.choice([1, len(columns)]), (other, written))
        if chance.random() < 0.3:
            aim = [str(v).replace(".", ",") if "," in cells[0] else str(v) for v in of.aim]
            columns.insert(chance.choice([1, len(columns)]), ("SP", aim))
        heads, values = zip(*columns, strict=True)
        text = chance.choice(tops) + lines(
            heads, *values, sep=sep, end=chance.choice(["\n", "\r\n"])
        )
        codec = chance.choice(["utf-8", "utf-8-sig", "utf-16", "cp1252"])
        unit = (
            "serial"
            if "serial" in name
            else {"Minutes": "min", "hours": "h", "Days": "d"}.get(head, "s")
        )
        order = {"date_order": "mdy"} if "PM" in name or "glued" in name else {}
        if started is not None and "words" not in name and codec == "cp1252":
            codec = "utf-8" if not text.isascii() else codec
        found.append(
            case(
                f"mixture: {len(found)} {name} / {number} / {sep!r} / {heads} / {codec}",
                text.encode(codec, "replace"),
                of,
                clock=started,
                time_unit=unit,
                channel=kiln,
                tol_c=0.6 if number in ("whole", "point behind") else 0.06,
                tol_s=61.0 if started else 31.0,
                **order,
            )
        )
    return found


def cases() -> list[Case]:
    return [*moments(), *readings(), *choices(), *shapes(), *orders()]


if __name__ == "__main__":
    import sys
    import tempfile
    from pathlib import Path

    from dialects import tally

    chosen = mixtures() if "mixtures" in sys.argv else cases()
    with tempfile.TemporaryDirectory() as folder:
        counts, outcomes = tally(chosen, Path(folder))
    for name, outcome in outcomes.items():
        if outcome.verdict not in [*sys.argv[1:], "exact", "settled"]:
            print(f"{outcome.verdict:9} {name[:150]}\n    {outcome.told} {outcome.words[:400]}")
    print(len(chosen), dict(counts))
