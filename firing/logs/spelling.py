"""A log's text put into the one spelling that the reader knows; every line stays where it is.

Loggers, spreadsheets and phones write one moment in a hundred ways.  The grammar of times and the
parser of numbers know one way each.  Rules here carry the others over, on whole lines and before
the columns are known, as a date may hold the very mark that stands between columns.  A rule is used
only where a sample of the lines shows its spelling, so a plain log is looked at and left alone.
"""

import re
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache
from itertools import pairwise

from firing.logs.vocabulary import IANA_ZONE, ZONE_HOURS

Rewrite = Callable[[re.Match[str]], str]

_SAMPLE_BYTES = 8192
_COMMON = 0.3
"""A spelling that this share of the lines shows is the log's own."""


@dataclass(frozen=True, eq=False)
class Respelled:
    """The text, the time zone its lines name, and the names its lines give their cells."""

    body: bytes
    zone: str | None = None
    names: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class _Rule:
    pattern: re.Pattern[str]
    rewrite: Rewrite | str
    least: float = _COMMON  # share of the sampled lines that have to show it


# Months and weekdays

_MONTH_STEMS = (
    "jan|gen|ene|ian|sty|tammi|led|ledna|oca|sij|jaan|saus|янв|яну|січ|ιαν|1월|јан|一月|ינו|يناير",
    "feb|fév|fev|févr|lut|helmi|úno|února|şub|velj|veebr|vas|фев|лют|φεβ|φλεβ|феб|二月|פבר|فبراير",
    "mar|mär|mrt|maa|maalis|bře|března|már|ožu|kov|мар|бер|μαρ|μάρ|mac|三月|מרץ|مارس",
    "apr|avr|abr|kwi|huhti|dub|ápr|nis|tra|bal|апр|кві|απρ|四月|אפר|أبريل",
    "mai|may|maj|maí|mag|mei|touko|kvě|května|máj|svi|geg|мая|май|мај|тра|μαι|μαΐ|μάι|五月|מאי|مايو",
    "jun|jūn|juin|giu|iun|ιουν|ιούν|cze|kesä|čvn|června|červen|jún|haz|lipnj|birž|июн|юни|чер|јун|六月|יונ|يونيو",
    "jul|jūl|juil|lug|iul|ιουλ|ιούλ|lip|heinä|čvc|července|júl|temmuz|tem|srpnj|liep|июл|юли|лип|јул|七月|יול|يوليو",
    "aug|août|aout|ago|agu|avg|ágú|sie|elo|srp|ağu|kol|rugp|авг|сер|αυγ|αύγ|ogos|八月|אוג|أغسطس",
    "sep|set|wrz|syys|zář|szept|eyl|ruj|rugs|сен|сеп|вер|σεπ|九月|ספט|سبتمبر",
    "oct|okt|ott|out|paź|loka|říj|eki|spal|окт|жов|οκτ|十月|אוק|أكتوبر",
    "nov|nóv|noi|lis|marras|kas|stu|lapkr|ноя|ное|лис|νοε|νοέ|нов|十一月|נוב|نوفمبر",
    "dec|dez|dic|déc|des|gru|joulu|pro|ara|dets|дек|гру|δεκ|dis|дец|十二月|דצמ|ديسمبر",
)
_OTHER_MONTH_STEMS = (  # Thai, Hindi and Persian, whose letters carry marks
    "ม.ค|มกราคม|जनवरी|ژانویه",
    "ก.พ|กุมภาพันธ์|फरवरी|फ़रवरी|فوریه",
    "มี.ค|มีนาคม|मार्च",
    "เม.ย|เมษายน|अप्रैल|آوریل",
    "พ.ค|พฤษภาคม|मई|مه",
    "มิ.ย|มิถุนายน|जून|ژوئن",
    "ก.ค|กรกฎาคม|जुलाई|ژوئیه",
    "ส.ค|สิงหาคม|अगस्त|اوت",
    "ก.ย|กันยายน|सितंबर|सितम्बर|سپتامبر",
    "ต.ค|ตุลาคม|अक्टूबर|अक्तूबर|اکتبر",
    "พ.ย|พฤศจิกายน|नवंबर|नवम्बर|نوامبر",
    "ธ.ค|ธันวาคม|दिसंबर|दिसम्बर|دسامبر",
)
_MONTH_OF = {
    stem: n
    for rows in (_MONTH_STEMS, _OTHER_MONTH_STEMS)
    for n, row in enumerate(rows, start=1)
    for stem in row.split("|")
}
_STEMS = sorted(_MONTH_OF, key=len, reverse=True)
_ANY_STEM = "|".join(map(re.escape, _STEMS))
_LETTER = r"[^\W\d_]"
_MON = rf"(?<!{_LETTER})(?!temp)(?P<mon>(?:{_ANY_STEM}){_LETTER}{{0,9}})(?!{_LETTER})\.?"
_WEEKDAY_STEMS = (
    "mon|tue|wed|thu|fri|sat|sun|mo|di|mi|do|fr|sa|so|lun|mar|mer|jeu|ven|sam|dim|mié|mie|jue|vie"
    "|sáb|sab|dom|gio|ma|wo|za|zo|seg|ter|qua|qui|sex|mån|tis|ons|tor|fre|lör|sön|pon|wto|śro|czw"
    "|pią|sob|nie|man|tir|lør|søn"
)
_WEEKDAY = (
    rf"(?<!{_LETTER})(?:(?:{_WEEKDAY_STEMS})(?!{_LETTER})|{_LETTER}{{2,7}}(?:day|tag|dag|di|d[iì])"
    rf"(?!{_LETTER})|mittwoch|dimanche|lunes|martes|mi[eé]rcoles|jueves|viernes|s[aá]bado|domingo"
    r"|sabato|domenica|segunda|ter[cç]a|quarta|quinta|sexta|poniedzia[lł]ek|wtorek|[sś]roda"
    r"|czwartek|pi[aą]tek|sobota|niedziela)(?:-feira)?[.,]*\s+"
)
_CLOCK = r"\d{1,2}:\d{2}(?::\d{2}(?:[.,]\d{1,9})?)?"
_NUMERIC_DATE = r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2}))"
_EDGE = r"(?<![\w.,:/+-])"


