"""Logs in every dialect we could think of, whose truth is known, and a score of how they are read.

Nothing of `firing.logs` is imported at the top: the writer knows nothing of the reader.  A case is
one file with the readings it stands for.  `score` reads it, by itself and by whatever option the
answer names, and says which of these happened:

exact      every reading at its moment, without being told anything
settled    refused or noted with an option; with that option it reads exactly
refused    cannot be read, and the sentence leads on
noted      read wrong, but a note names the option that reads it right
silent     read wrong without a word
lost       what is read is right, but readings are missing
dead end   refused, and no option named reads it
misled     an option named reads it wrong
traceback  nobody foresaw it
"""

import bz2
import gzip
import io
import json
import math
import os
import random
import re
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import lru_cache
from pathlib import Path
from time import tzset
from typing import Any

Cells = tuple[str, ...]


def listed(words: str) -> Cells:
    """Return words that spaces stand between."""
    return tuple(words.split())


# ---------------------------------------------------------------------------------- the firing


@dataclass(frozen=True)
class Firing:
    """What really happened, every `step_s` seconds; all temperatures in °C, as read."""

    start: datetime
    time_s: tuple[float, ...]
    kiln: tuple[float, ...]
    shelf: tuple[float, ...]
    setpoint: tuple[float, ...]
    room: tuple[float, ...]
    power: tuple[float, ...]

    @property
    def count(self) -> int:
        return len(self.time_s)


PEAKS = {"bisque": 1000.0, "glaze": 1235.0, "decal": 745.0, "low": 600.0}


@lru_cache(maxsize=64)
def firing(kind: str, start: datetime, step_s: float = 120.0, seed: int = 7) -> Firing:
    """Return a firing: a moving set point, a kiln some minutes behind it, and natural cooling.

    First-order lags; nothing of it comes from the package.
    """
    chance = random.Random(f"{kind}{seed}")
    peak = PEAKS[kind]
    times, kilns, shelves, setpoints, rooms, powers = [], [], [], [], [], []
    kiln, shelf, sp, at = 19.6, 19.4, 19.6, 0.0
    held, down = 0.0, False
    lead_s = 600.0
    while True:
        times.append(at)
        kilns.append(round(kiln + chance.gauss(0.0, 0.25), 1))
        shelves.append(round(shelf + chance.gauss(0.0, 0.25), 1))
        setpoints.append(round(sp, 1))
        rooms.append(round(20.5 + 4.0 * (kiln / 1200.0) + chance.gauss(0.0, 0.15), 1))
        powers.append(0.0 if down else round(min(100.0, 20.0 + 0.05 * kiln), 0))
        for _ in range(int(step_s / 10.0)):
            if down:
                sp = 20.0
                kiln += (20.0 - kiln) / 14_000.0 * 10.0
            elif at >= lead_s:
                rate = (120.0 if sp < 550.0 else 180.0) / 3600.0
                if sp < peak:
                    sp = min(peak, sp + rate * 10.0)
                else:
                    held += 10.0
                kiln += (sp - kiln) / 240.0 * 10.0
                down = held > 1500.0
            shelf += (kiln - shelf) / 420.0 * 10.0
            at += 10.0
        if down and kiln < 0.55 * peak:
            break
    tuples = (tuple(row) for row in (times, kilns, shelves, setpoints, rooms, powers))
    return Firing(start, *tuples)  # type: ignore[arg-type]


START = datetime(2026, 11, 24, 18, 40, 0)


# ---------------------------------------------------------------------------------- languages


def named(words: str) -> dict[str, str]:
    """Return a language's words for the columns of a log."""
    return dict(zip(listed("time date clock kiln sp room"), words.split("|"), strict=True))


WORDS: dict[str, dict[str, str]] = {
    "en": named("Time|Date|Clock|Kiln|Set point|Room"),
    "de": named("Zeit|Datum|Uhrzeit|Ofen|Soll|Raum"),
    "fr": named("Heure|Date|Heure|Four|Consigne|Pièce"),
    "es": named("Hora|Fecha|Hora|Horno|Consigna|Sala"),
    "it": named("Ora|Data|Ora|Forno|Impostata|Ambiente"),
    "nl": named("Tijd|Datum|Tijd|Oven|Gewenst|Kamer"),
    "pt": named("Hora|Data|Hora|Forno|Desejada|Sala"),
    "sv": named("Tid|Datum|Klockslag|Ugn|Börvärde|Rum"),
    "pl": named("Czas|Data|Godzina|Piec|Zadana|Otoczenie"),
    "da": named("Tid|Dato|Klokkeslæt|Ovn|Ønsket|Rum"),
    "ja": named("日時|日付|時刻|窯温度|設定温度|室温"),
    "zh": named("时间|日期|时刻|炉温|设定温度|室温"),
    "nb": named("Tidspunkt|Dato|Klokkeslett|Ovn|Settpunkt|Rom"),
    "fi": named("Aika|Päivä|Kello|Uuni|Asetus|Huone"),
    "cs": named("Čas|Datum|Čas|Pec|Žádaná|Místnost"),
    "hu": named("Idő|Dátum|Idő|Kemence|Alapjel|Szoba"),
}
MONTHS: dict[str, tuple[str, ...]] = {
    "en": ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"),
    "en-long": listed(
        "January February March April May June July August September October November December"
    ),
    "de": listed(
        "Januar Februar März April Mai Juni Juli August September Oktober November Dezember"
    ),
    "de-short": listed("Jan. Feb. März Apr. Mai Juni Juli Aug. Sep. Okt. Nov. Dez."),
    "fr": listed(
        "janvier février mars avril mai juin juillet août septembre octobre novembre décembre"
    ),
    "fr-short": listed("janv. févr. mars avr. mai juin juil. août sept. oct. nov. déc."),
    "es": listed(
        "enero febrero marzo abril mayo junio julio agosto septiembre octubre noviembre diciembre"
    ),
    "es-short": listed("ene feb mar abr may jun jul ago sep oct nov dic"),
    "it": listed(
        "gennaio febbraio marzo aprile maggio giugno luglio agosto settembre ottobre novembre "
        "dicembre"
    ),
    "it-short": listed("gen feb mar apr mag giu lug ago set ott nov dic"),
    "nl": listed(
        "januari februari maart april mei juni juli augustus september oktober november december"
    ),
    "nl-short": listed("jan feb mrt apr mei jun jul aug sep okt nov dec"),
    "pt": listed(
        "janeiro fevereiro março abril maio junho julho agosto setembro outubro novembro dezembro"
    ),
    "pt-short": listed("jan fev mar abr mai jun jul ago set out nov dez"),
    "sv": listed(
        "januari februari mars april maj juni juli augusti september oktober november december"
    ),
    "pl": listed(
        "stycznia lutego marca kwietnia maja czerwca lipca sierpnia września października "
        "listopada grudnia"
    ),
    "pl-short": listed("sty lut mar kwi maj cze lip sie wrz paź lis gru"),
    "da": listed(
        "januar februar marts april maj juni juli august september oktober november december"
    ),
    "nb": listed(
        "januar februar mars april mai juni juli august september oktober november desember"
    ),
    "fi": listed(
        "tammikuuta helmikuuta maaliskuuta huhtikuuta toukokuuta kesäkuuta heinäkuuta "
        "elokuuta syyskuuta lokakuuta marraskuuta joulukuuta"
    ),
    "cs": listed(
        "ledna února března dubna května června července srpna září října listopadu prosince"
    ),
}
WEEKDAYS = {
    "en": listed("Mon Tue Wed Thu Fri Sat Sun"),
    "de": listed("Mo Di Mi Do Fr Sa So"),
    "fr": listed("lun. mar. mer. jeu. ven. sam. dim."),
    "ja": list("月火水木金土日"),
}

# ---------------------------------------------------------------------------------- times


@dataclass(frozen=True)
class TimeStyle:
    """How a moment is written: one or more cells, under headings of these kinds or words."""

    cells: Callable[[datetime, float, int], Cells]
    heads: Cells = ("time",)
    dated: bool = True
    answers: dict[str, str] = field(default_factory=dict)
    utc: bool = False
    ask: bool = False
    start: datetime = START
    colons: bool = True  # may hold commas or spaces: `plain_seps` are those it cannot stand between
    unfit: str = ""


def _f(pattern: str, heads: Cells = ("time",), **rest: Any) -> TimeStyle:
    """A style by strftime; `|` parts cells."""
    return TimeStyle(
        lambda at, s, n: tuple(at.strftime(part) for part in pattern.split("|")), heads, **rest
    )


def _e(write: Callable[[float], str], heads: Cells, **rest: Any) -> TimeStyle:
    """A style of elapsed time."""
    return TimeStyle(lambda at, s, n: (write(s),), heads, dated=False, **rest)


def _hms(s: float, *, days: bool = False) -> str:
    h, rest = divmod(int(s), 3600)
    m, sec = divmod(rest, 60)
    if days:
        d, h = divmod(h, 24)
        return f"{d}d {h:02d}:{m:02d}:{sec:02d}"
    return f"{h}:{m:02d}:{sec:02d}"


def _month(lang: str, pattern: str) -> Callable[[datetime, float, int], Cells]:
    def write(at: datetime, s: float, n: int) -> Cells:
        text = at.strftime(pattern.replace("%B", "@"))
        return (text.replace("@", MONTHS[lang][at.month - 1]),)

    return write


def _h12(at: datetime, seconds: bool = True) -> str:
    return at.strftime("%I:%M:%S" if seconds else "%I:%M").lstrip("0")


def _serial(at: datetime, epoch: datetime) -> float:
    return (at - epoch).total_seconds() / 86400.0


def _stamp24(at: datetime) -> str:
    """Midnight as 24:00:00 of the day before."""
    if (at.hour, at.minute, at.second) == (0, 0, 0):
        return (at - timedelta(days=1)).strftime("%Y-%m-%d 24:00:00")
    return at.strftime("%Y-%m-%d %H:%M:%S")


def _epoch_utc(at: datetime) -> float:
    return at.replace(tzinfo=UTC).timestamp()


_MDY = {"date_order": "mdy"}
_DMY = {"date_order": "dmy"}
_YMD = {"date_order": "ymd"}
_LOW = datetime(2026, 4, 3, 8, 0, 0)  # 03/04: leaves the order open

