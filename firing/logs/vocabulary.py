"""What column names mean, in the languages that loggers and potters speak."""

import re
import unicodedata
from collections.abc import Sequence
from functools import lru_cache
from typing import Literal

from firing.logs.text import printable

HeadUnit = Literal["C", "F", "K"]
"""A unit of temperature that a file may state."""
Role = Literal[
    "time", "temperature", "emf", "set-point", "duty", "junction", "ambient", "other", "unknown"
]
TimeUnit = Literal["us", "ms", "s", "min", "h", "d"]

TIME_UNIT_S: dict[TimeUnit, float] = {
    "us": 1e-6, "ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0,
}  # fmt: skip

LONGEST_NAME = 200
"""Characters of a name, or of a line above the table, that are looked at: no damaged file may
keep the search for its unit busy."""

# a degree sign, or what other encodings make of one
_DEGREE = "[°º˚ø\ufffd]"
_TEMPERATURE_UNIT = (
    rf"(?:{_DEGREE}\s*(?P<sign>[cfk])|deg(?:rees?|\.)?\s*(?P<deg>[cfk])(?:elsius|ahrenheit|elvin)?"
    r"|(?P<word>celsius|fahrenheit|centigrade|kelvin))"
)
_STATED = re.compile(rf"{_TEMPERATURE_UNIT}(?![a-z])(?!\s*(?:/|per|pro|par|por)\s*[a-z])", re.I)
_BRACKETED = re.compile(
    r"[(\[{]\s*(?:0[.,]1\s*|1/10\s*)?(?P<letter>[cfk])\s*[)\]}]|[/,]\s*(?P<bare>[cfk])\s*$", re.I
)
_SUFFIX = re.compile(r"^(?P<stem>.+?)(?:_|\s+in\s+|\s+)(?P<letter>[cfk])$", re.I)
# "type K" and "TC K" name a thermocouple
_TYPE_STEM = re.compile(
    r"\b(?:type|typ|tc|thermocouple|thermo|element)$|^(?:ch|channel|zone)$", re.I
)
# "C/F" and "°C or °F" leave open which it is
_EITHER = (
    r"(?<![a-z])c(?:elsius)?\s*(?:/|\||or|oder|ou|o|,)\s*[°º˚]?\s*f(?:ahrenheit)?(?![a-z])"
    r"|(?<![a-z])f(?:ahrenheit)?\s*(?:/|\||or|oder|ou|o|,)\s*[°º˚]?\s*c(?:elsius)?(?![a-z])"
)
_RATE = re.compile(
    rf"(?:{_DEGREE}\s*[cfk]?|\b[cfk])\s*/\s*(?:h|hr|min|s|sec)\b|\brate\b|\bgradient\b", re.I
)

_TIME_UNIT_WORDS: dict[TimeUnit, str] = {
    "us": r"us|[µμ]s|usecs?|micros|microseconds?|mikrosekunden",
    "ms": r"ms|msecs?|millis|milliseconds?|millisekunden",
    "s": r"s|secs?|seconds?|sek|sekunden?|secondes?|segundos?",
    "min": r"m|mins?|minutes?|minuten?|minutos?",
    "h": r"h|hrs?|hours?|std|stunden?|heures?|horas?",
    "d": r"d|days?|tage?|jours?|dias?",
}
_ANY_TIME_UNIT = "|".join(f"(?P<{unit}>{words})" for unit, words in _TIME_UNIT_WORDS.items())
# The patterns without `re.compile` are compiled when first used: a plain log asks few of them.
_TIME_UNIT_STATED = (
    rf"[(\[{{]\s*(?:in\s+)?(?:{_ANY_TIME_UNIT})\.?\s*[)\]}}]\s*$".replace("?P<", "?P<b_")
    + "|"
    + rf"(?:_|\bin\s+|/\s*|,\s*|\s)(?:{_ANY_TIME_UNIT})$".replace("?P<", "?P<s_")
    + "|"
    + rf"^(?:{_ANY_TIME_UNIT})\.?$".replace("?P<", "?P<w_")
)