def _month(word: str) -> int:
    bare = word.casefold()
    return next(_MONTH_OF[stem] for stem in _STEMS if bare.startswith(stem))


def month_number(word: str) -> int | None:
    """Return the number of a month called by its name, or by the beginning of it."""
    match = re.fullmatch(_MON, word.strip(), re.I)
    return None if match is None else _month(match["mon"])


def _iso(year: str, month: int | str, day: str) -> str:
    full = f"20{year}" if len(year) == 2 else year
    return f"{full}-{int(month):02d}-{int(day):02d}"


def _day_month_year(match: re.Match[str]) -> str:
    return _iso(match["y"], _month(match["mon"]), match["d"])


def _year_month_day(match: re.Match[str]) -> str:
    return _iso(match["d"], _month(match["mon"]), match["y"])


def _ctime(match: re.Match[str]) -> str:
    zone = match["zone"] or ""
    day = _iso(match["y"], _month(match["mon"]), match["d"])
    return f"{day} {match['clock']}{' ' + zone if zone else ''}"


def _day_of_year(day: int, month: int) -> int:
    try:
        return date(2001, month, day).timetuple().tm_yday
    except ValueError:
        return 0


def _without_year(match: re.Match[str]) -> str:
    """Write a date without a year as the count of days that an elapsed clock may have."""
    month = _month(match["mon"]) if "mon" in match.re.groupindex else int(match["m"])
    count = _day_of_year(int(match["d"]), month) if 1 <= month <= 12 else 0
    return f"{count} {match['clock']}" if count else match[0]


def _ordinal(match: re.Match[str]) -> str:
    day = date(int(match["y"]), 1, 1) + timedelta(days=int(match["n"]) - 1)
    return f"{day.isoformat()}T"


def _week_date(match: re.Match[str]) -> str:
    try:
        day = date.fromisocalendar(int(match["y"]), int(match["w"]), int(match["n"]))
    except ValueError:
        return match[0]
    return f"{day.isoformat()}T"


# Zones

_DEGREES = r"(?: ?(?:[°º]? ?[CFK]|[°º]|deg(?:rees?)?\.?(?: ?[CFK])?|grad|celsius|fahrenheit))?"
_HALF = r"(?:\s?[AaPp]\.?[Mm]\.?)?"


def _zone_word(match: re.Match[str]) -> str:
    hours = ZONE_HOURS[match["zone"]]
    return f"{match['clock']}{'-' if hours < 0 else '+'}{abs(hours):02d}:00"


def _zone_offset(match: re.Match[str]) -> str:
    return f"{match['clock']}{match['sign']}{int(match['h']):02d}:{match['m'] or '00'}"


# Clocks and durations

_DURATION_WORDS = (
    r"(?:(?P<d>\d{1,3}) ?(?:d|days?|tage?|jours?|d[ií]as?|giorni?|dagen|dage?|dagar|日|天|일)"
    r" ?,? ?)?"
    r"(?:(?P<h>\d{1,4}) ?(?:h|hrs?|hours?|std\.?|stunden?|heures?|horas?|ore|ora|uur|uren|tim"
    r"|timm(?:e|ar)|timer|godz\.?|h:|t|tuntia?|時間|小时|小時|시간)"
    r",? ?(?:and |und |et |y |e |i |og )?)?"
    r"(?:(?P<m>\d{1,5}) ?(?:mins?|minutes?|minuten?|minut[io]s?|minuter|minut|m|'|′|分钟"
    r"|分鐘|分|분)\.?,? ?(?:and |und |et |y |e |i |og )?)?"
    r"(?:(?P<s>\d{1,7}(?:[.,]\d{1,6})?) ?(?:s|secs?|seconds?|sek\.?|sekunden?|secondes?|segundos?"
    r"|secondi|''|″|\"|秒|초))?"
)
_ISO_DURATION = (
    r"P(?:(?P<d>\d{1,3})D)?T?(?:(?P<h>\d{1,4})H)?(?:(?P<m>\d{1,5})M)?"
    r"(?:(?P<s>\d{1,7}(?:[.,]\d{1,6})?)S)?"
)
_CELL_BEGIN = r"(?:^|(?<=[;,\t|]))[ ]*"
_FIRST_END = r"(?=[ ]*(?:[;,\t|]|$)|[ ]+[+-]?\d[\d.,]*(?:[ ;,\t|]|$))"


def _duration(match: re.Match[str]) -> str:
    parts = [match[name] for name in "dhms"]
    if not any(parts):
        return match[0]
    days, hours, minutes = (int(part or 0) for part in parts[:3])
    second = float((parts[3] or "0").replace(",", "."))
    total_s = ((days * 24 + hours) * 60 + minutes) * 60 + second
    return _clock_of(total_s)


def _clock_of(total_s: float) -> str:
    whole = int(total_s)
    part = f"{total_s - whole:.3f}"[1:] if total_s != whole else ""
    return f"{whole // 3600}:{whole % 3600 // 60:02d}:{whole % 60:02d}{part}"


def _measured(match: re.Match[str]) -> str:
    factor = {"m": 60.0, "h": 3600.0, "d": 86400.0, "s": 1.0}[match["unit"][0].casefold()]
    if match["unit"].casefold() in ("ms", "msec", "millis"):
        factor = 0.001
    return _clock_of(float(match["n"].replace(",", ".")) * factor)


def _half_before(match: re.Match[str]) -> str:
    hour = int(match["h"]) % 12 + (12 if match["half"].upper() in _AFTERNOON else 0)
    return f"{hour:02d}:{match['rest']}"


_FORENOON, _AFTERNOON = ("上午", "午前", "오전", "AM"), ("下午", "午後", "오후", "PM")