TIMES: dict[str, TimeStyle] = {
    "iso": _f("%Y-%m-%d %H:%M:%S"),
    "iso-t": _f("%Y-%m-%dT%H:%M:%S"),
    "iso-minutes": _f("%Y-%m-%d %H:%M"),
    "iso-z": _f("%Y-%m-%dT%H:%M:%SZ", utc=True),
    "iso-offset0": _f("%Y-%m-%d %H:%M:%S+00:00", utc=True),
    "iso-ms": _f("%Y-%m-%dT%H:%M:%S.000"),
    "iso-ms-z": _f("%Y-%m-%dT%H:%M:%S.000Z", utc=True),
    "iso-comma-ms": _f("%Y-%m-%d %H:%M:%S,000", unfit=","),
    "iso-utc-word": _f("%Y-%m-%d %H:%M:%S UTC", utc=True, unfit=" "),
    "iso-gmt-word": _f("%Y-%m-%d %H:%M:%S GMT", utc=True, unfit=" "),
    "iso-slash": _f("%Y/%m/%d %H:%M:%S"),
    "iso-dot": _f("%Y.%m.%d %H:%M:%S"),
    "iso-basic": _f("%Y%m%dT%H%M%S"),
    "iso-basic-z": _f("%Y%m%dT%H%M%SZ", utc=True),
    "digits14": _f("%Y%m%d%H%M%S"),
    "digits14-space": _f("%Y%m%d %H%M%S", unfit=" "),
    "digits14-dash": _f("%Y%m%d-%H%M%S"),
    "digits14-underscore": _f("%Y%m%d_%H%M%S"),
    "digits12": _f("%Y%m%d%H%M"),
    "digits8-clock": _f("%Y%m%d %H:%M:%S", unfit=" "),
    "digits8|clock": _f("%Y%m%d|%H:%M:%S", ("date", "clock")),
    "digits8|digits6": _f("%Y%m%d|%H%M%S", ("date", "clock")),
    "iso-underscore": _f("%Y-%m-%d_%H:%M:%S"),
    "iso-file": _f("%Y-%m-%d_%H-%M-%S"),
    "iso-dots": _f("%Y-%m-%d %H.%M.%S"),
    "exif": _f("%Y:%m:%d %H:%M:%S"),
    "iso|clock": _f("%Y-%m-%d|%H:%M:%S", ("date", "clock")),
    "dmy.": _f("%d.%m.%Y %H:%M:%S"),
    "dmy.-short": _f("%d.%m.%y %H:%M"),
    "dmy.-comma": _f("%d.%m.%Y, %H:%M:%S", unfit=",; "),
    "dmy/": _f("%d/%m/%Y %H:%M:%S"),
    "mdy/": _f("%m/%d/%Y %H:%M:%S"),
    "mdy/-ampm": TimeStyle(
        lambda at, s, n: (f"{at.month}/{at.day}/{at.year} {_h12(at)} {at:%p}",), unfit=" "
    ),
    "mdy/-ampm-short": TimeStyle(
        lambda at, s, n: (f"{at.month}/{at.day}/{at:%y} {_h12(at, False)} {at:%p}",), unfit=" "
    ),
    "mdy/-ampm-glued": TimeStyle(
        lambda at, s, n: (f"{at:%m/%d/%Y} {_h12(at)}{at:%p}".lower(),), unfit=" "
    ),
    "mdy/-am-dots": TimeStyle(
        lambda at, s, n: (f"{at:%m/%d/%Y} {_h12(at)} {'a' if at.hour < 12 else 'p'}.m.",),
        unfit=" ",
    ),
    "mdy/-comma-ampm": TimeStyle(
        lambda at, s, n: (f"{at.month}/{at.day}/{at.year}, {_h12(at)} {at:%p}",), unfit=", ;"
    ),
    "dmy-": _f("%d-%m-%Y %H:%M:%S"),
    "dmy/-open": _f("%d/%m/%Y %H:%M:%S", answers=_DMY, ask=True, start=_LOW),
    "mdy/-open": _f("%m/%d/%Y %H:%M:%S", answers=_MDY, ask=True, start=_LOW),
    "yy-open": _f("%y-%m-%d %H:%M:%S", answers=_YMD, ask=True, start=datetime(2026, 4, 3, 8, 0)),
    "yy-night": _f("%y-%m-%d %H:%M:%S", answers=_YMD),
    "yy/-night": _f("%y/%m/%d %H:%M:%S", answers=_YMD),
    "yy.-night": _f("%y.%m.%d %H:%M:%S", answers=_YMD),
    "yy-28": _f("%y-%m-%d %H:%M", answers=_YMD, start=datetime(2031, 11, 28, 18, 0)),
    "yymmdd-hhmmss": _f("%y%m%d %H%M%S", answers=_YMD, unfit=" "),
    "yymmdd|hhmmss": _f("%y%m%d|%H%M%S", ("date", "clock"), answers=_YMD),
    "d-mon-yy": _f("%d-%b-%y %H:%M:%S"),
    "d-mon-yyyy": _f("%d-%b-%Y %H:%M:%S"),
    "d-MON-yyyy": TimeStyle(lambda at, s, n: (f"{at:%d-%b-%Y %H:%M:%S}".upper(),)),
    "d mon yyyy": _f("%d %b %Y %H:%M:%S", unfit=" "),
    "dmonyyyy": _f("%d%b%Y %H:%M:%S"),
    "dmonyy": _f("%d%b%y %H:%M:%S"),
    "dmonyyyy:clock": _f("%d%b%Y:%H:%M:%S"),
    "d/mon/yyyy:clock": _f("%d/%b/%Y:%H:%M:%S"),
    "mon d, yyyy": _f("%b %d, %Y %H:%M:%S", unfit=", "),
    "mon d yyyy": _f("%b %d %Y %H:%M:%S", unfit=" "),
    "month d, yyyy ampm": TimeStyle(
        lambda at, s, n: (f"{at:%B} {at.day}, {at.year} {_h12(at)} {at:%p}",), unfit=", "
    ),
    "month d, yyyy at": TimeStyle(
        lambda at, s, n: (f"{at:%B} {at.day}, {at.year} at {_h12(at)} {at:%p}",), unfit=", "
    ),
    "yyyy-mon-dd": _f("%Y-%b-%d %H:%M:%S"),
    "yyyy mon dd": _f("%Y %b %d %H:%M:%S", unfit=" "),
    "ctime": _f("%a %b %d %H:%M:%S %Y", unfit=" "),
    "date-command": _f("%a %b %d %H:%M:%S UTC %Y", unfit=" ", utc=True),
    "rfc2822": _f("%a, %d %b %Y %H:%M:%S +0000", unfit=", ", utc=True),
    "rfc2822-gmt": _f("%a, %d %b %Y %H:%M:%S GMT", unfit=", ", utc=True),
    "rfc850": _f("%A, %d-%b-%y %H:%M:%S GMT", unfit=", ", utc=True),
    "weekday-iso": _f("%a %Y-%m-%d %H:%M:%S", unfit=" "),
    "weekday-dmy": TimeStyle(
        lambda at, s, n: (f"{WEEKDAYS['de'][at.weekday()]} {at:%d.%m.%Y %H:%M:%S}",), unfit=" "
    ),
    "weekday-fr": TimeStyle(
        lambda at, s, n: (f"{WEEKDAYS['fr'][at.weekday()]} {at:%d/%m/%Y %H:%M:%S}",), unfit=" "
    ),
    "weekday|date|clock": _f("%a|%d/%m/%Y|%H:%M:%S", ("Day", "date", "clock")),
    "ja": TimeStyle(
        lambda at, s, n: (f"{at.year}年{at.month}月{at.day}日 {at:%H:%M:%S}",), unfit=" "
    ),
    "ja-full": TimeStyle(
        lambda at, s, n: (f"{at.year}年{at:%m}月{at:%d}日{at:%H}時{at:%M}分{at:%S}秒",)
    ),
    "ja-weekday": TimeStyle(
        lambda at, s, n: (f"{at:%Y/%m/%d}({WEEKDAYS['ja'][at.weekday()]}) {at:%H:%M:%S}",)
    ),
    "zh-half": TimeStyle(
        lambda at, s, n: (
            f"{at.year}/{at.month}/{at.day} {'上午' if at.hour < 12 else '下午'} {_h12(at)}",
        ),
        unfit=" ",
    ),
    "ja-half": TimeStyle(
        lambda at, s, n: (
            f"{at.year}/{at.month}/{at.day} {'午前' if at.hour < 12 else '午後'}"
            f"{at.hour % 12}:{at:%M:%S}",
        )
    ),
    "de-uhr": TimeStyle(lambda at, s, n: (f"{at:%d.%m.%Y %H:%M} Uhr",), unfit=" "),
    "fr-h": TimeStyle(lambda at, s, n: (f"{at:%d/%m/%Y} {at:%H}h{at:%M}",)),
    "fr-hms": TimeStyle(lambda at, s, n: (f"{at:%d/%m/%Y} {at:%H}h{at:%M}m{at:%S}s",)),
    "24:00": TimeStyle(lambda at, s, n: (_stamp24(at),)),
    "24:00-dmy": TimeStyle(
        lambda at, s, n: (
            (at - timedelta(days=1)).strftime("%d.%m.%Y 24:00")
            if at.hour == at.minute == 0
            else at.strftime("%d.%m.%Y %H:%M"),
        )
    ),
    "cet": _f("%Y-%m-%d %H:%M:%S CET", unfit=" "),
    "utc+1": _f("%Y-%m-%d %H:%M:%S UTC+1", unfit=" "),
    "gmt+0100": _f("%Y-%m-%d %H:%M:%S GMT+0100", unfit=" "),
    "iana": _f("%Y-%m-%d %H:%M:%S Europe/Berlin", unfit=" "),
    "iso-iana": _f("%Y-%m-%dT%H:%M:%S+01:00[Europe/Berlin]"),
    "offset+01": _f("%Y-%m-%dT%H:%M:%S+01"),
    "clock-first": _f("%H:%M:%S %d/%m/%Y"),
    "clock-first-iso": _f("%H:%M:%S %Y-%m-%d"),
    "clock|date": _f("%H:%M:%S|%d.%m.%Y", ("clock", "date")),
    "date|h12|ampm": TimeStyle(
        lambda at, s, n: (f"{at:%m/%d/%Y}", _h12(at), f"{at:%p}"), ("date", "clock", "AM/PM")
    ),
    "date|h12|ampm-blank": TimeStyle(
        lambda at, s, n: (f"{at:%Y-%m-%d}", _h12(at), f"{at:%p}"), ("date", "clock", "")
    ),
    "stamp12|ampm": TimeStyle(
        lambda at, s, n: (f"{at:%Y-%m-%d} {_h12(at)}", f"{at:%p}".lower()), ("time", "am/pm")
    ),
    "ampm|clock": TimeStyle(
        lambda at, s, n: (f"{at:%Y-%m-%d}", f"{at:%p}", _h12(at)), ("date", "Half", "clock")
    ),
    "y|m|d|clock": _f("%Y|%m|%d|%H:%M:%S", ("Year", "Month", "Day", "clock")),
    "y|m|d|h|m|s": _f("%Y|%m|%d|%H|%M|%S", ("Year", "Month", "Day", "Hour", "Minute", "Second")),
    "d|m|y|h|m": _f("%d|%m|%Y|%H|%M", ("Day", "Month", "Year", "Hour", "Min")),
    "yy|m|d|h|m|s": _f("%y|%m|%d|%H|%M|%S", ("YY", "MM", "DD", "hh", "mm", "ss")),
    "de-tag|monat": _f(
        "%d|%m|%Y|%H|%M|%S", ("Tag", "Monat", "Jahr", "Stunde", "Minute", "Sekunde")
    ),
    "date|h|m|s": _f("%Y-%m-%d|%H|%M|%S", ("date", "Hour", "Minute", "Second")),
    "date-where-it-changes": TimeStyle(
        lambda at, s, n: (
            at.strftime("%d.%m.%Y") if n == 0 or (at.hour == 0 and at.minute == 0) else "",
            at.strftime("%H:%M:%S"),
        ),
        ("date", "clock"),
    ),
    "date-at-first": TimeStyle(
        lambda at, s, n: (at.strftime("%d.%m.%Y") if n == 0 else "", at.strftime("%H:%M:%S")),
        ("date", "clock"),
    ),
    "date-ditto": TimeStyle(
        lambda at, s, n: (
            at.strftime("%d.%m.%Y") if n == 0 or (at.hour == 0 and at.minute == 0) else '"',
            at.strftime("%H:%M:%S"),
        ),
        ("date", "clock"),
    ),
    "epoch": TimeStyle(lambda at, s, n: (f"{_epoch_utc(at):.0f}",), utc=True),
    "epoch-ms": TimeStyle(lambda at, s, n: (f"{_epoch_utc(at) * 1000:.0f}",), utc=True),
    "epoch-float": TimeStyle(lambda at, s, n: (f"{_epoch_utc(at):.3f}",), utc=True),
    "epoch-sci": TimeStyle(lambda at, s, n: (f"{_epoch_utc(at):.9E}",), utc=True),
    "filetime": TimeStyle(
        lambda at, s, n: (f"{(_epoch_utc(at) + 11_644_473_600) * 1e7:.0f}",), utc=True, ask=True
    ),
    "serial": TimeStyle(lambda at, s, n: (f"{_serial(at, datetime(1899, 12, 30)):.6f}",)),
    "serial-1904": TimeStyle(
        lambda at, s, n: (f"{_serial(at, datetime(1904, 1, 1)):.6f}",),
        answers={"time_unit": "serial-1904"},
        ask=True,
    ),
    "julian": TimeStyle(
        lambda at, s, n: (f"{_epoch_utc(at) / 86400.0 + 2_440_587.5:.6f}",), utc=True, ask=True
    ),
    "day-of-year": _f("%Y-%jT%H:%M:%S"),
    "week-date": _f("%G-W%V-%uT%H:%M:%S"),
    "elapsed-s": _e(lambda s: f"{s:.0f}", ("Time (s)",)),
    "elapsed-min": _e(lambda s: f"{s / 60:.1f}", ("Elapsed (min)",)),
    "elapsed-h": _e(lambda s: f"{s / 3600:.4f}", ("Elapsed [h]",)),
    "elapsed-ms": _e(lambda s: f"{s * 1000:.0f}", ("millis",), answers={"time_unit": "ms"}),
    "elapsed-h:mm": _e(lambda s: _hms(s)[:-3], ("Elapsed (h:mm)",)),
    "elapsed-h:mm:ss": _e(_hms, ("Elapsed",)),
    "elapsed-d": _e(lambda s: f"{s / 86400:.6f}", ("Days",)),
    "elapsed-0d": _e(lambda s: _hms(s, days=True), ("Elapsed",), unfit=" "),
    "elapsed-bare": _e(lambda s: f"{s:.0f}", ("Time",), answers={"time_unit": "s"}, ask=True),
    "elapsed-bare-min": _e(
        lambda s: f"{s / 60:.0f}", ("Time",), answers={"time_unit": "min"}, ask=True
    ),
    "elapsed-bare-h": _e(
        lambda s: f"{s / 3600:.3f}", ("Time",), answers={"time_unit": "h"}, ask=True
    ),
    "elapsed-glued-s": _e(lambda s: f"{s:.0f}s", ("Elapsed",)),
    "elapsed-glued-min": _e(lambda s: f"{s / 60:.0f} min", ("Elapsed",), unfit=" "),
    "elapsed-iso": _e(
        lambda s: f"PT{int(s // 3600)}H{int(s % 3600 // 60)}M{int(s % 60)}S", ("Elapsed",)
    ),
    "elapsed-iso-min": _e(lambda s: f"PT{int(s // 60)}M", ("Elapsed",)),
    "elapsed-words": _e(
        lambda s: f"{int(s // 3600)}h {int(s % 3600 // 60):02d}m {int(s % 60):02d}s",
        ("Elapsed",),
        unfit=" ",
    ),
    "elapsed-words-glued": _e(
        lambda s: f"{int(s // 3600)}h{int(s % 3600 // 60):02d}m", ("Elapsed",)
    ),
    "elapsed-words-en": _e(
        lambda s: f"{int(s // 3600)} hours {int(s % 3600 // 60)} minutes", ("Elapsed",), unfit=" "
    ),
    "elapsed-words-de": _e(
        lambda s: f"{int(s // 3600)} Std {int(s % 3600 // 60)} Min", ("Laufzeit",), unfit=" "
    ),
    "elapsed-marks": _e(
        lambda s: f"{int(s // 3600)}h{int(s % 3600 // 60):02d}'{int(s % 60):02d}''", ("Elapsed",)
    ),
    "elapsed-python": _e(
        lambda s: f"{int(s // 86400)} day, {_hms(s % 86400)}" if s >= 86400 else _hms(s),
        ("Elapsed",),
        unfit=", ",
    ),
    "elapsed-h|m": TimeStyle(
        lambda at, s, n: (f"{int(s // 3600)}", f"{int(s % 3600 // 60)}"),
        ("Hours", "Minutes"),
        dated=False,
    ),
    "elapsed-h|m|s": TimeStyle(
        lambda at, s, n: (f"{int(s // 3600)}", f"{int(s % 3600 // 60)}", f"{int(s % 60)}"),
        ("hour", "min", "sec"),
        dated=False,
    ),
    "clock-only": TimeStyle(lambda at, s, n: (at.strftime("%H:%M:%S"),), ("clock",), dated=False),
    "clock-only-minutes": TimeStyle(
        lambda at, s, n: (at.strftime("%H:%M"),), ("time",), dated=False
    ),
    "clock-only-dots": TimeStyle(lambda at, s, n: (at.strftime("%H.%M"),), ("clock",), dated=False),
    "clock-only-ampm": TimeStyle(
        lambda at, s, n: (f"{_h12(at)} {at:%p}",), ("time",), dated=False, unfit=" "
    ),
    "clock-dots": TimeStyle(
        lambda at, s, n: (at.strftime("%Y-%m-%d"), at.strftime("%H.%M")), ("date", "clock")
    ),
    "clock-digits": TimeStyle(
        lambda at, s, n: (at.strftime("%Y-%m-%d"), at.strftime("%H%M")), ("date", "clock")
    ),
    "no-year": _f("%d.%m. %H:%M", answers={}, ask=True, dated=False),
    "no-year-en": _f("%b %d %H:%M:%S", answers={}, dated=False, unfit=" "),
    "header-utc": _f("%Y-%m-%d %H:%M:%S", ("Time (UTC)",), utc=True),
    "header-utc-bare": _f("%Y-%m-%d %H:%M:%S", ("UTC",), utc=True),
    "header-time-utc": _f("%Y-%m-%d %H:%M:%S", ("time_utc",), utc=True),
    "header-gmt": _f("%d/%m/%Y %H:%M:%S", ("Date Time, GMT+00:00",), utc=True, unfit=","),
    "header-gmt-ok": _f("%d/%m/%Y %H:%M:%S", ("Date/Time GMT",), utc=True),
    "header-z": _f("%Y-%m-%d|%H:%M:%S", ("Date", "Time [UTC]"), utc=True),
    "quoted-apostrophe": TimeStyle(lambda at, s, n: (f"'{at:%Y-%m-%d %H:%M:%S}'",)),
    "excel-formula": TimeStyle(lambda at, s, n: (f'="{at:%Y-%m-%d %H:%M:%S}"',)),
    "bracketed": _f("[%Y-%m-%d %H:%M:%S]"),
    "nanoseconds": _f("%Y-%m-%dT%H:%M:%S.000000000Z", utc=True),
    "two-digit-hour-missing": TimeStyle(
        lambda at, s, n: (f"{at:%Y-%m-%d} {at.hour}:{at.minute}:{at.second}",)
    ),
}
for _lang in MONTHS:
    _sep_fits = " "
    TIMES[f"month {_lang}"] = TimeStyle(
        _month(_lang, "%d. %B %Y %H:%M:%S" if _lang[:2] in ("de", "da") else "%d %B %Y %H:%M:%S"),
        unfit=_sep_fits,
    )
    if "short" in _lang or _lang == "en":
        TIMES[f"month-dash {_lang}"] = TimeStyle(_month(_lang, "%d-%B-%y %H:%M"))