_TIME = re.compile(
    r"\b(?:date ?time|time ?stamp|time|date|elapsed|clock|seconds?|secs?|minutes|mins|hours|hrs"
    r"|zeit|datum|uhrzeit|zeitstempel|zeitpunkt|dauer|laufzeit|sekunden|minuten|stunden"
    r"|heure|heures|horodatage|duree|temps|instant|secondes"
    r"|tiempo|fecha|hora|horas|duracion|segundos|minutos"
    r"|ora|orario|data|durata|tijd|tijdstip|duur|tid|tidpunkt|tidspunkt|dato|klockslag|klokkeslaet"
    r"|klokkeslæt|klokkeslett|varighed|czas|godzina|aika|paiva|paivamaara|kello|cas|ido|idopont"
    r"|zaman|saat|tarih|utc|gmt|epoch|unix|uptime|runtime|millis|micros|время|дата)\b"
    r"|日時|日付|時刻|時間|时间|日期|时刻|시간|날짜"
)
_SET_POINT = re.compile(
    r"\bset ?points?\b|\bsetpt\b|\bset (?:temp\w*|value)\b|\b(?:sp|wsp|sv)\d*\b|\btarget\b"
    r"|\bsoll\w*|\bconsigne\b|\bconsigna\b|\bvaleur cible\b|\bcible\b"
    r"|\bset\b|\btset\b|\bpreset\b|\b(?:wanted|desired|demand(?:ed)?|ordered|requested|goal"
    r"|command(?:ed)?|cmd|aim|required)\b|\bziel\w*|\bvorgabe\w*"
    r"|\bimpostat[ao]\b|\bdesiderat[ao]\b|\bobiettivo\b|\bobjetivo\b|\bdesead[ao]\b"
    r"|\bdesejad[ao]\b|\balvo\b|\bponto de ajuste\b|\bgewenst\w*|\bingesteld\w*|\bdoel\w*"
    r"|\bborvarde\b|\bmalvarde\b|\bønske\w*|\bsætpunkt\b|\bsettpunkt\b|\bindstillet\b"
    r"|\binnstilt\b|\bzadan[aey]\b|\bnastaw\w*|\basetus\w*|\btavoite\w*|\balapjel\b"
    r"|\bnastaven[aey]\b|\bayar\b|\bhedef\b|\bуставка\b|\bзадан\w*"
    r"|設定|设定|目標|目标|설정|목표"
)
_DUTY = re.compile(
    r"\bduty\b|\boutputs?\b|\bout\b|\bop\b|\bpower\b|\bleistung\b|\bheizleistung\b|\bstellgrad\b"
    r"|\bstellgrosse\b|\bausgang\b|\bpuissance\b|\bsortie\b|\bpotencia\b|\bsalida\b"
    r"|\bpotenza\b|\buscita\b|\bvermogen\b|\buitgang\b|\bsaida\b|\beffekt\b|\butgang\b|\bmoc\b"
    r"|\bteho\b|\bvykon\b|\bteljesitmeny\b|\bguc\b|\bмощность\b|出力|输出|功率|출력"
)
_JUNCTION = re.compile(
    r"\bcold ?(?:junction|end)\b|\bcjc?\b|\b(?:reference|terminal) ?junction\b|\bvergleichsstelle\b"
    r"|\bsoudure froide\b|\bjonction froide\b|\b(?:junta|union) fria\b"
)
_AMBIENT = re.compile(
    r"\bambient\b|\broom\b|\binternal\b|\braum\w*|\bumgebung\w*|\bambiante\b|\bambiente\b"
    r"|\b(?:board|pcb|cpu|chip|device|logger|enclosure|outdoor|outside|studio|workshop|shed)\b"
    r"|\bsala\b|\bkamer\b|\bomgeving\w*|\brum\b|\brumstemp\w*|\brom\b|\bromtemp\w*"
    r"|\bpokoj\w*|\botoczeni\w*|\bhuone\w*|\bmistnost\b|\bokoli\b|\bszoba\b|\boda\b|\bкомнат\w*"
    r"|室温|室溫|室内|环境|環境|周囲|실온|실내"
)
_MILLIVOLTS = re.compile(r"[(\[{]\s*mv\s*[)\]}]|[/_,\s]mv\s*$|^mv$|\bmillivolts?\b", re.I)
_SUPPLY = re.compile(r"\b(?:batt(?:ery)?|batterie|bateria|supply|versorgung|mains|netz|vcc)\b")
_OTHER_UNIT = re.compile(
    r"[(\[{]\s*(?:m?v|volts?|m?a|amps?|amperes?|k?wh?|watts?|kva|hz|ohms?|Ω|m?bar|h?pa|ppm|rh|mm|kg)"
    r"\s*[)\]}]"
    # outside brackets a single letter may as well be a label: "zone a"
    r"|[/_,\s](?:mv|volts?|ma|amps?|amperes?|kwh?|wh|watts?|kva|hz|ohms?|m?bar|h?pa|ppm|rh|mm|kg)\s*$",
    re.I,
)
_OTHER = re.compile(
    r"\b(?:humidity|feuchte|humidite|humedad|battery|batterie|bateria|row|nr|no|number|index|record"
    r"|id|note|notes|event|comment|remark|bemerkung|segment|step|status|alarm|phase|program|cycle"
    r"|voltage|spannung|tension|current(?! (?:temp|value|reading))|strom|courant"
    r"|corriente|energy|energie|energia|oxygen|o2|co2|co|ppm|lambda|watts?|amps?|volts?|lux|lumen|hpa|kpa|mbar|deviation|error|difference|diff|delta|abweichung|ecart|desviacion|pressure|druck)\b"
)
_TEMPERATURE = (
    r"temp|\bkiln|ofen|\bfour\b|\bhorno\b|\bchamber\b|\bkammer\b|\bchambre\b|\bcamara\b"
    r"|\btop\b|\bbottom\b|\bmid(?:dle)?\b|\bcent(?:er|re)\b|\bupper\b|\blower\b|\bfront\b|\bback\b"
    r"|\boben\b|\bunten\b|\bmitte\b|\bhaut\b|\bbas\b|\bmilieu\b|\barriba\b|\babajo\b|\bmedio\b"
    r"|\bzon[ea]\b|\bchannel\b|\bkanal\b|\bcanal\b|\bch ?\d+\b|\bt[ck] ?\d*\b|\bt\d\b|\bprobe\b"
    r"|\bsensor\b|fuhler\b|\bsonde\b|\bsonda\b|\bthermo|\btermopar\b|\bpv\b|\bprocess value\b"
    r"|\bist\b|\bistwert\b|\bactual\b|\breal\b|\bmeasured?\b|\bmesure\b|\bpyromet|\bware\b|\bshelf\b"
    r"|\bkiln|\bforno\b|\boven\w*|\bovn\w*|\bugn\w*|\bpiec\w*|\buuni\w*|\bpec\b|\bkemence\w*|\bfirin\b"
    r"|\blampo|\bteplota\b|\bhomerseklet\b|\bsicaklik\b|\btmeas\b|\btact\b|\bfbk\b|\bfeedback\b"
    r"|\bread\b|\bcelsius\b|температ|печь|温度|溫度|온도|窯|窑|炉|爐|가마"
)
_KILN = (
    r"\bkiln\b|\bchamber\b|\bcontrol(?:ler)?\b|ofen|\bkammer\b|\bregl?e[lr]\w*|\bfour\b|\bchambre\b"
    r"|\bregulation\b|\bhorno\b|\bcamara\b|\bpv\b|\bmain\b"
    r"|\bforno\b|\boven\w*|\bovn\w*|\bugn\w*|\bpiec\w*|\buuni\w*|\bpec\b|\bkemence\w*|\bfirin\b"
    r"|\bfurnace\b|печь|窯|窑|炉|爐|가마"
)
_UNITS_ROW_CELL = (
    rf"[(\[]?\s*(?:{_DEGREE}?\s*[cfk]|deg\.?\s*[cfk]|celsius|fahrenheit|kelvin|time|date|{_DEGREE}|ms|s|secs?|seconds?"
    r"|m|mins?|minutes?|h|hrs?|hours?|%|percent|h{1,3}:mm(?::ss)?|mm:ss|[dmyj/.\- ]{6,10}"
    r"(?: ?h{1,2}:mm(?::ss)?)?|iso ?8601|-|m?v|m?a|k?wh?)\s*[)\]]?"
)
_PREAMBLE_UNIT = (
    r"\b(?:units?|scale|einheit(?:en)?|unites?|unidad(?:es)?|temperature|temp|temperatur|temperatura)\b"
    rf"[^a-z0-9]*(?:units?|scale|einheit|in)?[^a-z0-9{_DEGREE[1:-1]}]*"
    rf"(?:{_TEMPERATURE_UNIT}|(?P<letter>[cfk]))(?![a-z0-9])"
)