def _padded_clock(match: re.Match[str]) -> str:
    return f"{match['date']}{match['t']}{match['h']}:{int(match['m']):02d}:{int(match['s']):02d}"


def _marked_clock(match: re.Match[str]) -> str:
    second = f":{int(match['s']):02d}" if match["s"] else ""
    return f"{match['date']}T{int(match['h']):02d}:{int(match['m']):02d}{second}"


def _day_and_month(match: re.Match[str]) -> str:
    """Write a date without a year as a count of days, the first of its numbers the day's."""
    count = _day_of_year(int(match["a"]), int(match["b"]))
    return f"{count} {match['clock']}" if count else match[0]


def _month_and_day(match: re.Match[str]) -> str:
    count = _day_of_year(int(match["b"]), int(match["a"]))
    return f"{count} {match['clock']}" if count else match[0]


def _month_stands_first(text: str) -> bool:
    """Tell whether 03/05 begins with its month: what is no month is a day, and days go on."""
    seen = {(int(m["a"]), int(m["b"])) for m in re.finditer(_YEARLESS, text)}
    firsts, seconds = ({pair[at] for pair in seen} for at in (0, 1))
    if max(firsts, default=0) > 12 or max(seconds, default=0) > 12:
        return max(firsts, default=0) <= 12
    return len(firsts) < len(seconds)


_ROMAN = ("I", "II", "III", "IV", "V", "VI", "VII", "VIII", "IX", "X", "XI", "XII")


def _reign(match: re.Match[str]) -> str:
    return f"{int(match['n']) + 2018}年"


def _digits(match: re.Match[str]) -> str:
    second = f":{match['S']}" if match["S"] else ""
    return f"{match['y']}-{match['m']}-{match['d']}T{match['H']}:{match['M']}{second}"


def _short_digits(match: re.Match[str]) -> str:
    second = f":{match['S']}" if match["S"] else ""
    day = f"{match['a']}/{match['b']}/{match['c']}"
    return f"{day} {match['H']}:{match['M']}{second}"


_YMD = r"(?P<y>(?:19|20)\d\d)(?P<m>0[1-9]|1[0-2])(?P<d>0[1-9]|[12]\d|3[01])"
_HMS = r"(?P<H>[01]\d|2[0-4])(?P<M>[0-5]\d)(?P<S>[0-5]\d)?"


# Numbers and quotes

_WIDE = dict(zip("．：，；－＋／　％٫＂", '.:,;-+/ %."', strict=True)) | {"℃": "°C", "℉": "°F"}


def _plain_signs(match: re.Match[str]) -> str:
    """Write the digits of every script, and wide marks, as plain ones."""
    sign = match[0]
    return _WIDE[sign] if sign in _WIDE else str(unicodedata.decimal(sign))


_QUOTED = (
    r"(?:^|(?<=[;,\t|]))(?P<space>[ ]*)"
    r"(?:'(?P<a>[^'\n]*)'|[`´](?P<b>[^`´\n]*)[`´]|[“”„‟](?P<c>[^“”„\n]*)[“”‟]|[«»](?P<d>[^«»\n]*)[«»]"
    r"|‘(?P<e>[^‘’\n]*)’|「(?P<f>[^」\n]*)」)(?=[ ]*(?:[;,\t|]|$))"
)


def _double_quoted(match: re.Match[str]) -> str:
    inside = next(match[name] for name in "abcdef" if match[name] is not None)
    return f'{match["space"]}"{inside}"'


def _rule(
    pattern: str, rewrite: Rewrite | str, least: float = _COMMON, flags: int = re.IGNORECASE
) -> _Rule:
    return _Rule(re.compile(pattern, re.M | flags), rewrite, least)


_ANY = 0.0
_YEARLESS = rf"{_EDGE}(?P<a>\d{{1,2}})[-/](?P<b>\d{{1,2}}) +(?P<clock>{_CLOCK})"
_ALWAYS = 0.98
"""Digits that only happen to be a date are none on every line."""
_BY_SIGN = 2.0  # such a spelling holds plain ones too: something odd in it has to show
_DATE = rf"(?P<date>{_NUMERIC_DATE})"
_MON_STEM = rf"(?!temp)(?P<mon>(?:{_ANY_STEM}){_LETTER}{{0,9}})"
_ISO_DATE = r"\g<y>-\g<m>-\g<d>"
_UNITS_OF_TIME = (
    "ms|msec|millis|s|secs?|seconds?|sek|mins?|minutes?|minuten|h|hrs?|hours?|std|stunden|d|days?"
)