TIMES["month es-de"] = TimeStyle(_month("es", "%d de %B de %Y, %H:%M:%S"), unfit=", ")
TIMES["month pt-de"] = TimeStyle(_month("pt", "%d de %B de %Y %H:%M:%S"), unfit=" ")

# ---------------------------------------------------------------------------------- numbers

NUMBERS: dict[str, Callable[[float, str], str]] = {
    "plain": lambda v, d: f"{v:.1f}".replace(".", d),
    "whole": lambda v, d: f"{v:.0f}",
    "two": lambda v, d: f"{v:.2f}".replace(".", d),
    "scientific": lambda v, d: f"{v:.6E}".replace(".", d),
    "scientific-short": lambda v, d: f"{v:.4e}".replace("e+0", "e").replace(".", d),
    "plus": lambda v, d: f"{v:+.1f}".replace(".", d),
    "padded": lambda v, d: f"{v:8.1f}".replace(".", d),
    "zeros": lambda v, d: f"{v:06.1f}".replace(".", d),
    "thousands": lambda v, d: (
        f"{v:,.1f}".replace(",", "\0").replace(".", d).replace("\0", "." if d == "," else ",")
    ),
    "thousands-space": lambda v, d: (
        f"{v:,.1f}".replace(".", d if d == "." else "\1").replace(",", " ").replace("\1", d)
    ),
    "thousands-nbsp": lambda v, d: f"{v:,.1f}".replace(",", "\u00a0").replace(".", d),
    "thousands-thin": lambda v, d: f"{v:,.1f}".replace(",", "\u202f").replace(".", d),
    "thousands-apostrophe": lambda v, d: f"{v:,.1f}".replace(",", "'").replace(".", d),
    "thousands-whole": lambda v, d: f"{v:,.0f}".replace(",", "." if d == "," else ","),
    "thousands-whole-space": lambda v, d: f"{v:,.0f}".replace(",", " "),
    "thousands-whole-apostrophe": lambda v, d: f"{v:,.0f}".replace(",", "’"),
    "underline": lambda v, d: f"{v:.1f}_".replace(".", d),
    "arabic-comma": lambda v, d: f"{v:.1f}".replace(".", "٫"),
    "middle-dot": lambda v, d: f"{v:.1f}".replace(".", "·"),
    "wide-digits": lambda v, d: "".join(
        chr(ord(c) + 0xFEE0) if c.isdigit() or c == "." else c for c in f"{v:.1f}"
    ),
    "quoted": lambda v, d: f'"{v:.1f}"'.replace(".", d),
    "apostrophes": lambda v, d: f"'{v:.1f}'".replace(".", d),
    "curly": lambda v, d: f"“{v:.1f}”".replace(".", d),
    "guillemets": lambda v, d: f"«{v:.1f}»".replace(".", d),
    "low-high": lambda v, d: f"„{v:.1f}“".replace(".", d),
    "backticks": lambda v, d: f"`{v:.1f}`".replace(".", d),
    "equals": lambda v, d: f'="{v:.1f}"'.replace(".", d),
    "approx": lambda v, d: f"~{v:.1f}".replace(".", d),
    "hash": lambda v, d: f"T={v:.1f}".replace(".", d),
    "stars": lambda v, d: f"{v:.1f}*".replace(".", d),
}
ROUNDING = {
    "whole": 0.5,
    "thousands-whole": 0.5,
    "thousands-whole-space": 0.5,
    "thousands-whole-apostrophe": 0.5,
    "scientific-short": 0.06,
}
GLUED = (
    "°C", " °C", " C", "C", " deg C", "degC", "℃", " ℃", "º C", "˚C", " Celsius",
    " degrees C", " oC", "^C", " Grad", "°", " gr.C",
)  # fmt: skip
GLUED_F = ("°F", " °F", "F", " deg F", "℉", "degF", " Fahrenheit")

# ---------------------------------------------------------------------------------- units


def in_unit(value_c: float, unit: str) -> float:
    """Return a temperature as it is written in a unit."""
    match unit:
        case "C":
            return value_c
        case "F":
            return value_c * 1.8 + 32.0
        case "K":
            return value_c + 273.15
        case "C/10":
            return value_c * 10.0
        case "F/10":
            return (value_c * 1.8 + 32.0) * 10.0
        case "C/100":
            return value_c * 100.0
        case "mV":
            return type_k_mv(value_c) - type_k_mv(22.0)
    raise ValueError(unit)


# NIST SRD 60, type K, 0 to 1372 °C
_K = (
    -0.176004136860e-1, 0.389212049750e-1, 0.185587700320e-4, -0.994575928740e-7,
    0.318409457190e-9, -0.560728448890e-12, 0.560750590590e-15, -0.320207200030e-18,
    0.971511471520e-22, -0.121047212750e-25,
)  # fmt: skip


def type_k_mv(value_c: float) -> float:
    """Return the emf of a type K thermocouple against 0 °C."""
    total = sum(c * value_c**power for power, c in enumerate(_K))
    return total + 0.118597600000 * math.exp(-0.118343200000e-3 * (value_c - 126.9686) ** 2)


# ---------------------------------------------------------------------------------- a case