def normalized(name: str) -> str:
    """Return a column name for comparing: lower case, no accents, words apart."""
    apart = re.sub(r"(?<=[a-z])(?=[A-Z])", " ", name)
    bare = "".join(c for c in unicodedata.normalize("NFKD", apart) if not unicodedata.combining(c))
    whole = unicodedata.normalize("NFC", bare.casefold().replace("ß", "ss"))
    return " ".join(re.sub(r"[^\w%]+|_+", " ", whole).split())


ZONE_HOURS = {
    "CET": 1, "CEST": 2, "MEZ": 1, "MESZ": 2, "WET": 0, "WEST": 1, "EET": 2, "EEST": 3, "BST": 1,
    "EST": -5, "EDT": -4, "CST": -6, "CDT": -5, "MST": -7, "MDT": -6, "PST": -8, "PDT": -7,
    "AKST": -9, "AKDT": -8, "HST": -10, "JST": 9, "KST": 9, "AEST": 10, "AEDT": 11, "AWST": 8,
    "NZST": 12, "NZDT": 13,
}  # fmt: skip
IANA_ZONE = (
    r"(?:Africa|America|Antarctica|Asia|Atlantic|Australia|Europe|Indian|Pacific)"
    r"/[A-Za-z_]+(?:/[A-Za-z_]+)?"
)
_ZONE_STATED = re.compile(
    r"\b(?:utc|gmt|zulu)\b(?:(?:\s*offset)?[:=]?\s*(?P<sign>[-+−])\s*(?P<hours>\d{1,2})(?::?(?P<minutes>\d\d))?)?",
    re.I,
)