@lru_cache(maxsize=1)
def _rules() -> tuple[_Rule, ...]:
    """Return the rules in the order they are used; a plain log never asks for them."""
    return (
        # signs
        _rule("\x1b\\[[0-9;?]*[A-Za-z]", "", _ANY),
        _rule(rf"[{''.join(_WIDE)}]|(?![0-9])\d", _plain_signs, _ANY),
        _rule(r"&deg;|Â(?=°)", lambda m: "°" if m[0] == "&deg;" else "", _ANY),
        _rule(r'"{3}(?P<in>[^"\n]*)"{3}', r'"\g<in>"'),
        _rule(
            rf"{_CELL_BEGIN}(?P<m>\d{{1,4}})['′] ?(?P<s>[0-5]?\d)(?:''|″)(?=[ ]*[;,\t|])",
            lambda m: _clock_of(60.0 * int(m["m"]) + int(m["s"])),
        ),
        # a row as a program prints or inserts it: ('2026-03-14 18:30', 980.5)
        _rule(
            r"^(?:insert into [^\n]*? values)?[^\d\n'\"(\[]*[(\[]"
            r"(?P<in>(?:\d+, ?)?['\"][^'\"\n]*['\"],[^()\[\]\n]*)[)\]][,;]?$",
            lambda m: m["in"].replace("'", '"'),
        ),
        # a whole line in quotation marks, as a spreadsheet writes a row that it took for one cell
        _rule(r'^"(?P<in>[^"\n]*[;,\t][^"\n]*)"$', r"\g<in>"),
        _rule(r"(?<=[\w)\"])[ ]*[~^][ ]*(?=[\w+\"-])", "\t"),
        _rule(r"(?<=\d) - (?=[+-]?\d{1,4}(?:[.,]\d+)?[ ]*$)", "\t"),
        _rule("(?<=\\d)[\u00a0\u202f\u2009](?=[ap]\\.?[ ]?m|\\d{1,2}:\\d\\d)", " "),
        _rule(r"(?<=\d)D(?=[+-]\d\d(?!\d))", "E"),
        _rule(r"(?<=\d)·(?=\d)", "."),
        _rule(r"(?<=\d)[\u00a0\u202f\u2009’'_](?=\d{3}(?![\d_]))", "", _ANY),
        _rule(
            r"(?<=[;\t|])(?P<n>[+-]?[1-9]\d{0,2}) (?P<g>\d{3})(?=[.,;\t|\n]|$)", r"\g<n>\g<g>", _ANY
        ),
        _rule(r"[ ]*(?:::|¦|‖|｜)[ ]*", "\t"),
        # a sentence of an instrument, its checksum behind a star: $XX,183000.00,140326,980.5*5A
        _rule(
            r"^\$\w+,(?P<H>\d\d)(?P<M>\d\d)(?P<S>\d\d)(?:\.\d+)?,(?P<d>\d\d)(?P<m>\d\d)(?P<y>\d\d)"
            r"(?P<rest>,[^*\n]*)\*[0-9A-F]{2}[ ]*$",
            r"20\g<y>-\g<m>-\g<d> \g<H>:\g<M>:\g<S>\g<rest>",
        ),
        # a point of a time series: its names, its fields and nanoseconds since 1970
        _rule(
            r"^[a-z_][^ \n]*[ ](?P<fields>[^ \n]*=[^ \n]*)[ ](?P<ns>\d{19})$", r"\g<ns>,\g<fields>"
        ),
        _rule(r"(?<=[;,\t|])[ ]*[a-z_]{1,12}[ ]?[=:][ ]?(?=[+-]?\d)", ""),
        # a ditto mark stands for the cell above, as an empty one does in a column of dates
        _rule(r"(?:^|(?<=[;,\t|]))[ ]*(?:\"|''|〃|″)[ ]*(?=[;,\t|])", ""),
        _rule(r'"=""(?P<in>[^"\n]*)"""', r'"\g<in>"'),
        _rule(r'(?<![^;,\t|\n])""(?P<in>[^"\n;,\t|]+)""(?=[;,\t|]|$)', r'"\g<in>"'),
        _rule(r'(?<![^;,\t|\n])=(?=")', ""),
        _rule(_QUOTED, _double_quoted, flags=0),
        _rule(r"(?<![^;,\t|\n])'(?=\d)", ""),
        _rule(r"(?:^|(?<=[;,\t| ]))\[(?P<in>\d[^\]\n]*\dz?)\](?=[;,\t| ]|$)", r"\g<in>"),
        _rule(
            r"(?<![^;,\t|\n])(?:\((?P<in>\d[^()\n;\t|]*:\d\d)\)|#(?P<on>\d[^#\n]*:\d\d)#)"
            r"(?=[;,\t|]|$)",
            lambda m: m["in"] or m["on"],
        ),
        _rule(r"(?<![^;,\t|\n])(?:DT#|@(?=\d{9,13}(?!\d))|T?\+(?=\d{1,3}:\d\d)|T\+(?=\d))", ""),
        _rule(r"/Date\((?P<in>\d{12,13})(?:[+-]\d{4})?\)/", r"\g<in>"),
        _rule(r"(?<![^;,\t|\n])[~≈](?=[+-]?\d)", ""),
        _rule(r"(?<=\d)[*_](?=[ ]*(?:[;,\t|]|$))", ""),
        # dates
        _rule(r"(?<=[+-]\d{4}) \([a-z][a-z ]{1,40}\)", ""),
        _rule(
            rf"{_EDGE}(?P<a>\d{{1,2}}) (?P<b>\d{{1,2}}) (?P<y>20\d\d) (?=\d{{1,2}}:\d\d)",
            r"\g<a>/\g<b>/\g<y> ",
        ),
        _rule(rf"{_EDGE}(?P<y>20\d\d) (?P<m>\d\d) (?P<d>\d\d) (?=\d{{1,2}}:\d\d)", _ISO_DATE + " "),
        _rule(
            rf"{_EDGE}(?P<d>\d{{1,2}})\.[ ]?(?P<mon>I{{1,3}}|IV|VI{{0,3}}|IX|XI{{0,2}}|X)\.[ ]?"
            r"(?P<y>\d{4})(?!\d)",
            lambda m: _iso(m["y"], _ROMAN.index(m["mon"].upper()) + 1, m["d"]),
        ),
        _rule(
            rf"{_EDGE}(?P<d>\d{{1,2}})\. (?P<m>\d{{1,2}})\. ?(?P<y>\d{{4}})(?!\d)",
            lambda m: _iso(m["y"], m["m"], m["d"]),
        ),
        _rule(r"令和(?P<n>\d{1,2})年", _reign),
        _rule(
            rf"{_EDGE}R(?P<y>\d{{1,2}})[./](?P<m>\d{{1,2}})[./](?P<d>\d{{1,2}})(?=[ T])",
            lambda m: _iso(str(int(m["y"]) + 2018), m["m"], m["d"]),
        ),
        _rule(
            r"(?P<y>\d{4})[年년] ?(?P<m>\d{1,2})[月월] ?(?P<d>\d{1,2})[日일] ?",
            lambda m: _iso(m["y"], m["m"], m["d"]) + " ",
        ),
        _rule(rf"(?<=\d)[ ]?[(（](?:[月火水木金土日一二三四五六天]|{_WEEKDAY_STEMS})[)）]", ""),
        _rule(rf"{_WEEKDAY}(?={_CLOCK}|{_NUMERIC_DATE}|\d{{1,2}}[-. ]{_LETTER}|{_MON})", ""),
        _rule(
            rf"{_MON} +(?P<d>\d{{1,2}}) (?P<clock>{_CLOCK})(?: (?P<zone>[A-Z]{{2,5}}))? "
            r"(?P<y>\d{4})(?!\d)",
            _ctime,
        ),
        _rule(
            rf"{_EDGE}(?P<y>\d{{4}})[-/. ]{{0,2}}{_MON_STEM}\.?[-/. ]?(?P<d>\d{{1,2}})(?!\d)",
            _day_month_year,
        ),
        _rule(
            rf"{_EDGE}(?P<d>\d{{1,2}})(?:st|nd|rd|th|er|\.)?[-/. ]*(?:de |of )?{_MON_STEM}\.?"
            r"(?:,? ?de[l]? |[-/., ]*)(?P<y>\d{4}|\d{2})(?!\d)",
            _day_month_year,
        ),
        _rule(
            rf"{_MON}[- ]+(?P<d>\d{{1,2}})(?:st|nd|rd|th)?,?[- ]+"
            r"(?P<y>\d{4}|\d{2}(?= \d\d?:))(?!\d)",
            _day_month_year,
        ),
        _rule(rf"{_MON} +(?P<d>\d{{1,2}}) +(?P<clock>{_CLOCK})", _without_year),
        _rule(
            rf"{_EDGE}(?P<y>\d{{4}})\. ?(?P<m>\d{{1,2}})\. ?(?P<d>\d{{1,2}})\.?(?= )",
            lambda m: _iso(m["y"], m["m"], m["d"]),
        ),
        _rule(rf"{_DATE}(?:\.| ?г\.?)(?= +\d{{1,2}}:)", r"\g<date>"),
        _rule(rf"{_EDGE}(?P<d>\d{{1,2}})\.(?P<m>\d{{1,2}})\.? +(?P<clock>{_CLOCK})", _without_year),
        _rule(_YEARLESS, _day_and_month),
        _rule(rf"{_EDGE}(?P<y>\d{{4}})[-/.]?(?P<n>[0-3]\d\d)[T -](?=\d\d:?\d\d)", _ordinal),
        _rule(rf"{_EDGE}(?P<y>\d{{4}})-?W(?P<w>\d\d)-?(?P<n>[1-7])[T ](?=\d\d:?\d\d)", _week_date),
        _rule(
            rf"{_EDGE}(?P<y>(?:19|20)\d\d):(?P<m>\d\d):(?P<d>\d\d) (?=\d\d:\d\d)", _ISO_DATE + " "
        ),
        _rule(rf"{_EDGE}{_YMD}[T_ -]?{_HMS}(?=[z.;,\t| +-]|$)", _digits),
        _rule(
            rf"{_EDGE}{_YMD}(?P<H>[01]\d|2[0-4])(?P<M>[0-5]\d)(?P<S>[0-5]\d)(?P<f>\d{{3}})(?!\d)",
            _ISO_DATE + r"T\g<H>:\g<M>:\g<S>.\g<f>",
        ),
        _rule(
            rf"{_EDGE}(?P<y>20\d\d)(?P<mark>[_:/.])(?P<m>\d\d)(?P=mark)(?P<d>\d\d)[_:/. T-]"
            r"(?P<H>\d\d)(?P=mark)(?P<M>\d\d)(?:(?P=mark)(?P<S>\d\d))?(?![\d:])",
            _digits,
        ),
        _rule(
            rf"{_EDGE}{_DATE}[T ](?P<H>[01]\d|2[0-4])(?P<M>[0-5]\d)(?P<S>[0-5]\d)?(?=[z;,\t|]|$)",
            lambda m: f"{m['date']} {m['H']}:{m['M']}" + (f":{m['S']}" if m["S"] else ""),
        ),
        _rule(r"(?<= )(?P<clock>\d\d:\d\d:\d\d):(?=\d{3}(?!\d))", r"\g<clock>."),
        _rule(
            rf"{_EDGE}(?P<a>[0-3]\d)(?P<b>[0-3]\d)(?P<c>[0-3]\d) (?=\d\d:\d\d)",
            r"\g<a>-\g<b>-\g<c> ",
            _ALWAYS,
        ),
        # a year of two digits: which of the three is the year is settled as in 24/11/26
        _rule(
            rf"{_CELL_BEGIN}(?P<a>[0-3]\d)(?P<b>[0-3]\d)(?P<c>[0-3]\d)(?P<H>[01]\d|2[0-3])"
            r"(?P<M>[0-5]\d)(?P<S>[0-5]\d)?(?=[ ]*[;,\t|])",
            _short_digits,
            _ALWAYS,
        ),
        _rule(rf"{_EDGE}{_YMD}(?=[ ;,\t|]+\d\d:\d\d)", _ISO_DATE),
        _rule(
            rf"{_EDGE}(?P<a>[0-3]\d)(?P<b>[0-3]\d)(?P<y>20\d\d)(?=[ ;,\t|]+\d\d:\d\d)",
            r"\g<a>/\g<b>/\g<y>",
        ),
        _rule(rf"(?<![^;,\t|\n]){_YMD}(?=[;,\t|]\d{{4}}[;,\t|])", _ISO_DATE),
        _rule(
            rf"{_EDGE}{_YMD}(?P<mark>[;,\t|])(?P<H>[01]?\d|2[0-4])(?P<M>[0-5]\d)(?P<S>[0-5]\d)"
            r"(?![\d.])",
            _ISO_DATE + r"\g<mark>\g<H>:\g<M>:\g<S>",
        ),
        _rule(
            r"^(?P<y>\d\d)(?P<m>0[1-9]|1[0-2])(?P<d>\d\d)(?P<mark>[ ;,\t|_])(?P<H>[01]\d|2[0-4])"
            r"(?P<M>[0-5]\d)(?P<S>[0-5]\d)(?![\d.])",
            _ISO_DATE + r"\g<mark>\g<H>:\g<M>:\g<S>",
        ),
        # clocks beside a date
        _rule(
            rf"{_DATE},? +(?:klo|kl\.?|um|om|at|à|alle|às|a las|-) +(?=\d{{1,2}}[.:]\d\d)",
            r"\g<date> ",
        ),
        _rule(
            rf"{_DATE}[T_ -](?P<h>\d{{1,2}})[.](?P<m>\d\d)"
            r"(?:[.](?P<s>\d\d)(?:\.0{1,9})?)?(?![\d.:])",
            _marked_clock,
        ),
        _rule(rf"{_DATE}[T_ -](?P<h>\d{{1,2}})-(?P<m>\d\d)-(?P<s>\d\d)(?!\d)", _marked_clock),
        _rule(
            rf"{_DATE},?[T_ -](?P<h>\d{{1,2}}) ?(?:h|時|时|시|Uhr) ?(?P<m>\d{{1,2}})"
            r"(?:(?:m|min|分|분|:) ?(?:(?P<s>\d{1,2})(?:s|秒|초)?)?)?(?!\d)",
            _marked_clock,
        ),
        _rule(
            rf"{_DATE}(?P<t>[T ])(?P<h>\d{{1,2}}):(?P<m>\d{{1,2}}):(?P<s>\d{{1,2}})(?![\d:])",
            _padded_clock,
            _BY_SIGN,
        ),
        _rule(
            rf"{_DATE}(?:[_:-]|,? +(?:at|um|kl\.?|om|à|alle|às) +)(?=\d{{1,2}}:\d\d)", r"\g<date>T"
        ),
        _rule(
            rf"(?<![\d:]) *(?P<half>{'|'.join(_FORENOON + _AFTERNOON)}) ?(?P<h>\d{{1,2}}):"
            r"(?P<rest>\d\d(?::\d\d)?)",
            lambda m: " " + _half_before(m),
        ),
        _rule(
            rf"(?:{_DATE}, )?(?P<clock>{_CLOCK}) (?:Uhr|h|hrs|o'clock)\b",
            lambda m: f"{m['date']} {m['clock']}" if m["date"] else m["clock"],
        ),
        _rule(
            rf"(?P<clock>{_CLOCK})[ ]?(?P<half>[πμ])\.?μ\.?",
            lambda m: f"{m['clock']} {'a' if m['half'] in 'πΠ' else 'p'}m",
        ),
        _rule(
            rf"(?P<clock>{_CLOCK})(?:[ \u00a0]*(?P<one>[ap])\. m\.?|(?P<two>[ap]))(?=[ ;,\t|]|$)",
            lambda m: f"{m['clock']} {m['one'] or m['two']}m",
        ),
        _rule(
            rf"{_EDGE}(?P<clock>{_CLOCK}{_HALF}),? {_DATE}(?![\d:])",
            r"\g<date> \g<clock>",
        ),
        # words between a clock and its reading: "07:05:00 INFO kiln 980 C"
        _rule(
            rf"(?P<clock>{_CLOCK}) +(?!(?:[ap]\.?m|utc|gmt|{'|'.join(ZONE_HOURS)})\b)"
            r"(?P<words>(?:[^\W\d][^\s\d,;|=]*:? +)+)"
            rf"(?=[+-]?\d+(?:[.,]\d+)?{_DEGREES}[ ]*$)",
            "\\g<clock>\t",
        ),
        # a label between a clock and its reading: "07:05 T: 980", "07:05 -> temp = 980"
        _rule(
            rf"(?P<clock>{_CLOCK}{_HALF})(?: +[^\d;,\t|\n]{{0,40}}[=:>] ?|: +)"
            r"(?=[+-]?\d[\d.,]*(?:[ ]?[°a-z]|[ ]*$))",
            "\\g<clock>\t",
        ),
        # zones
        _rule(
            rf"(?P<clock>{_CLOCK}{_HALF}) ?\(?(?P<zone>{'|'.join(ZONE_HOURS)})\)?(?![\w/])",
            _zone_word,
            flags=0,
        ),
        _rule(
            rf"(?P<clock>{_CLOCK}{_HALF}) ?(?:UTC|GMT) ?(?P<sign>[+-])(?P<h>\d{{1,2}})"
            r":?(?P<m>\d\d)?(?!\d)",
            _zone_offset,
        ),
        _rule(
            rf"{_CELL_BEGIN}(?P<h>\d{{1,2}}) ?[時时點点시] ?(?P<m>\d{{1,2}}) ?[分분]"
            r"(?: ?(?P<s>\d{1,2}) ?[秒초])?(?=[ ]*[;,\t|])",
            lambda m: f"{m['h']}:{int(m['m']):02d}" + (f":{int(m['s']):02d}" if m["s"] else ""),
        ),
        # clocks without minutes, or without a mark before them
        _rule(
            r"(?<![^;,\t|\n])(?P<h>1[0-2]|0?[1-9]) ?(?P<half>[ap])\.?m\.?(?=[ ]*[;,\t|]|$)",
            r"\g<h>:00 \g<half>m",
        ),
        _rule(
            r"(?<![^;,\t|\n])(?P<h>[01]\d|2[0-4])(?P<m>[0-5]\d) ?(?:h|hrs?|hours|uhr)"
            r"(?=[ ]*[;,\t|]|$)",
            r"\g<h>:\g<m>",
        ),
        # durations
        _rule(
            r"(?<![^;,\t|\n])(?P<d>0|[1-9]\d{0,2}):(?P<clock>[0-2]\d:[0-5]\d:[0-5]\d)(?=[;,\t|]|$)",
            r"\g<d> \g<clock>",
        ),
        _rule(
            r"(?<![^;,\t|\n])(?P<h>\d{1,3}) ?h ?(?P<m>[0-5]\d)(?:(?=[;,\t|]|$)|(?P<to>:? +)(?=\d))",
            lambda m: f"{m['h']}:{m['m']}" + ("\t" if m["to"] else ""),
        ),
        _rule(
            r"(?<![^;,\t|\n])(?P<m>\d{1,4}):(?P<s>[0-5]\d\.\d{1,3})(?=[ ]*[;,\t|]|$)",
            lambda m: _clock_of(60 * int(m["m"]) + float(m["s"])),
        ),
        _rule(rf"{_CELL_BEGIN}{_ISO_DURATION}{_FIRST_END}", _duration),
        _rule(rf"{_CELL_BEGIN}(?=\d+ ?[^\W\d_]){_DURATION_WORDS}{_FIRST_END}", _duration, _BY_SIGN),
        _rule(rf"^[ ]*(?P<n>\d+(?:[.,]\d+)?) ?(?P<unit>{_UNITS_OF_TIME}){_FIRST_END}", _measured),
        _rule(
            rf"^(?P<count>\d+[;,\t])[ ]*(?P<n>\d+(?:\.\d+)?) (?P<unit>{_UNITS_OF_TIME})"
            r"(?=[ ]*[;,\t])",
            lambda m: m["count"] + _measured(m),
        ),
    )