@dataclass(frozen=True)
class Spec:
    """What to write: one choice of each axis."""

    kind: str = "bisque"
    unit: str = "C"
    time: str = "iso"
    lang: str = "en"
    sep: str = ","
    decimal: str = "."
    number: str = "plain"
    layout: str = "plain"
    kiln_head: str | None = None  # "{kiln} (°C)" by default
    other_head: str | None = None
    glue: str = ""
    above: tuple[str, ...] = ()
    header: bool = True
    units_row: Cells | None = None
    damage: str = ""
    encoding: str = "utf-8"
    container: str = ""
    line_end: str = "\n"
    quote_all: str = ""
    answers: tuple[tuple[str, str], ...] = ()
    ask: bool = False
    refuse: bool = False


@dataclass(frozen=True)
class Case:
    """A file and its truth."""

    name: str
    family: str
    data: bytes
    suffix: str
    time_s: tuple[float, ...]
    kiln_c: tuple[float, ...]
    started: datetime | None  # naive wall clock, or aware
    tol_c: float
    tol_s: float
    answers: dict[str, str]
    ask: bool
    refuse: bool


_DEFAULT_HEAD = {
    "C": "{} (°C)", "F": "{} (°F)", "K": "{} (K)", "C/10": "{} (0.1 °C)", "F/10": "{} (0.1 °F)",
    "C/100": "{} (0.01 °C)", "mV": "{} (mV)",
}  # fmt: skip


def _columns(spec: Spec, fire: Firing) -> list[tuple[str, Sequence[str]]]:
    """Return the columns right of the time: heading and cells."""
    words = WORDS[spec.lang]
    template = _DEFAULT_HEAD[spec.unit] if spec.kiln_head is None else spec.kiln_head
    other = template if spec.other_head is None else spec.other_head
    write = NUMBERS[spec.number]

    def cells(values: Sequence[float]) -> list[str]:
        digits = 3 if spec.unit == "mV" else None
        found = []
        for value in values:
            number = in_unit(value, spec.unit)
            if digits and spec.number == "plain":
                text = f"{number:.3f}".replace(".", spec.decimal)
            elif spec.unit in ("C/10", "F/10", "C/100"):
                text = f"{number:.0f}"
            else:
                text = write(number, spec.decimal)
            found.append(text + spec.glue)
        return found

    kiln = (template.format(words["kiln"]), cells(fire.kiln))
    bare = (words["kiln"], cells(fire.kiln))
    room = (other.format(words["room"]), cells(fire.room))
    sp = (other.format(words["sp"]), cells(fire.setpoint))
    shelf = (other.format("Lower shelf"), cells(fire.shelf))
    power = ("Output (%)", [f"{p:.0f}" for p in fire.power])
    numbers = [str(n) for n in range(1, fire.count + 1)]

    def named(name: str, values: Sequence[float]) -> tuple[str, Sequence[str]]:
        return (name, cells(values))

    stage = ["idle" if n < 5 else "ramp" if n < fire.count // 2 else "cool" for n in range(
        fire.count)]  # fmt: skip
    empty = [""] * fire.count
    layouts: dict[str, list[tuple[str, Sequence[str]]]] = {
        "plain": [kiln],
        "bare": [bare],
        "shelf": [kiln, shelf],
        "room-after": [kiln, room],
        "room-first": [room, kiln],
        "sp-first": [sp, kiln],
        "sp-after": [kiln, sp],
        "sp-room-kiln": [sp, room, kiln, power],
        "power-first": [power, kiln],
        "status": [("Status", stage), kiln],
        "status-after": [kiln, ("Status", stage)],
        "number-after-kiln": [kiln, ("Row", numbers)],
        "empty-before": [("", empty), kiln],
        "empty-after": [kiln, ("", empty), ("", empty)],
        "unused-channels": [
            named("CH1", fire.kiln),
            *((f"CH{n}", ["---"] * fire.count) for n in range(2, 9)),
        ],
        "unused-before": [
            *((f"CH{n}", ["OL"] * fire.count) for n in range(1, 4)),
            named("CH4", fire.kiln),
        ],
        "unused-zeros": [("CH1", ["0.0"] * fire.count), named("CH2", fire.kiln)],
        "unused-code": [("CH1", ["-9999"] * fire.count), named("CH2", fire.kiln)],
        "t1-t2": [named("T1", fire.room), named("T2", fire.kiln)],
        "temp1-temp2": [named("Temp 1", fire.room), named("Temp 2", fire.kiln)],
        "ch1-ch2": [named("CH1", fire.room), named("CH2", fire.kiln)],
        "board": [named("Board temp", fire.room), named("Temp", fire.kiln)],
        "internal": [named("Internal", fire.room), named("External", fire.kiln)],
        "internal-hot": [named("Internal", fire.kiln), named("External", fire.room)],
        "cpu": [named("CPU temp", fire.room), named("Probe", fire.kiln)],
        "outside": [named("Outdoor", fire.room), named("Sensor", fire.kiln)],
        "device": [named("Device Temperature", fire.room), named("TC1", fire.kiln)],
        "unnamed-room": [named("A", fire.room), named("B", fire.kiln)],
        "case": [named("Case °C", fire.room), named("Hot °C", fire.kiln)],
        "humidity": [("RH %", ["45.0"] * fire.count), named("T °C", fire.kiln)],
        "battery": [("Vbat", ["3.71"] * fire.count), named("Temp", fire.kiln)],
        "target": [named("Target", fire.setpoint), named("Actual", fire.kiln)],
        "program": [named("Program", fire.setpoint), named("Measured", fire.kiln)],
        "demand": [named("Demand", fire.setpoint), named("Temp", fire.kiln)],
        "desired": [named("Desired temp", fire.setpoint), named("Temp", fire.kiln)],
        "goal": [named("Goal", fire.setpoint), named("Now", fire.kiln)],
        "reference": [named("Reference", fire.setpoint), named("Temperature", fire.kiln)],
        "command": [named("Cmd", fire.setpoint), named("Fbk", fire.kiln)],
        "profile": [named("Profile", fire.setpoint), named("Chamber", fire.kiln)],
        "tsp": [named("T_set", fire.setpoint), named("T_act", fire.kiln)],
        "tset": [named("Tset", fire.setpoint), named("Tmeas", fire.kiln)],
        "sv-pv": [named("SV", fire.setpoint), named("PV", fire.kiln)],
        "w-x": [named("w", fire.setpoint), named("x", fire.kiln)],
        "unnamed-sp": [named("A", fire.setpoint), named("B", fire.kiln)],
        "temp1-sp": [named("Temp1", fire.setpoint), named("Temp2", fire.kiln)],
        "t1-t2-sp": [named("T1", fire.setpoint), named("T2", fire.kiln)],
        "wanted": [named("Wanted", fire.setpoint), named("Got", fire.kiln)],
        "preset": [named("Preset", fire.setpoint), named("Current temp", fire.kiln)],
        "ordered": [named("Temp ordered", fire.setpoint), named("Temp read", fire.kiln)],
        "zones": [named("Zone 1", fire.kiln), named("Zone 2", fire.shelf)],
        "error-column": [
            kiln,
            ("Deviation", [f"{k - s:.1f}" for k, s in zip(fire.kiln, fire.setpoint, strict=True)]),
        ],
        "rate-column": [
            ("Rate °C/h", [f"{120.0 + n % 5:.1f}" for n in range(fire.count)]),
            named("Temp °C", fire.kiln),
        ],
        "both-units": [
            named("Temp °C", fire.kiln),
            ("Temp °F", [f"{k * 1.8 + 32:.1f}" for k in fire.kiln]),
        ],
        "both-units-f-first": [
            ("Temp °F", [f"{k * 1.8 + 32:.1f}" for k in fire.kiln]),
            named("Temp °C", fire.kiln),
        ],
        "unit-column": [named("Temp", fire.kiln), ("Unit", [spec.unit] * fire.count)],
        "junction": [kiln, ("Cold junction (°C)", ["22.0"] * fire.count)],
        "min-max": [
            named("Min °C", [k - 0.4 for k in fire.kiln]),
            named("Max °C", [k + 0.4 for k in fire.kiln]),
            named("Avg °C", fire.kiln),
        ],
    }
    return layouts[spec.layout]


def _joined(rows: Sequence[Sequence[str]], sep: str, quote: str) -> list[str]:
    if sep == "fixed":
        widths = [max(len(row[n]) for row in rows) + 2 for n in range(len(rows[0]))]
        return ["".join(c.ljust(w) for c, w in zip(row, widths, strict=True)) for row in rows]
    if sep == "md":
        return ["| " + " | ".join(row) + " |" for row in rows]
    if quote:
        rows = [[f"{quote}{cell}{quote}" for cell in row] for row in rows]
    return [sep.join(row) for row in rows]


LONG_WORDS = {"long": ("Channel", "Value"), "long-sensor": ("sensor", "reading")}


def build(name: str, family: str, spec: Spec) -> Case:
    """Write one case."""
    style = TIMES[spec.time]
    fire = firing(spec.kind, style.start)
    words = WORDS[spec.lang]
    keep = list(range(fire.count))
    moments = [style.start + timedelta(seconds=s) for s in fire.time_s]
    times = [
        style.cells(m, s, n) for n, (m, s) in enumerate(zip(moments, fire.time_s, strict=True))
    ]
    if spec.decimal == ",":
        point = re.compile(r"\d+\.\d+(E[+-]\d+)?")
        times = [
            tuple(c.replace(".", ",") if point.fullmatch(c) else c for c in time)
            if len(time) == 1
            else time
            for time in times
        ]
    heads = [words.get(head, head) for head in style.heads]
    answers = {**style.answers, **dict(spec.answers)}
    started: datetime | None = style.start if style.dated else None
    if style.dated and style.utc:
        started = style.start.replace(tzinfo=UTC)
    if spec.layout.startswith("long"):
        header, rows = _long(spec, fire, times, heads)
    else:
        columns = _columns(spec, fire)
        header = [*heads, *(column for column, _ in columns)]
        rows = [[*time, *(cells[n] for _, cells in columns)] for n, time in enumerate(times)]
    rows, keep, fire_time, started = _ordered(spec.damage, rows, keep, fire, started)
    if spec.container:
        data, suffix = _contained(spec, header, rows)
    else:
        data, suffix = _text(spec, header, rows), ".csv"
    kiln = [fire.kiln[n] for n in keep]
    time_s = [fire_time[n] for n in keep]
    tol_c = 0.06 + (ROUNDING.get(spec.number, 0.0) / (1.8 if spec.unit == "F" else 1.0))
    if spec.unit == "mV":
        tol_c = 0.25 if spec.number == "plain" else 3.0
    tol_s = 1.5 if spec.time not in ("elapsed-h", "elapsed-bare-h") else 2.5
    if spec.time in ("epoch-sci",):
        tol_s = 1.5
    return Case(
        name, family, data, suffix, tuple(time_s), tuple(kiln), started, tol_c, tol_s, answers,
        spec.ask or style.ask, spec.refuse,
    )  # fmt: skip


def _long(
    spec: Spec, fire: Firing, times: Sequence[Cells], heads: list[str]
) -> tuple[list[str], list[list[str]]]:
    """One row a channel."""
    write = NUMBERS[spec.number]
    which = {
        "long": ("Channel", "Value (°C)", ("Room", "Kiln")),
        "long-kiln-first": ("Channel", "Temperature", ("Kiln", "Room")),
        "long-sensor": ("sensor_id", "temp_c", ("28-aa", "28-bb")),
        "long-number": ("Ch", "Temp °C", ("1", "2")),
        "long-sp": ("Tag", "Value", ("Setpoint", "Kiln temp")),
        "long-unit": ("Name", "Value", ("room", "kiln")),
        "long-three": ("Probe", "°C", ("T1", "T2", "T3")),
    }[spec.layout]
    values = {
        "Room": fire.room, "room": fire.room, "Kiln": fire.kiln, "kiln": fire.kiln,
        "28-aa": fire.room, "28-bb": fire.kiln, "1": fire.room, "2": fire.kiln,
        "Setpoint": fire.setpoint, "Kiln temp": fire.kiln, "T1": fire.room, "T2": fire.kiln,
        "T3": fire.shelf,
    }  # fmt: skip
    rows = []
    for n, time in enumerate(times):
        for channel in which[2]:
            row = [*time, channel, write(in_unit(values[channel][n], spec.unit), spec.decimal)]
            if spec.layout == "long-unit":
                row.append("degC")
            rows.append(row)
    header = [*heads, which[0], which[1]]
    return header + (["Unit"] if spec.layout == "long-unit" else []), rows