def time_zone(name: str) -> str | None:
    """Return the time zone that the name of a time column states: ``Time (UTC)``, ``time_utc``."""
    name = name[:LONGEST_NAME]
    match = re.search(IANA_ZONE, name)
    if match is not None:
        return match[0]
    match = _ZONE_STATED.search(name.replace("_", " "))
    if match is None:
        word = re.search(rf"\b(?:{'|'.join(ZONE_HOURS)})\b", name)
        return f"{ZONE_HOURS[word[0]]:+03d}:00" if word else None
    if not match["hours"] or not int(match["hours"]) + int(match["minutes"] or 0):
        return "UTC"
    sign = "+" if match["sign"] == "+" else "-"
    return f"{sign}{int(match['hours']):02d}:{match['minutes'] or '00'}"


def speaks_of_zone(name: str) -> bool:
    """Tell whether a name or a line says that a time zone stands in it, or below it."""
    return re.search(_ZONE_WORDS, name[:LONGEST_NAME], re.I) is not None


def preamble_zone(lines: Sequence[str]) -> str | None:
    """Return the time zone that a line above the table states: ``# all times UTC``.

    A moment with a zone says nothing of the others' clocks.
    """
    for line in lines:
        bare = re.sub(r"[-+]\d\d:\d\d", "", line[:LONGEST_NAME])
        stated = re.search(_TIMES_IN_UTC, bare, re.I) and not re.search(r"\d:\d\d", bare)
        if stated or speaks_of_zone(line):
            found = time_zone(line) or _offset(line)
            if found is not None:
                return found
    return None