_IANA = rf"(?<=\d|[zZ]) ?[\[(]?(?P<zone>{IANA_ZONE})[\])]?"
_SINGLE_DIGITS = r"\d[T ](?:\d{1,2}:\d:\d{1,2}|\d{1,2}:\d{1,2}:\d)(?![\d:])"
_PAIR = r"[ ]*(?P<name>[^\W\d][\w .°%/()-]{0,40}?)[ ]*[=:][ ]*(?P<value>[^=;,\t|]*?)[ ]*"
_SHORT_YEAR = (
    rf"{_EDGE}(?P<a>\d\d)[-/. ]?(?P<mon>(?:{_ANY_STEM}){_LETTER}{{0,9}})\.?[-/. ]?"
    r"(?P<c>\d\d)(?!\d)"
)


_PLAIN = re.compile(
    r"(?!\"[^\"\n]*[;,\t][^\"\n]*\"[ ]*$)(?!(?:[0-3]\d){3}[0-2]\d[0-5]\d[;,\t])"
    r"[ ]*\"?(?:\d{4}-\d\d-\d\d[T ;,\t]\d\d:\d\d(?::\d\d)?(?:\.\d{1,6})?Z?"
    r"|\d{1,2}[./]\d{1,2}[./]\d{4}[ ;,\t]\d\d:\d\d(?::\d\d)?"
    r"|(?!(?:19|20)\d{6}[;,\t]\d{4}[;,\t])\d{1,10}(?:[.,]\d{1,4})?|\d{1,3}:\d\d(?::\d\d)?)\"?"
    r"(?:[;,\t][ ]?\"?[+-]?\d{0,4}(?:[.,]\d{1,4})?\"?)+[ ]*",
    re.ASCII,
)