def _ordered(
    damage: str, rows: list[list[str]], keep: list[int], fire: Firing, started: datetime | None
) -> tuple[list[list[str]], list[int], tuple[float, ...], datetime | None]:
    """Put rows in the order a logger left them in."""
    n = len(rows)
    time_s = fire.time_s
    third = n // 3
    if damage == "newest-first":
        rows = rows[::-1]
    elif damage == "block-late":
        rows = rows[:60] + rows[120:] + rows[60:120]
    elif damage == "block-early":
        rows = rows[60:120] + rows[:60] + rows[120:]
    elif damage == "swapped":
        for at in range(10, n - 10, 7):
            rows[at], rows[at + 1] = rows[at + 1], rows[at]
    elif damage == "shuffled":
        random.Random(3).shuffle(rows)
    elif damage == "doubled":
        rows = [row for row in rows for _ in (0, 1)]
    elif damage == "block-twice":
        rows = rows[:150] + rows[100:]
    elif damage == "sorted-as-text":
        rows = sorted(rows)
    elif damage.startswith("stop"):
        rows = rows[:third]
        keep = keep[:third]
    return rows, keep, time_s, started


def _text(spec: Spec, header: list[str], rows: list[list[str]]) -> bytes:
    table = [header, *rows] if spec.header else rows
    if spec.units_row is not None:
        table = [header, list(spec.units_row), *rows]
    lines = _joined(table, spec.sep, spec.quote_all)
    if spec.sep == "md":
        lines.insert(1, "|" + "---|" * len(header))
    head = len(table) - len(rows)
    body = lines[head + (1 if spec.sep == "md" else 0) :]
    lines = [*spec.above, *lines[: len(lines) - len(body)], *body]
    top = len(lines) - len(body)
    lines = _damaged_lines(spec, lines, top)
    data = (spec.line_end.join(lines) + spec.line_end).encode(spec.encoding, "replace")
    return _damaged_bytes(spec, data)


def _damaged_lines(spec: Spec, lines: list[str], top: int) -> list[str]:
    n = len(lines)
    half = (n + top) // 2
    match spec.damage:
        case "separator-changes":
            lines = lines[:half] + [line.replace(spec.sep, ";") for line in lines[half:]]
        case "separator-changes-tab":
            lines = lines[:half] + [line.replace(spec.sep, "\t") for line in lines[half:]]
        case "column-added":
            lines = lines[:half] + [line + spec.sep + "1" for line in lines[half:]]
        case "column-added-header":
            more = [line + spec.sep + "7" for line in lines[half:]]
            lines = [*lines[:half], lines[top - 1] + spec.sep + "Segment", *more]
        case "column-inserted-header":
            cut = [line.split(spec.sep) for line in lines]
            more = [spec.sep.join([c[0], "3", *c[1:]]) for c in cut[half:]]
            head = cut[top - 1]
            lines = [*lines[:half], spec.sep.join([head[0], "Segment", *head[1:]]), *more]
        case "columns-swapped-header":
            cut = [line.split(spec.sep) for line in lines]
            more = [spec.sep.join([c[0], *reversed(c[1:])]) for c in cut[half:]]
            head = cut[top - 1]
            lines = [*lines[:half], spec.sep.join([head[0], *reversed(head[1:])]), *more]
        case "header-again":
            lines = lines[:half] + lines[:top] + lines[half:]
        case "header-each-page":
            found = []
            for at, line in enumerate(lines):
                if at > top and (at - top) % 50 == 0:
                    found += ["", lines[top - 1]]
                found.append(line)
            lines = found
        case "decimal-changes":
            lines = lines[:half] + [line.replace(".", ",") for line in lines[half:]]
        case "blank-lines":
            lines = [more for line in lines for more in (line, "")]
        case "event-rows":
            lines = [*lines[:half], "--- lid opened ---", "*** note: vent closed", *lines[half:]]
        case "summary-below":
            lines = [*lines, "", "Max" + spec.sep + "1000.1", "Min" + spec.sep + "19.2", "End"]
        case "open-readings":
            for at in range(top + 100, top + 104):
                lines[at] = re.sub(r"[0-9.]+$", "OL", lines[at])
        case "spaces-around":
            lines = [f"  {line.replace(spec.sep, ' ' + spec.sep + ' ')}  " for line in lines]
        case "trailing":
            lines = [line + spec.sep for line in lines]
        case "leading":
            lines = [spec.sep + line for line in lines]
        case "prefix":
            lines = [line if at < top else "DATA " + line for at, line in enumerate(lines)]
        case "log-prefix":
            lines = [line if at < top else "INFO: " + line for at, line in enumerate(lines)]
        case "ansi":
            lines = [f"\x1b[32m{line}\x1b[0m" for line in lines]
        case "comments":
            lines = [more for at, line in enumerate(lines) for more in (
                (line,) if at % 40 or at < top else ("# checked", line))]  # fmt: skip
        case "sep-line":
            lines = [f"sep={spec.sep}", *lines]
        case "key-value":
            names = lines[top - 1].split(spec.sep)
            lines = [
                spec.sep.join(f"{k}={v}" for k, v in zip(names, line.split(spec.sep), strict=True))
                for line in lines[top:]
            ]
        case "open-quote":
            lines[half] = '"' + lines[half]
    return lines