def _offset(line: str) -> str | None:
    match = re.search(r"[:=,;\s]([+-])(\d{1,2})(?::?(\d\d))?\s*$", line[:LONGEST_NAME])
    return f"{match[1]}{int(match[2]):02d}:{match[3] or '00'}" if match else None


_ZONE_WORDS = (
    r"\b(?:time ?zone|tz|zeitzone|fuseau|zona horaria|huso horario|fuso|tijdzone|tids?zon\w*"
    r"|strefa czasowa|часовой пояс)\b|タイムゾーン|时区|時區"
)
_TIMES_IN_UTC = r"\b(?:times?|timestamps?|zeit(?:en)?|heures?|horas?)\b.*\b(?:utc|gmt|zulu)\b"


def leaves_unit_open(name: str) -> bool:
    """Tell whether a name gives two units to choose from: ``Temp C/F``."""
    name = name[:LONGEST_NAME].casefold()
    return "c" in name and "f" in name and re.search(_EITHER, name, re.I) is not None


def temperature_unit(name: str, siblings: frozenset[str] = frozenset()) -> HeadUnit | None:
    """Return the temperature unit a column name states, if any: ``Temp (°F)``, ``temp_f``.

    `siblings` are the other names of the file: in ``zone_e, zone_f`` the letter is no unit.
    """
    name = name[:LONGEST_NAME].replace("℃", "°C").replace("℉", "°F")
    if _RATE.search(name) or leaves_unit_open(name):
        return None
    for pattern in (_STATED, _BRACKETED):
        match = pattern.search(name)
        if match:
            return _letter(match.group(match.lastgroup or 0))
    suffix = _SUFFIX.match(name.strip())
    if suffix is None:
        # "K" beside "C" is the same in two units; beside "A" and "B" it is a label
        bare = {other.strip().upper() for other in siblings if len(other.strip()) == 1}
        return _letter(name.strip()) if name.strip() in bare and {*bare} <= set("CFKT") else None
    stem, letter = suffix["stem"].casefold(), suffix["letter"].casefold()
    if _TYPE_STEM.search(stem.replace("_", " ").strip()):
        return None
    family = re.compile(rf"{re.escape(stem)}[_ ](?:in )?[abdeg-jl-z]$", re.I)
    if any(family.match(other) and not other.casefold().endswith(letter) for other in siblings):
        return None
    return _letter(letter)


def preamble_units(lines: Sequence[str]) -> set[HeadUnit]:
    """Return the temperature units that lines above the table state.

    Lines that speak of units (``Units: °F``) count before those that only mention one
    (``kiln limit 2350 °F``).
    """
    for pattern in (_PREAMBLE_UNIT, _STATED.pattern):
        found = [
            match for line in lines for match in re.finditer(pattern, line[:LONGEST_NAME], re.I)
        ]
        if found:
            return {_letter(match.group(match.lastgroup or 0)) for match in found}
    return set()


def _letter(text: str) -> HeadUnit:
    if text[0] in "kK":
        return "K"
    return "F" if text[0] in "fF" else "C"


_COUNTS_DOWN = (
    r"\b(?:remain(?:ing|s)?|time left|left|to go|count ?down|rest(?:zeit|dauer|laufzeit)"
    r"|verbleibend\w*|verbleibt|restant\w*|restante|rimanente|resterend\w*|aterstaende|kvar"
    r"|resterende|pozostal\w*|jaljella)\b|残り|剩余"
)


def counts_down(name: str) -> bool:
    """Tell whether a column's name says that it holds the time that is left."""
    return re.search(_COUNTS_DOWN, normalized(name[:LONGEST_NAME])) is not None


def time_unit(name: str) -> TimeUnit | None:
    """Return the unit of time a column name states: ``time_s``, ``Time (min)``, ``elapsed [h]``."""
    bare = name[:LONGEST_NAME].strip().removesuffix("()")
    match = re.search(_TIME_UNIT_STATED, bare, re.I)
    if match is None:
        return None
    return next(unit for unit in TIME_UNIT_S if any(match[f"{p}_{unit}"] for p in "bsw"))