def respell(body: bytes) -> Respelled:
    """Return a log's text with its times, numbers and quotes in the reader's own spelling."""
    sample = _sample(body)
    lines = [line for line in sample.split("\n") if line.strip()]
    if _parts_a_second(lines):
        body = _MILLISECONDS.sub(rb"\1.", body)
        sample = _sample(body)
        lines = [line for line in sample.split("\n") if line.strip()]
    plain = not re.search("[\u00a0\u202f\u2009’]|\\d_\\d{3}(?![\\d_])", sample)
    if not lines or (
        plain and sum(_PLAIN.fullmatch(line) is not None for line in lines) > 0.9 * len(lines)
    ):
        return Respelled(body)
    text: str | None = None
    zone: str | None = None
    if sum('{"' in line or "{'" in line for line in lines) > 0.9 * len(lines):
        # an object behind a clock: 07:05:00 {"temp": 980.5}
        body = _IN_BRACES.sub(r" \g<key>=\g<value>", _text(body)).replace("}", "").encode()
        sample = _sample(body)
        lines = [line for line in sample.split("\n") if line.strip()]
    found = re.search(_IANA, sample)
    if found:
        zone = found["zone"]
        text = re.sub(_IANA, "", _text(body))
        sample = re.sub(_IANA, "", sample)
    names = _pair_names(sample)
    keys = () if names else _spaced_keys(lines)
    if keys:
        body = "\n".join(_paired(line, keys) for line in _text(body).split("\n")).encode()
        text, sample = None, _sample(body)
        names = keys
    elif names:
        text = "\n".join(map(_without_names, (_text(body) if text is None else text).split("\n")))
        sample = "\n".join(map(_without_names, sample.split("\n")))
    prefix = common_prefix(lines)
    if prefix:
        begin = re.compile(rf"^{re.escape(prefix)}", re.M)
        text = begin.sub("", _text(body) if text is None else text)
        sample = begin.sub("", sample)
    for rule in _rules():
        if not _shown(rule, sample, len(lines)):
            continue
        if "words" in rule.pattern.groupindex and _take_turns(rule.pattern, sample):
            continue
        rewrite = rule.rewrite
        if rewrite is _day_month_year and _year_stands_first(sample if text is None else text):
            rewrite = _year_month_day
        if rewrite is _day_and_month and _month_stands_first(sample if text is None else text):
            rewrite = _month_and_day
        before = _text(body) if text is None else text
        text = rule.pattern.sub(rewrite, before)
        sample = rule.pattern.sub(rewrite, sample)
    return Respelled(body if text is None else text.encode(), zone, names)