def _damaged_bytes(spec: Spec, data: bytes) -> bytes:
    cut = data.find(b"\n", len(data) // 2) + 1
    match spec.damage:
        case "nul-middle":
            return data[:cut] + b"\0" * 4096 + data[cut:]
        case "nul-end":
            return data + b"\0" * 30_000
        case "nul-start":
            return b"\0" * 512 + data
        case "nul-many":
            return data[:cut] + b"\0" * (2 * len(data)) + data[cut:]
        case "ff-end":
            return data + b"\xff" * 8000
        case "ctrl-z":
            return data + b"\x1a"
        case "bom-twice":
            return b"\xef\xbb\xbf" + data[:cut] + b"\xef\xbb\xbf" + data[cut:]
        case "mixed-ends":
            return data[:cut].replace(b"\n", b"\r\n") + data[cut:]
        case "form-feed":
            return data[:cut] + b"\x0c" + data[cut:]
        case "lf-cr":
            return data.replace(b"\n", b"\n\r")
        case "crcrlf":
            return data.replace(b"\n", b"\r\r\n")
        case "cut-last":
            return data[:-4]
        case "binary-block":
            return data[:cut] + bytes(range(128, 256)) * 4 + b"\n" + data[cut:]
    return data


def _contained(spec: Spec, header: list[str], rows: list[list[str]]) -> tuple[bytes, str]:
    text = _text(replace(spec, container=""), header, rows)
    match spec.container:
        case "gz":
            return gzip.compress(text), ".csv.gz"
        case "bz2":
            return bz2.compress(text), ".csv.bz2"
        case "zip":
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w") as archive:
                archive.writestr("log.csv", text)
            return out.getvalue(), ".zip"
        case "jsonl":
            lines = [
                json.dumps(dict(zip(header, map(_json_value, row), strict=True))) for row in rows
            ]
            return ("\n".join(lines) + "\n").encode(), ".jsonl"
        case "jsonl-lists":
            return "\n".join(json.dumps([*map(_json_value, row)]) for row in rows).encode(), ".json"
        case "json":
            records = [dict(zip(header, map(_json_value, row), strict=True)) for row in rows]
            return json.dumps(records, indent=1).encode(), ".json"
        case "json-wrapped":
            records = [dict(zip(header, map(_json_value, row), strict=True)) for row in rows]
            return json.dumps({"device": "kiln", "data": records}).encode(), ".json"
        case "json-columns":
            columns = {h: [_json_value(row[n]) for row in rows] for n, h in enumerate(header)}
            return json.dumps(columns).encode(), ".json"
        case "json-nested":
            lines = [
                json.dumps({header[0]: row[0], "data": {header[1]: _json_value(row[1])}})
                for row in rows
            ]
            return "\n".join(lines).encode(), ".jsonl"
        case "xlsx":
            return _xlsx(header, rows), ".xlsx"
        case "xlsx-dates":
            return _xlsx(header, rows, dates=True), ".xlsx"
        case "ods":
            return _ods(header, rows), ".ods"
        case "xls":
            return bytes.fromhex("d0cf11e0a1b11ae1") + b"\0" * 4000, ".xls"
        case "html":
            cells = [
                "<tr>" + "".join(f"<td>{cell}</td>" for cell in row) + "</tr>"
                for row in [header, *rows]
            ]
            return ("<html><table>" + "\n".join(cells) + "</table></html>").encode(), ".html"
        case "xml":
            cells = [f"<r><t>{row[0]}</t><v>{row[1]}</v></r>" for row in rows]
            return ("<?xml version='1.0'?><log>" + "\n".join(cells) + "</log>").encode(), ".xml"
        case "pdf":
            return b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n" + bytes(range(256)) * 8, ".pdf"
        case "png":
            return b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 8, ".png"
        case "sqlite":
            return b"SQLite format 3\0" + bytes(range(256)) * 8, ".db"
        case "rtf":
            return b"{\\rtf1\\ansi " + text.replace(b"\n", b"\\par\n") + b"}", ".rtf"
        case "numbers":
            out = io.BytesIO()
            with zipfile.ZipFile(out, "w") as archive:
                archive.writestr("Index/Document.iwa", b"\0\1\2")
            return out.getvalue(), ".numbers"
    raise ValueError(spec.container)


def _json_value(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text


def _xlsx(header: list[str], rows: list[list[str]], *, dates: bool = False) -> bytes:
    """Write a workbook of one sheet by hand (ECMA-376): numbers, and texts inline."""

    def cell(text: str) -> str:
        if dates and re.fullmatch(r"\d{4}-\d\d-\d\d \d\d:\d\d:\d\d", text):
            serial = _serial(datetime.fromisoformat(text), datetime(1899, 12, 30))
            return f'<c s="1"><v>{serial:.9f}</v></c>'
        if re.fullmatch(r"-?\d+(\.\d+)?", text):
            return f"<c><v>{text}</v></c>"
        return f'<c t="inlineStr"><is><t>{text}</t></is></c>'

    sheet = "".join(f"<row>{''.join(map(cell, row))}</row>" for row in [header, *rows])
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    office = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    kinds = "application/vnd.openxmlformats-officedocument.spreadsheetml"
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as book:
        book.writestr(
            "[Content_Types].xml",
            '<?xml version="1.0"?><Types xmlns="http://schemas.openxmlformats.org/package/2006/'
            'content-types"><Default Extension="rels" ContentType="application/vnd.openxmlformats-'
            'package.relationships+xml"/><Default Extension="xml" ContentType="application/xml"/>'
            f'<Override PartName="/xl/workbook.xml" ContentType="{kinds}.sheet.main+xml"/>'
            f'<Override PartName="/xl/styles.xml" ContentType="{kinds}.styles+xml"/>'
            f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{kinds}.worksheet+xml"/>'
            "</Types>",
        )
        book.writestr(
            "_rels/.rels",
            f'<?xml version="1.0"?><Relationships xmlns="{package}"><Relationship Id="r1" '
            f'Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
        )
        book.writestr(
            "xl/workbook.xml",
            f'<?xml version="1.0"?><workbook xmlns="{main}" xmlns:r="{office}"><sheets><sheet '
            'name="Log" sheetId="1" r:id="r1"/></sheets></workbook>',
        )
        book.writestr(
            "xl/_rels/workbook.xml.rels",
            f'<?xml version="1.0"?><Relationships xmlns="{package}"><Relationship Id="r1" '
            f'Type="{office}/worksheet" Target="worksheets/sheet1.xml"/><Relationship Id="r2" '
            f'Type="{office}/styles" Target="styles.xml"/></Relationships>',
        )
        book.writestr(
            "xl/styles.xml",
            f'<?xml version="1.0"?><styleSheet xmlns="{main}"><fonts count="1"><font/></fonts>'
            '<fills count="1"><fill/></fills><borders count="1"><border/></borders>'
            '<cellStyleXfs count="1"><xf/></cellStyleXfs><cellXfs count="2"><xf numFmtId="0"/>'
            '<xf numFmtId="22" applyNumberFormat="1"/></cellXfs></styleSheet>',
        )
        book.writestr(
            "xl/worksheets/sheet1.xml",
            f'<?xml version="1.0"?><worksheet xmlns="{main}"><sheetData>{sheet}</sheetData>'
            "</worksheet>",
        )
    return out.getvalue()


def _ods(header: list[str], rows: list[list[str]]) -> bytes:
    """Write an OpenDocument spreadsheet of one sheet by hand (ISO/IEC 26300)."""
    spaces = "urn:oasis:names:tc:opendocument:xmlns"

    def cell(text: str) -> str:
        if re.fullmatch(r"-?\d+(\.\d+)?", text):
            kind = f'office:value-type="float" office:value="{text}"'
        else:
            kind = 'office:value-type="string"'
        return f"<table:table-cell {kind}><text:p>{text}</text:p></table:table-cell>"

    table = "".join(
        f"<table:table-row>{''.join(map(cell, row))}</table:table-row>" for row in [header, *rows]
    )
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as book:
        book.writestr("mimetype", "application/vnd.oasis.opendocument.spreadsheet")
        book.writestr(
            "META-INF/manifest.xml",
            f'<?xml version="1.0"?><manifest:manifest xmlns:manifest="{spaces}:manifest:1.0">'
            '<manifest:file-entry manifest:full-path="/" manifest:media-type="application/vnd.'
            'oasis.opendocument.spreadsheet"/><manifest:file-entry manifest:full-path="content.xml"'
            ' manifest:media-type="text/xml"/></manifest:manifest>',
        )
        book.writestr(
            "content.xml",
            f'<?xml version="1.0" encoding="UTF-8"?><office:document-content '
            f'xmlns:office="{spaces}:office:1.0" xmlns:table="{spaces}:table:1.0" '
            f'xmlns:text="{spaces}:text:1.0" office:version="1.2"><office:body>'
            f'<office:spreadsheet><table:table table:name="Log">{table}</table:table>'
            "</office:spreadsheet></office:body></office:document-content>",
        )
    return out.getvalue()


# ---------------------------------------------------------------------------------- all of them

_F = (("unit", "F"),)
_MV = (("thermocouple_type", "K"), ("junction_c", "22"))


def specs() -> dict[str, tuple[str, Spec]]:
    """Return every dialect: family and what to write, by name."""
    found: dict[str, tuple[str, Spec]] = {}

    def add(family: str, name: str, **rest: Any) -> None:
        found[f"{family}: {name}"] = (family, Spec(**rest))

    for time, style in TIMES.items():
        sep = next(s for s in (",", ";", "\t", "|") if s not in style.unfit)
        refuse = time in ("filetime", "julian", "no-year", "week-date")
        add("time", time, time=time, sep=sep, refuse=refuse)
        if not style.unfit:
            add("time semicolon", time, time=time, sep=";", decimal=",", refuse=refuse)
        bare = " " not in "".join(style.cells(START, 0.0, 0))
        if bare and "" not in style.heads and "date-" not in time:
            add("time spaces", time, time=time, sep=" ", refuse=refuse, kiln_head="Kiln_C",
                    units_row=None)  # fmt: skip
    for lang in WORDS:
        add("language", f"{lang} plain", lang=lang)
        add("language", f"{lang} set point first", lang=lang, layout="sp-first", sep=";",
            decimal=",")  # fmt: skip
        add("language", f"{lang} room first", lang=lang, layout="room-first", sep="\t")
        add("language", f"{lang} no units", lang=lang, layout="sp-first", kiln_head="{}")
        add("language", f"{lang} date and clock", lang=lang, time="iso|clock", sep=";")
        add("language", f"{lang} all", lang=lang, layout="sp-room-kiln", kind="glaze", sep=";",
            decimal=",", time="dmy.")  # fmt: skip
    for encoding, lang in (
        ("cp1252", "de"), ("cp1252", "fr"), ("cp1250", "pl"), ("cp1250", "cs"), ("shift_jis", "ja"),
        ("gb18030", "zh"), ("utf-16", "ja"), ("utf-8-sig", "zh"), ("utf-16-le", "de"),
        ("utf-16-be", "fr"), ("euc_jp", "ja"), ("cp437", "en"), ("mac_roman", "fr"),
        ("utf-32", "en"), ("latin-1", "sv"), ("cp850", "da"), ("utf-7", "en"),
    ):  # fmt: skip
        add("encoding", f"{encoding} {lang}", encoding=encoding, lang=lang, layout="sp-first",
            sep=";")  # fmt: skip
    for kind in ("bisque", "glaze", "decal", "low"):
        for head in ("{} (°F)", "{} F", "{}_F", "{} [deg F]", "{} Fahrenheit", "{} °F", "{}, F"):
            if kind in ("bisque", "decal"):
                add("unit F", f"{head} {kind}", unit="F", kind=kind, kiln_head=head, sep=";")
        add("unit F", f"untold {kind}", unit="F", kind=kind, kiln_head="{}", answers=_F, ask=True)
        add(
            "unit F", f"C/F {kind}", unit="F", kind=kind, kiln_head="Temp C/F", answers=_F, ask=True
        )
        add("unit F", f"C or F {kind}", unit="F", kind=kind, kiln_head="Temp (°C/°F)", answers=_F,
            ask=True)  # fmt: skip
        add("unit F", f"units word {kind}", unit="F", kind=kind, kiln_head="{}",
            above=("Unit: Fahrenheit",), sep=";")  # fmt: skip
        add("unit F", f"glued {kind}", unit="F", kind=kind, kiln_head="{}", glue="°F")
        add("unit F", f"unit column {kind}", unit="F", kind=kind, layout="unit-column",
            kiln_head="{}")  # fmt: skip
        add("unit F", f"wrongly C {kind}", unit="F", kind=kind, kiln_head="{} (°C)", answers=_F,
            ask=True, refuse=kind == "low")  # fmt: skip
        add("unit C", f"untold {kind}", kind=kind, kiln_head="{}", answers=(("unit", "C"),))
        add("unit C", f"C/F {kind}", kind=kind, kiln_head="Temp C/F", answers=(("unit", "C"),),
            ask=True)  # fmt: skip
        add("unit C", f"hot start untold {kind}", kind=kind, kiln_head="{}",
            answers=(("unit", "C"),))  # fmt: skip
        for head in ("{} (K)", "{} [K]", "{} Kelvin", "{}_K", "T/K"):
            if kind in ("bisque", "glaze"):
                add("unit K", f"{head} {kind}", unit="K", kind=kind, kiln_head=head)
        add("unit K", f"untold {kind}", unit="K", kind=kind, kiln_head="{}",
            answers=(("unit", "K"),), ask=True)  # fmt: skip
        add("unit K", f"above {kind}", unit="K", kind=kind, kiln_head="{}",
            above=("Temperature unit: Kelvin",), sep=";")  # fmt: skip
        for unit in ("C/10", "F/10", "C/100"):
            add("unit tenths", f"{unit} untold {kind}", unit=unit, kind=kind, kiln_head="Temp",
                answers=(("unit", unit),), ask=True)  # fmt: skip
        add("unit mV", f"untold {kind}", unit="mV", kind=kind, kiln_head="{}", ask=True,
            answers=(("unit", "mV"), *_MV))  # fmt: skip
        add("unit mV", f"stated {kind}", unit="mV", kind=kind, ask=True, answers=_MV)
    for head in (
        "{} (0.1 °C)", "{} (°C x10)", "{} [1/10 °C]", "{} (°C*10)", "{} dC", "{} (tenths °C)",
        "{} (0.1C)", "{} 0.1°C", "{}_x10",
    ):  # fmt: skip
        add("unit tenths", f"stated {head}", unit="C/10", kiln_head=head,
            answers=(("unit", "C/10"),), ask=True)  # fmt: skip
    add("unit mV", "with junction", unit="mV", layout="junction", ask=True, answers=_MV[:1])
    for row in (("", "°C"), ("yyyy-mm-dd", "°C"), ("-", "degC"), ("[time]", "[°C]")):
        add("units row", f"{row}", kiln_head="{}", units_row=row)
    for row in (("", "°F"), ("", "F"), ("date", "deg F"), ("", "Fahrenheit")):
        add("units row", f"{row} F", unit="F", kiln_head="{}", units_row=row)
    add("units row", "K", unit="K", kiln_head="{}", units_row=("", "K"))
    for number in NUMBERS:
        for decimal, sep in ((".", ";"), (",", ";"), (".", "\t")):
            ask = number in ("thousands-whole",)
            answers = (("decimal", decimal),)
            add("number", f"{number} {decimal} {sep!r}", number=number, decimal=decimal, sep=sep,
                kind="glaze", answers=answers, ask=ask)  # fmt: skip
    for number in ("thousands", "thousands-whole"):
        add("number", f"{number} quoted", number=number, quote_all='"', kind="glaze")
    add("number", "decimal comma quoted", decimal=",", quote_all='"')
    add("number", "decimal comma between commas", decimal=",", sep=",", refuse=True)
    add("number", "whole F", number="whole", unit="F", kind="glaze")
    for glue in GLUED:
        add("glued", f"{glue!r}", glue=glue, kiln_head="{}", sep=";", kind="glaze")
        add("glued", f"{glue!r} comma", glue=glue, kiln_head="{}", sep=";", decimal=",")
    for glue in GLUED_F:
        add("glued", f"{glue!r} F", glue=glue, unit="F", kiln_head="{}", sep=";", kind="glaze")
    layouts = listed(
        "shelf room-after room-first sp-first sp-after sp-room-kiln power-first status "
        "status-after number-after-kiln empty-before empty-after unused-channels unused-before "
        "unused-zeros unused-code t1-t2 temp1-temp2 ch1-ch2 board internal internal-hot cpu "
        "outside device unnamed-room case humidity battery target program demand desired goal "
        "reference command profile tsp tset sv-pv w-x unnamed-sp temp1-sp t1-t2-sp wanted "
        "preset ordered zones error-column rate-column both-units both-units-f-first unit-column "
        "min-max long long-kiln-first long-sensor long-number long-sp long-unit long-three"
    )
    channel = {
        "t1-t2": "T2", "temp1-temp2": "Temp 2", "ch1-ch2": "CH2", "unnamed-room": "B",
        "unnamed-sp": "B", "temp1-sp": "Temp2", "t1-t2-sp": "T2", "w-x": "x", "min-max": "Avg",
        "unused-zeros": "CH2", "unused-code": "CH2", "case": "Hot", "board": "Temp",
        "command": "Fbk", "goal": "Now", "wanted": "Got", "tsp": "T_act", "tset": "Tmeas",
        "long": "Kiln", "long-sensor": "28-bb", "long-number": "2", "long-three": "T2",
        "internal": "External", "cpu": "Probe", "outside": "Sensor", "device": "TC1",
    }  # fmt: skip
    for layout in layouts:
        head = "{}" if layout in ("unit-column",) else None
        answers = (("channel", channel[layout]),) if layout in channel else ()
        for sep, decimal in ((",", "."), (";", ",")):
            for kind in ("glaze", "decal"):
                if kind == "decal" and (sep == ";" or "sp" not in layout):
                    continue
                add("layout", f"{layout} {sep} {kind}", layout=layout, sep=sep, decimal=decimal,
                    kind=kind, kiln_head=head, answers=answers)  # fmt: skip
    for layout in ("room-first", "sp-first", "t1-t2", "unnamed-sp"):
        add("layout", f"{layout} no header", layout=layout, header=False,
            answers=(("channel", "2"),))  # fmt: skip
    for sep in (",", ";", "\t", "|", "fixed", "~", "^", "::", " ; ", ", ", " | ", "md", "/", "#",
                "  ", "\u00a6", "_"):  # fmt: skip
        time = "iso" if sep not in ("fixed", "  ") else "iso-t"
        refuse = sep in ("/", "_")
        add("separator", f"{sep!r}", sep=sep, layout="shelf", time=time, refuse=refuse,
            answers=(("delimiter", sep.strip() or sep),))  # fmt: skip
        add("separator", f"{sep!r} elapsed", sep=sep, time="elapsed-s", kiln_head="Kiln_C",
            refuse=refuse, answers=(("delimiter", sep.strip() or sep),))  # fmt: skip
    for damage in listed(
        "separator-changes separator-changes-tab column-added column-added-header "
        "column-inserted-header columns-swapped-header header-again "
        "header-each-page "
        "decimal-changes blank-lines event-rows summary-below open-readings spaces-around "
        "trailing leading "
        "prefix log-prefix ansi comments sep-line key-value open-quote nul-middle nul-end "
        "nul-start nul-many ff-end ctrl-z bom-twice mixed-ends form-feed lf-cr crcrlf cut-last "
        "binary-block newest-first block-late block-early swapped shuffled doubled "
        "block-twice stop"
    ):
        sep = ";" if damage == "decimal-changes" else ","
        for layout in ("shelf", "sp-first"):
            add("damage", f"{damage} {layout}", damage=damage, layout=layout, sep=sep)
    for line_end in ("\r\n", "\r", "\u2028", "\x0b"):
        add("damage", f"line end {line_end!r}", line_end=line_end)
    for quote in ('"', "'", "“", "`"):
        add("quotes", f"{quote}", quote_all=quote, layout="shelf")
        add("quotes", f"{quote} comma", quote_all=quote, layout="shelf", decimal=",", sep=";")
    for container in listed(
        "gz bz2 zip jsonl jsonl-lists json json-wrapped json-columns json-nested xlsx xlsx-dates "
        "ods xls html xml pdf png sqlite rtf numbers"
    ):
        refuse = container in listed(
        "bz2 xls html xml pdf png sqlite rtf numbers zip jsonl-lists json-nested"
    )  # fmt: skip
        add("container", container, container=container, refuse=refuse)
    for container in ("jsonl", "json", "xlsx", "ods", "gz"):
        add("container", f"{container} set point first", container=container, layout="sp-first")
        add("container", f"{container} F", container=container, unit="F", kind="glaze",
            kiln_head="temp_f")  # fmt: skip
    for above in (
        ("Kiln log of the workshop", "Serial: 1234567", ""),
        ("# Logger v2", "# started 2026-11-24 18:40"),
        ("Device;Kiln;;", "Location;Shed;;", ";;;"),
        ("[Header]", "Samples=300", "[Data]"),
        ("Start: 24/11/2026", "Limit: 1300 °C", "Interval: 120 s"),
        tuple(f"Setting {n}: {n * 3}" for n in range(60)),
    ):
        add("preamble", above[0][:20], above=above, layout="shelf")
    return found


def jumped() -> list[Case]:
    """Logs whose clock was set while they ran, or whose logger began again."""
    found = []
    base = build("base", "clock", Spec())

    def write(
        name: str, stamps: Sequence[str], head: str, truth: Sequence[float], **rest: Any
    ) -> None:
        lines = [f"{head},Kiln (°C)"]
        lines += [f"{t},{c:.1f}" for t, c in zip(stamps, base.kiln_c, strict=True)]
        data = ("\n".join(lines) + "\n").encode()
        case = replace(base, name=f"clock: {name}", data=data, time_s=tuple(truth), **rest)
        found.append(case)

    half = len(base.time_s) // 3  # in the middle of the climb
    late = int(len(base.time_s) * 0.9)  # while it cools
    wall = [START + timedelta(seconds=s) for s in base.time_s]
    for where, at in (("climbing", half), ("cooling", late)):
        for name, before, after in (
            ("2000 to 2026", timedelta(days=-9824), timedelta(0)),
            ("forward 1 h", timedelta(0), timedelta(hours=1)),
            ("forward 6 h", timedelta(0), timedelta(hours=6)),
            ("back 1 h", timedelta(0), timedelta(hours=-1)),
            ("back 5 h", timedelta(0), timedelta(hours=-5)),
            ("forward 3 days", timedelta(0), timedelta(days=3)),
            ("back to 1970", timedelta(0), datetime(1970, 1, 1) - wall[at]),
            ("back 20 min", timedelta(0), timedelta(minutes=-20)),
        ):
            stamps = [
                f"{m + (before if n < at else after):%Y-%m-%d %H:%M:%S}" for n, m in enumerate(wall)
            ]
            write(f"{name} {where}", stamps, "Time", base.time_s, started=None,
                  answers={"restart_pause_s": "0m"}, ask=True)  # fmt: skip
        stamps = [f"{s if n < at else s - base.time_s[at]:.0f}" for n, s in enumerate(base.time_s)]
        write(f"elapsed restarts {where}", stamps, "Time (s)", base.time_s, started=None,
              answers={"restart_pause_s": "0m"}, ask=True)  # fmt: skip
    # a real interruption of the logger, not of its clock: three hours are missing
    at = half
    truth = [s if n < at else s + 3 * 3600.0 for n, s in enumerate(base.time_s)]
    kiln = [c if n < at else max(20.0, c - 150.0) for n, c in enumerate(base.kiln_c)]
    base = replace(base, kiln_c=tuple(round(c, 1) for c in kiln))
    stamps = [f"{START + timedelta(seconds=s):%Y-%m-%d %H:%M:%S}" for s in truth]
    write("a real gap", stamps, "Time", truth, started=START)
    return found


def hostile() -> list[Case]:
    """Files of loggers that help nobody: units that change, counts, odd clocks, odd tables."""
    found: list[Case] = []
    base = build("base", "hostile", Spec())
    kiln, count = base.kiln_c, len(base.kiln_c)
    wall = [START + timedelta(seconds=s) for s in base.time_s]
    plain = [f"{value:.1f}" for value in kiln]
    in_f = [f"{value * 1.8 + 32.0:.1f}" for value in kiln]
    room = [f"{19.0 + n % 3 / 10:.1f}" for n in range(count)]
    iso = [f"{moment:%Y-%m-%d %H:%M}" for moment in wall]

    def write(name: str, text: str, **rest: Any) -> None:
        rest = {"started": None, "suffix": ".csv", **rest}
        data = text.encode()
        found.append(replace(base, name=f"hostile: {name}", data=data, **rest))

    def table(heads: str, *columns: Sequence[Any], sep: str = ",") -> str:
        rows = [sep.join(map(str, row)) for row in zip(*columns, strict=True)]
        return "\n".join([heads.replace(",", sep), *rows]) + "\n"

    # a display that was switched between °C and °F, and back
    for at in (20, count // 3, count // 2, int(0.9 * count)):
        for head in ("Kiln", "Kiln (°C)"):
            for name, one, two in (("F to C", in_f, plain), ("C to F", plain, in_f)):
                write(f"{name} at {at} of {head}", table(f"Time,{head}", iso, one[:at] + two[at:]))
    third = count // 3
    both = in_f[:third] + plain[third : 2 * third] + in_f[2 * third :]
    write("F to C and back", table("Time,Kiln", iso, both))
    # a clock that was set by some minutes
    for at in (third, int(0.55 * count), int(0.9 * count)):
        for minutes in (17, 8, 37, 60, -17):
            later = timedelta(minutes=minutes)
            stamps = [f"{w + (later if n >= at else timedelta(0))}" for n, w in enumerate(wall)]
            write(f"set by {minutes} min at {at}", table("Time,Kiln C", stamps, plain),
                  answers={"restart_pause_s": "0m"}, ask=True)  # fmt: skip
    # what a chip counts
    for parts, unit in ((2, "C/2"), (4, "C/4"), (16, "C/16"), (10, "C/10")):
        counts = [f"{value * parts:.0f}" for value in kiln]
        for head in ("value", "Kiln C"):
            name = f"counts of 1/{parts} as {head}"
            write(name, table(f"Time,{head}", iso, counts), answers={"unit": unit},
                  refuse=unit == "C/2", tol_c=0.6)  # fmt: skip
    kelvin = [f"{value * 10.0 + 2731.5:.0f}" for value in kiln]
    for head in ("Temp (0.1 K)", "Temp"):
        write(f"tenths of a kelvin as {head}", table(f"Time,{head}", iso, kelvin),
              answers={"unit": "K/10"})  # fmt: skip
    converter = [f"{value / 1350.0 * 1023.0:.0f}" for value in kiln]
    write("a converter's counts", table("Time,adc", iso, converter), refuse=True, answers={})
    # odd moments
    epoch = [_epoch_utc(moment) for moment in wall]
    since_1858 = [f"{_serial(moment, datetime(1858, 11, 17)):.6f}" for moment in wall]
    roman = listed("I II III IV V VI VII VIII IX X XI XII")
    odd: dict[str, tuple[str, list[str]]] = {
        "0930": ("Time", [f"{moment:%H%M}" for moment in wall]),
        "930": ("Time", [str(int(f"{moment:%H%M}")) for moment in wall]),
        "yymmddhhmmss": ("Time", [f"{moment:%y%m%d%H%M%S}" for moment in wall]),
        "ddmmyyhhmm": ("Time", [f"{moment:%d%m%y%H%M}" for moment in wall]),
        "date and hhmm": ("Date,HHMM", [f"{moment:%Y%m%d,%H%M}" for moment in wall]),
        "MJD": ("MJD", since_1858),
        "JD": ("JD", [f"{float(day) + 2400000.5:.6f}" for day in since_1858]),
        "epoch not yet set": ("epoch", [f"{e if n > 8 else 12 + 120 * n:.0f}"
                                        for n, e in enumerate(epoch)]),
        "T+": ("t", [f"T+{s:.0f}s" for s in base.time_s]),
        "millis full": ("millis()", [f"{(1000 * s + 4_294_000_000) % 2**32:.0f}"
                                     for s in base.time_s]),
        "seconds of the day": ("sec", [f"{(s + 67_200) % 86_400:.0f}" for s in base.time_s]),
        "Czech": ("Čas", [f"{m.day}. {m.month}. {m.year} {m:%H:%M}" for m in wall]),
        "Roman month": ("Date", [f"{m.day}.{roman[m.month - 1]}.{m.year} {m:%H:%M}" for m in wall]),
        "weekday": ("Time", [f"{moment:%a %H:%M}" for moment in wall]),
        "ordinal": ("Time", [f"{moment:%Y.%j %H:%M:%S}" for moment in wall]),
        "narrow space": ("Time", [f"{m:%m/%d/%Y} {_h12(m, False)}".replace(" P", "\u202fP")
                                  .replace(" A", "\u202fA") for m in wall]),
        "time left": ("Remaining", [_hms(base.time_s[-1] - s) for s in base.time_s]),
        "long mm:ss": ("Elapsed", [f"{s // 60:.0f}:{s % 60:02.0f}" for s in base.time_s]),
    }  # fmt: skip
    for name, (head, cells) in odd.items():
        write(f"moment {name}", table(f"{head},Kiln C", cells, plain),
              answers={"date_order": "ymd" if name.startswith("yy") else "dmy",
                       "time_unit": "min", "restart_pause_s": "0m"}, ask=True)  # fmt: skip
    lines, day = ["Time;Kiln C"], ""
    for moment, cell in zip(wall, plain, strict=True):
        if f"{moment:%d.%m.%Y}" != day:
            day = f"{moment:%d.%m.%Y}"
            lines.append(day)
        lines.append(f"{moment:%H:%M};{cell}")
    write("dates on lines of their own", "\n".join(lines) + "\n", started=START)
    # odd tables
    for name, quoted in (("three quotes", '"""{}"""'), ("whole lines", '"{}"')):
        rows = ["Time,Kiln C", *map(",".join, zip(iso, plain, strict=True))]
        if name == "three quotes":
            rows = [",".join(quoted.format(cell) for cell in row.split(",")) for row in rows]
        else:
            rows = [quoted.format(row) for row in rows]
        write(name, "\n".join(rows) + "\n", started=START)
    for mark in ("~", "^", "\x1f"):
        write(f"mark {mark!r}", table("Time,Kiln C", iso, plain, sep=mark), started=START)
    write("a number before each row", table("Time,Kiln C", range(count), iso, plain))
    write("milliseconds behind a comma", table("Time,Kiln C", [f"{m}:00,037" for m in iso], plain))
    newest = "".join(f"{m},{c}\n" for m, c in reversed(list(zip(iso, plain, strict=True))))
    write("header below, newest first", f"{newest}Time,Kiln C\n", answers={"unit": "C"})
    blocks = [table("Time,C", iso, cells) for cells in (plain, room)]
    write("a block a sensor", f"Kiln\n{blocks[0]}\nRoom\n{blocks[1]}", answers={"part": 1})
    write("a block a sensor, room first", f"Room\n{blocks[1]}\nKiln\n{blocks[0]}",
          answers={"part": 2})  # fmt: skip
    half = third
    swapped = table("Time,Kiln C,Room C", iso, plain[:half] + room[half:],
                    room[:half] + plain[half:])  # fmt: skip
    added = table("Time,Kiln C", iso, [c if n < half else f"{room[n]},{c}"
                                       for n, c in enumerate(plain)])  # fmt: skip
    grouped = table("Time,Kiln C", iso, [f"{value:,.1f}" for value in kiln])
    middle = (count + 1) // 2
    beside = table("Time,Kiln C,,Time,Kiln C", iso[: count - middle], plain[: count - middle],
                   [""] * (count - middle), iso[middle:], plain[middle:])  # fmt: skip
    hours = ["Hour," + ",".join(f":{minute:02d}" for minute in range(0, 60, 2))]
    hours += [f"{n}," + ",".join(plain[30 * n : 30 * n + 30]) for n in range(count // 30)]
    for name, text in (("columns change places", swapped), ("a column added", added),
                       ("commas for thousands", grouped), ("blocks side by side", beside),
                       ("a row an hour", "\n".join(hours) + "\n")):  # fmt: skip
        write(name, text, refuse=True, answers={})
    return found


def cases() -> list[Case]:
    """Return every case."""
    written = [build(name, family, spec) for name, (family, spec) in specs().items()]
    return written + jumped() + hostile()


def mixtures(count: int = 100, seed: int = 20_26) -> list[Case]:
    """Return cases that draw every axis by lot."""
    chance = random.Random(seed)
    found: list[Case] = []
    times = [t for t in TIMES if t not in ("filetime", "julian", "no-year", "week-date")]
    while len(found) < count:
        sep = chance.choice([",", ";", "\t", "|", ";", ","])
        decimal = chance.choice([".", ","]) if sep != "," else "."
        time = chance.choice(times)
        if sep in TIMES[time].unfit:
            continue
        unit = chance.choice(listed("C C F K C/10 mV"))
        told = chance.random() < 0.6
        answers = [("unit", unit), *(_MV if unit == "mV" else ())]
        layout = chance.choice(
            listed(
                "plain shelf room-first sp-first sp-room-kiln status t1-t2 unnamed-sp board "
                "target power-first empty-before"
            )
        )  # fmt: skip
        spec = Spec(
            kind=chance.choice(list(PEAKS)),
            unit=unit,
            time=time,
            lang=chance.choice(list(WORDS)),
            sep=sep,
            decimal=decimal,
            number=chance.choice(listed("plain plain plain two plus scientific")),
            layout=layout,
            kiln_head=None if told else "{}",
            damage=chance.choice(
                [
                    "",
                    "",
                    "",
                    "newest-first",
                    "block-late",
                    "header-again",
                    "blank-lines",
                    "nul-middle",
                    "summary-below",
                    "mixed-ends",
                    "trailing",
                    "doubled",
                    "swapped",
                ]
            ),
            answers=tuple(answers),
            ask=True,
        )
        found.append(build(f"mixture {seed}-{len(found)}: {spec}", "mixture", spec))
    return found


# ---------------------------------------------------------------------------------- the score

_OPTION = re.compile(r"--([a-z-]+)(?:[ =]+([^\s,;)]+))?")
_NAMES = {
    "unit": "unit", "time-unit": "time_unit", "date-order": "date_order", "zone": "zone",
    "delimiter": "delimiter", "decimal": "decimal", "encoding": "encoding",
    "skip-lines": "skip_lines", "column": "columns", "thermocouple-type": "thermocouple_type",
    "junction": "junction_c", "restart-pause": "restart_pause_s", "part": "part",
    "channel": "channel", "as-logged": "as_logged", "with-gaps": "with_gaps",
}  # fmt: skip
_LEADS_ON = re.compile(
    r"--[a-z]|export|save|write|give|say |open it|unpack|convert|install|copy", re.I
)


@dataclass(frozen=True)
class Outcome:
    """What became of a case, and the words it came with."""

    verdict: str
    words: str
    told: dict[str, str]


def _read(path: Path, told: dict[str, str]) -> tuple[Any, int, str]:
    """Read a log as the commands do; return the log and its kiln channel, or the refusal."""
    from firing.errors import FiringError
    from firing.logs.options import ReadingOptions
    from firing.logs.reader import open_log

    values: dict[str, Any] = dict(told)
    channel = values.pop("channel", None)
    for name in ("junction_c",):
        if name in values:
            values[name] = float(values[name])
    if str(values.get("part")).isdigit():
        values["part"] = int(values["part"])
    if "restart_pause_s" in values:
        values["restart_pause_s"] = 0.0
    if "columns" in values:
        name, _, role = values["columns"].rpartition("=")
        values["columns"] = {name: role}
    try:
        log, number = open_log(path, channel, ReadingOptions(**values))
    except FiringError as fault:
        return None, 0, str(fault)
    except Exception as fault:  # what nobody foresaw: the worst answer of all
        return None, 0, f"TRACEBACK {type(fault).__name__}: {fault}"
    return log, number, " | ".join(log.notes)


def _compare(case: Case, log: Any, number: int) -> str:
    """Say whether a log is exact, wrong, or has lost readings."""
    import numpy as np

    at = np.asarray(log.trace.time_s)
    values = np.asarray(log.trace.temperature_c)[:, number]
    truth_s, truth_c = np.asarray(case.time_s), np.asarray(case.kiln_c)
    truth_s = truth_s - truth_s[0]
    known = np.isfinite(values)
    if not known.any():
        return "lost"
    # a log may have lost its first rows: times are compared from the best shift of a few rows
    best = (-1, 0.0)
    for shift in truth_s[:12]:
        nearest = np.clip(np.searchsorted(truth_s, at + shift - 60.0), 0, truth_s.size - 1)
        nearest = np.where(truth_s[nearest] < at + shift - case.tol_s, nearest + 1, nearest)
        nearest = np.clip(nearest, 0, truth_s.size - 1)
        good = known & (np.abs(truth_s[nearest] - at - shift) <= case.tol_s)
        good &= np.abs(truth_c[nearest] - values) <= case.tol_c
        best = max(best, (int(good.sum()), float(shift)))
    right = best[0]
    wrong = int(known.sum()) - right
    if wrong > 0.01 * known.sum():
        return "wrong"
    if case.started is not None:
        started = log.trace.started
        if started is None:
            return "lost"
        begun = case.started + timedelta(seconds=best[1])
        written = started if begun.tzinfo else started.replace(tzinfo=None)
        if abs((written - begun).total_seconds()) > 2.0:
            return "wrong"
    return "exact" if right >= 0.98 * truth_s.size else "lost"


def _named(words: str) -> dict[str, set[str]]:
    """Return the options that a text names, and the values it gives them."""
    found: dict[str, set[str]] = {}
    for option, value in _OPTION.findall(words):
        if option in _NAMES:
            bare = value.strip("\"'").rstrip(".")
            found.setdefault(_NAMES[option], set()).add(bare)
    return found


def score(case: Case, folder: Path) -> Outcome:
    """Read a case, take the advice it comes with, and say what became of it."""
    path = folder / f"log{case.suffix}"
    path.write_bytes(case.data)
    told: dict[str, str] = {}
    first = ""
    first_words = ""
    for _ in range(5):
        log, number, words = _read(path, told)
        state = "refused" if log is None else _compare(case, log, number)
        if not first:
            first, first_words = state, words
        if state == "exact":
            break
        named = _named(words)
        step = _next_step(case, named, told)
        if step is None:
            break
        told.update(step)
    if first == "exact":
        return Outcome("exact", first_words, {})
    if state == "exact":
        verdict = "settled" if first == "refused" else "noted"
        return Outcome(verdict, first_words, told)
    if words.startswith("TRACEBACK"):
        return Outcome("traceback", words, told)
    if first == "refused" and state == "refused":
        if case.refuse and _LEADS_ON.search(words):
            return Outcome("refused", words, told)
        return Outcome("dead end", words, told)
    if first == "refused":
        return Outcome("misled", f"{first_words} -> {words}", told)
    return Outcome("silent" if first == "wrong" else first, first_words, told)


def _next_step(
    case: Case, named: dict[str, set[str]], told: dict[str, str]
) -> dict[str, str] | None:
    """Return the next option that a person who knows the truth would give, of those named."""
    for option, values in named.items():
        if option in told:
            continue
        if option in case.answers:
            answer = case.answers[option]
            lists = {v for v in values if v and re.fullmatch(r"[A-Za-z0-9/.,-]+", v)}
            if option in ("unit", "time_unit", "date_order") and lists and answer not in lists:
                continue  # the answer is not among those offered
            return {option: answer}
        if option in ("columns", "with_gaps", "as_logged"):
            for value in values:
                if option == "columns" and "=" in value:
                    return {option: value.replace('"', "")}
    return None


@contextmanager
def machine_in(zone: str) -> Iterator[None]:
    """Let this machine's zone be another."""
    before = os.environ.get("TZ")
    os.environ["TZ"] = zone
    tzset()
    try:
        yield
    finally:
        if before is None:
            del os.environ["TZ"]
        else:
            os.environ["TZ"] = before
        tzset()


def tally(found: Sequence[Case], folder: Path) -> tuple[Counter[str], dict[str, Outcome]]:
    """Score many cases, as in Berlin, so that a clock in UTC is told from the wall's."""
    with machine_in("Europe/Berlin"):
        outcomes = {case.name: score(case, folder) for case in found}
    return Counter(outcome.verdict for outcome in outcomes.values()), outcomes


def main() -> None:
    """Print the score of all cases, and what became of those that are not read as they are."""
    import sys
    import tempfile

    wanted = sys.argv[1:]
    seeds = [int(word) for word in wanted if word.isdigit()] or [2026]
    lots = [case for seed in seeds for case in mixtures(seed=seed)]
    chosen = lots if "mixtures" in wanted else cases()
    with tempfile.TemporaryDirectory() as folder:
        counts, outcomes = tally(chosen, Path(folder))
    shown = set(wanted) or {"silent", "lost", "dead end", "misled", "noted", "traceback"}
    for name, outcome in outcomes.items():
        if outcome.verdict in shown or ("mixtures" in wanted and outcome.verdict != "exact"):
            print(
                f"{outcome.verdict:9} {name[:150]}\n          {outcome.told} {outcome.words[:300]}"
            )
    print(len(chosen), dict(counts))


if __name__ == "__main__":
    main()