_FOREIGN = re.compile(
    r"(?P<rankine>\brankine\b|[°º˚]\s*ra?(?![a-z]))|(?P<micro>[µμ]v\b|\buv\b|\bmicro ?volts?\b)"
    r"|(?P<volt>\b(?:thermocouple|thermo|tc|emf)[ _]*[(\[/,]?\s*v(?:olts?)?\b|^volts?$)"
    r"|(?P<loop>^m ?a$|[(\[]\s*ma\s*[)\]]|[_ ]ma$|\b4 ?(?:-|\.\.|to) ?20 ?ma\b)",
    re.I,
)


def foreign_unit(name: str) -> str | None:
    """Return the unit a column name states, where it is none that logs are read in."""
    match = _FOREIGN.search(name[:LONGEST_NAME])
    if match is None:
        return None
    return {
        "rankine": "°R (Rankine)",
        "micro": "microvolts",
        "volt": "volts",
        "loop": "milliamperes",
    }[match.lastgroup or ""]


_COUNTS = r"(?:adc|a d|raw|counts?|digits?)(?: (?:raw|counts?|value|reading|digits?))?"


def names_counts(name: str) -> bool:
    """Tell whether a column's name says that it holds what a chip counts, and no degrees."""
    return re.fullmatch(_COUNTS, normalized(name[:LONGEST_NAME])) is not None


def states_millivolts(name: str) -> bool:
    """Tell whether a column name gives its unit as millivolts: ``TC (mV)``, ``kiln_mv``."""
    return _MILLIVOLTS.search(name[:LONGEST_NAME]) is not None


_POWER = frozenset(("w", "kw", "va", "kva", "wh", "kwh"))


@lru_cache(maxsize=4096)
def role(name: str) -> Role:
    """Return what a column holds, judged by its name alone."""
    name = name[:LONGEST_NAME]
    words = normalized(name)
    if states_millivolts(name):
        return "other" if _SUPPLY.search(words) else "emf"
    stated = temperature_unit(name) is not None or leaves_unit_open(name)
    if words in _POWER:
        return "other"
    if _RATE.search(name) or (_OTHER.search(words) and not stated):
        return "other"
    if _JUNCTION.search(words):
        return "junction"
    if _AMBIENT.search(words):
        return "ambient"
    if _SET_POINT.search(words):
        # "power demand" is the output, "temp demand" the set point
        return "duty" if _DUTY.search(words) and "temp" not in words else "set-point"
    if stated:
        return "temperature"
    if _OTHER_UNIT.search(name):
        return "other"
    if (_DUTY.search(words) or "%" in words) and "temp" not in words:
        return "duty"
    if _TIME.search(words) or time_unit(name) is not None:
        return "time"
    if re.search(_TEMPERATURE, words):
        return "temperature"
    return "unknown"


def names_kiln(name: str) -> bool:
    """Tell whether a channel's name says that it is the kiln's own, or the controller's."""
    return re.search(_KILN, normalized(name)) is not None


def is_unit_cell(cell: str) -> bool:
    """Tell whether a cell could stand in a row of units below the header."""
    return re.fullmatch(_UNITS_ROW_CELL, cell[:LONGEST_NAME].strip(), re.I) is not None


def display_name(name: str) -> str:
    """Return a column name without its unit, harmless to show: ``Top (°C)`` → ``Top``."""
    bare = re.sub(
        rf"[(\[{{]\s*(?:{_TEMPERATURE_UNIT}|[cfk%]|mv)\s*[)\]}}]|[,/]?\s*(?:\bin\s+)?{_TEMPERATURE_UNIT}\s*$".replace(
            "?P<sign>", ""
        )
        .replace("?P<deg>", "")
        .replace("?P<word>", ""),
        " ",
        name[:LONGEST_NAME],
        flags=re.I,
    )
    suffix = _SUFFIX.match(bare.strip())
    if suffix is not None and temperature_unit(name) is not None:
        bare = suffix["stem"]
    return printable(bare.strip(" \t,;/_-"))