_MILLISECONDS = re.compile(rb"(:\d\d:\d\d),(?=\d{3},)")


def _parts_a_second(lines: list[str]) -> bool:
    """Tell whether 18:40:00,037 has a decimal comma, as the header names a column less."""
    own = [_MILLISECONDS.search(line.encode()) is not None for line in lines[:60]]
    if len(own) < _FEW_LINES or own[0] or sum(own) < len(own) - 2:
        return False
    row = lines[own.index(True)]
    return lines[own.index(True) - 1].count(",") == row.count(",") - 1


_FEW_LINES = 10


def _text(body: bytes) -> str:
    return body.decode("utf-8", "replace")


def _sample(body: bytes) -> str:
    """Return whole lines of the head, the middle and the tail."""
    if len(body) <= 3 * _SAMPLE_BYTES:
        return _text(body)
    parts = [body[:_SAMPLE_BYTES]]
    for at in (len(body) // 2, len(body) - _SAMPLE_BYTES):
        parts.append(body[at : at + _SAMPLE_BYTES])
    return "\n".join(_text(part.partition(b"\n")[2].rpartition(b"\n")[0]) for part in parts)


def _shown(rule: _Rule, sample: str, lines: int) -> bool:
    """Tell whether a sample shows a rule's spelling often enough."""
    if rule.least == _BY_SIGN:
        if rule.rewrite is _padded_clock:  # only one minute in six is a single digit
            return re.search(_SINGLE_DIGITS, sample) is not None
        return len(re.findall(_WORDED, sample, re.M | re.I)) >= _COMMON * lines
    if rule.least == _ANY:
        return rule.pattern.search(sample) is not None
    return sum(1 for _ in rule.pattern.finditer(sample)) >= rule.least * lines


def _take_turns(pattern: re.Pattern[str], sample: str) -> bool:
    """Tell whether the words before readings say whose they are: they change with each line."""
    words = [match["words"] for match in pattern.finditer(sample)]
    turns = sum(one != two for one, two in pairwise(words))
    return turns > 0.5 * len(words) and len(set(words)) < 0.5 * len(words)


_WORDED = (
    r"(?:^|(?<=[;,\t|]))[ ]*\d+ ?(?:d|days?|h|hrs?|hours?|std\.?|stunden?|heures?|horas?|ore|uur"
    r"|tim|timer|godz\.?|t|mins?|minutes?|minuten|'|′|時間|小时|小時|시간)[^;\t|\n]*?\d"
)


def _year_stands_first(text: str) -> bool:
    """Tell by the nights whether 26-Nov-24 begins with its year: a firing goes on the next day."""
    seen = {(m["a"], _month(m["mon"]), m["c"]) for m in re.finditer(_SHORT_YEAR, text, re.I)}
    if len(seen) < 2:
        return False

    def span(year: int, day: int) -> int:
        days = []
        for one in seen:
            try:
                days.append(date(2000 + int(one[year]), one[1], int(one[day])).toordinal())
            except ValueError:
                return 10**6
        return max(days) - min(days)

    return span(0, 2) < span(2, 0)


def _pair_names(sample: str) -> tuple[str, ...]:
    """Return the names of cells written ``name=value`` on every line, or none."""
    lines = [line for line in sample.split("\n") if line.strip()][-40:]
    names: tuple[str, ...] = ()
    for line in lines:
        cells = re.split(r"[;,\t|]", line)
        found = [re.fullmatch(_PAIR, cell) if "=" in cell else None for cell in cells]
        if len(cells) < 2 or not all(found):
            return ()
        here = tuple(match["name"] for match in found if match is not None)
        if names and here != names:
            return ()
        names = here
    return names


_KEY = re.compile(
    r"(?:^|(?<=[\s\],;|]))(?!(?:h|hrs?|uhr):)(?P<key>[^\W\d][\w.-]{0,30})"
    r"(?:=(?P<value>[^\s=;,|]+)|: ?(?P<number>[+-]?\d+(?:[.,]\d+)*(?![\d:])[^\s:;,|]*))"
)
_IN_BRACES = re.compile(r"[{,]\s*[\"'](?P<key>\w+)[\"']\s*:\s*[\"']?(?P<value>[^\"',{}]*)[\"']?\s*")
_UP_TO_CLOCK = re.compile(
    r".*?\d{1,2}:\d\d(?::\d\d(?:[.,]\d+)?)?(?:Z|[+-]\d\d:?\d\d)?(?: [ap]m)?", re.I
)


def _spaced_keys(lines: list[str]) -> tuple[str, ...]:
    """Return the keys of lines that are a clock and pairs such as ``T1=20.1 T2=980``, or none."""
    found = [tuple(match["key"] for match in _KEY.finditer(line)) for line in lines[-40:]]
    if not found or not found[0] or any(keys != found[0] for keys in found):
        return ()
    begun = [line[: match.start()] for line in lines[-40:] if (match := _KEY.search(line))]
    if any(re.search(r"[;,\t|]", begin.replace(",", "", 1)) for begin in begun):
        return ()
    timed = all(map(_UP_TO_CLOCK.match, begun))
    if not timed and (any(map(str.strip, begun)) or len(found[0]) < 2):
        return ()
    return ("Time", *found[0]) if timed else found[0]


def _paired(line: str, keys: tuple[str, ...]) -> str:
    """Return the values of a line of pairs with tabs between them."""
    pairs = {match["key"]: match["value"] or match["number"] for match in _KEY.finditer(line)}
    if not pairs:
        return line
    clock = _UP_TO_CLOCK.match(line)
    first = (clock[0] if clock else "").strip("[>* ") if "Time" not in pairs else pairs["Time"]
    return "\t".join(first if key == "Time" else pairs.get(key, "") for key in keys)


def _without_names(line: str) -> str:
    return re.sub(r"(?:^|(?<=[;,\t|]))[^=;,\t|]*=[ ]*", "", line)


def common_prefix(lines: list[str]) -> str:
    """Return the word that stands before every line of readings, like ``DATA `` or ``INFO: ``."""
    filled = [line for line in lines if line.strip()]
    words = [re.match(rf"{_LETTER}[\w-]*:? +(?=\d)", line) for line in filled]
    known = [match[0] for match in words if match is not None]
    if len(known) < 0.8 * (len(filled) - 2) or len(filled) < 5:
        return ""
    if re.match(rf"{_WEEKDAY}|{_MON}", known[0], re.I):
        return ""
    same = all(one == two for one, two in pairwise(known))
    return known[0] if same else ""
