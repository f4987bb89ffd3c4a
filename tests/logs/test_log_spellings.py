"""Rarer ways to write a moment, a number or a form; the truth is the library's calendar."""

import bz2
import gzip
import json
import tracemalloc
from collections.abc import Callable
from datetime import datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from firing.errors import FiringError
from firing.logs import containers
from firing.logs.options import ReadingOptions
from firing.logs.reader import open_log

START = datetime(2026, 3, 24, 20, 5)
ROWS = 100
STEP = timedelta(minutes=7)
KILN_C = [round(20.0 + 900.0 * n / ROWS + 5.0 * np.sin(n), 1) for n in range(ROWS)]
TIME_S = [n * STEP.total_seconds() for n in range(ROWS)]

Spelling = Callable[[datetime], str]
TR = ["Oca", "Şub", "Mar", "Nis", "May", "Haz"]


def h12(at: datetime) -> str:
    """Return the hour of a clock of twelve."""
    return str(at.hour % 12 or 12)


def half(at: datetime, before: str, after: str) -> str:
    """Return the word for the half of the day."""
    return before if at.hour < 12 else after


def nanoseconds(at: datetime) -> str:
    """Return nanoseconds since 1970."""
    return f"{int((at - datetime(1970, 1, 1)).total_seconds())}000000000"


def since(at: datetime) -> tuple[int, int]:
    """Return hours and minutes since the start."""
    minutes = int((at - START).total_seconds()) // 60
    return minutes // 60, minutes % 60


TH, HI, FA = (
    ("ม.ค.", "ก.พ.", "มี.ค.", "เม.ย."),
    ("जनवरी", "फ़रवरी", "मार्च", "अप्रैल"),
    ("ژانویه", "فوریه", "مارس", "آوریل"),
)

SPELLINGS: dict[str, Spelling] = {
    "Thai month and year": lambda at: f"{at.day} {TH[at.month - 1]} {at.year + 543} {at:%H:%M}",
    "Hindi month": lambda at: f"{at.day} {HI[at.month - 1]} {at.year} {at:%H:%M}",
    "Persian month": lambda at: f"{at.day} {FA[at.month - 1]} {at.year} {at:%H:%M}",
    "17 digits": lambda at: f"{at:%Y%m%d%H%M%S}000",
    "dash before the clock": lambda at: f"{at:%Y-%m-%d-%H:%M:%S}",
    "dash between spaces": lambda at: f"{at:%d.%m.%Y - %H:%M}",
    "spaces in the date": lambda at: f"{at:%d %m %Y %H:%M}",
    "day of the year, slash": lambda at: f"{at:%Y/%j %H:%M:%S}",
    "day first, 8 digits": lambda at: f"{at:%d%m%Y %H:%M}",
    "klo": lambda at: f"{at:%d.%m.%Y} klo {at.hour}.{at:%M}",
    "kl.": lambda at: f"{at:%d-%m-%Y} kl. {at:%H.%M}",
    "dot behind the year": lambda at: f"{at:%d.%m.%Y. %H:%M}",
    "year first, dots and spaces": lambda at: f"{at.year}. {at.month}. {at.day}. {at:%H:%M}",
    "Korean half": lambda at: (
        f"{at.year}. {at.month}. {at.day}. {half(at, '오전', '오후')} {h12(at)}:{at:%M}"
    ),
    "Korean": lambda at: f"{at.year}년 {at.month}월 {at.day}일 {at.hour}시 {at:%M}분",
    "Japanese": lambda at: f"{at.year}年{at.month}月{at.day}日 {at.hour}時{at:%M}分{at:%S}秒",
    "Chinese": lambda at: f"{at.year}年{at.month}月{at.day}日 {at.hour}时{at:%M}分",
    "reign": lambda at: f"令和{at.year - 2018}年{at.month}月{at.day}日 {at:%H:%M}",
    "Bulgarian": lambda at: f"{at:%d.%m.%Y} г. {at:%H:%M}",
    "Russian": lambda at: f"{at.day} {'марта' if at.month == 3 else '?'} {at.year} г. {at:%H:%M}",
    "Turkish": lambda at: f"{at.day} {TR[at.month - 1]} {at.year} {at:%H:%M}",
    "Hungarian": lambda at: f"{at.year}. március {at.day}. {at:%H:%M}",
    "half before": lambda at: f"{at:%Y-%m-%d} {at:%p} {h12(at)}:{at:%M:%S}",
    "a. m.": lambda at: f"{at:%d/%m/%Y} {h12(at)}:{at:%M:%S} {half(at, 'a. m.', 'p. m.')}",
    "7:05p": lambda at: f"{at:%m/%d/%Y} {h12(at)}:{at:%M}{half(at, 'a', 'p')}",
    "single digits": lambda at: f"{at.year}-{at.month}-{at.day} {at.hour}:{at.minute}:{at.second}",
    "no year": lambda at: f"{at:%d/%m %H:%M}",
    "no year, month first": lambda at: f"{at:%m-%d %H:%M:%S.000}",
    "hashes": lambda at: f"#{at:%Y-%m-%d %H:%M:%S}#",
    "brackets": lambda at: f"({at:%Y-%m-%d %H:%M:%S})",
    "DT#": lambda at: f"DT#{at:%Y-%m-%d-%H:%M:%S}",
    "@": lambda at: f"@{int((at - datetime(1970, 1, 1)).total_seconds())}",
    "/Date()/": lambda at: f"/Date({int((at - datetime(1970, 1, 1)).total_seconds())}000)/",
    "mail with a zone's name": lambda at: f"{at:%a %d %b %Y %H:%M:%S} +0100 (CET)",
    "browser": lambda at: f"{at:%a %b %d %Y %H:%M:%S} GMT+0100 (Central European Time)",
    "T+": lambda at: f"T+{since(at)[0]}:{since(at)[1]:02d}:00",
    "+": lambda at: f"+{since(at)[0]}:{since(at)[1]:02d}:00",
    "days and colons": lambda at: f"0:{since(at)[0]:02d}:{since(at)[1]:02d}:00",
    "2h05": lambda at: f"{since(at)[0]}h{since(at)[1]:02d}",
    "Finnish hours": lambda at: f"{since(at)[0]} t {since(at)[1]} min",
    "Japanese hours": lambda at: f"{since(at)[0]}時間{since(at)[1]}分",
    "Chinese hours": lambda at: f"{since(at)[0]}小时{since(at)[1]}分钟",
    "hours and minutes": lambda at: f"{since(at)[0]} hours and {since(at)[1]} minutes",
    "a clock of twelve hours": lambda at: f"{h12(at)}:{at:%M:%S}",
    "hours and minutes in Japanese": lambda at: f"{at.hour}時{at:%M}分",
    "a space that does not break": lambda at: f"{at:%d.%m.%Y}\u00a0{at:%H:%M}",
    "underscores all through": lambda at: f"{at:%Y_%m_%d_%H_%M_%S}",
    "colons all through": lambda at: f"{at:%Y:%m:%d:%H:%M:%S}",
    "dots all through": lambda at: f"{at:%Y.%m.%d.%H.%M}",
    "a clock without colons": lambda at: f"{at:%Y-%m-%dT%H%M%S}",
    "thousandths behind a colon": lambda at: f"{at:%Y-%m-%d %H:%M:%S}:000",
    "day of the year, dash": lambda at: f"{at:%Y/%j-%H:%M:%S}",
    "year first between spaces": lambda at: f"{at:%Y %m %d %H:%M}",
    "dots, month first": lambda at: f"{at:%m.%d.%Y %H:%M}",
    "month, day and two digits": lambda at: f"{at:%b-%d-%y %H:%M}",
    "a month between digits": lambda at: f"{at:%Y%b%d %H:%M}",
    "reign, by its letter": lambda at: f"R{at.year - 2018}/{at:%m/%d %H:%M}",
    "Ukrainian": lambda at: f"{at.day} березня {at:%Y %H:%M}",
    "Croatian": lambda at: f"{at.day}. ožujka {at:%Y. %H:%M}",
    "Serbian": lambda at: f"{at.day} мар {at:%Y %H:%M}",
    "Chinese month": lambda at: f"{at.day} 三月 {at:%Y %H:%M}",
    "a clock of six digits": lambda at: f"{at:%H%M%S}",
    "hrs": lambda at: f"{at:%H%M} hrs",
}


def written(spelling: Spelling, cell: Callable[[float], str] = str) -> str:
    """Return a log with its times and its numbers written in a way."""
    lines = ["Time;Kiln (°C)"]
    lines += [f"{spelling(START + n * STEP)};{cell(kiln)}" for n, kiln in enumerate(KILN_C)]
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize("name", SPELLINGS)
def test_a_spelling_of_time(read: Any, name: str) -> None:
    log = read(written(SPELLINGS[name]))
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)
    if log.dialect.time_kind == "datetime" and "no year" not in name:
        assert (log.trace.started.month, log.trace.started.day) == (START.month, START.day)


@pytest.mark.parametrize("cell", [
    lambda v: f"{v}度", lambda v: f"{v}&deg;C", lambda v: f"{v:.6E}".replace("E", "D"),
    lambda v: f'"=""{v}"""', lambda v: f'""{v}""', lambda v: f"´{v}´", lambda v: f"「{v}」",
    *(
        lambda v, zero=zero: str(v).translate({48 + n: zero + n for n in range(10)})
        for zero in (0x660, 0x6F0, 0x966, 0x9E6, 0xE50, 0xFF10)  # their digits, by Unicode
    ),
])  # fmt: skip
def test_a_spelling_of_numbers(read: Any, cell: Callable[[float], str]) -> None:
    log = read(written(lambda at: f"{at:%Y-%m-%d %H:%M:%S}", cell))
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)
    assert log.trace.time_s == pytest.approx(TIME_S)


def table(head: str, row: Callable[[datetime, float, int], str]) -> str:
    """Return a log whose lines are written by a function."""
    lines = [row(START + n * STEP, kiln, n) for n, kiln in enumerate(KILN_C)]
    return "\n".join([head, *lines]) + "\n"


@pytest.mark.parametrize(("head", "row"), [
    ("date,time,Kiln", lambda at, c, n: f"{at:%Y%m%d},{at:%H%M},{c}"),
    ("day,month,year,time,Kiln", lambda at, c, n: f"{at:%d,%b,%Y,%H:%M},{c}"),
    ("Days,Clock,Kiln", lambda at, c, n: f"0,{since(at)[0]:02d}:{since(at)[1]:02d}:00,{c}"),
    ("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M:%S} T:{c}"),
    ("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M:%S} T:{c} SP:{c + 9:.1f} P:50%"),
    ("", lambda at, c, n: f'{at:%Y-%m-%d %H:%M:%S} {{"temp": {c}}}'),
    ("", lambda at, c, n: f"{{'time': '{at:%Y-%m-%d %H:%M:%S}', 'temp': {c}}}"),
    ("", lambda at, c, n: f"('{at:%Y-%m-%d %H:%M:%S}', {c}),"),
    ("", lambda at, c, n: f"after {since(at)[0]} h {since(at)[1]:02d}: {c} C"),
    ("", lambda at, c, n: f"at {at:%H:%M} the kiln was at {c} degrees"),
    ("", lambda at, c, n: f"{h12(at)}:{at:%M}{half(at, 'am', 'pm')}: {c} C"),
    ("Date,Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d},{(at.hour + at.minute / 60) / 24:.6f},{c}"),
    ("Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c}".replace(".", ",")),
    ("micros,Kiln", lambda at, c, n: f"{420_000_000 * n},{c}"),
    ("Segment time,Time,Kiln", lambda at, c, n: f"0:{7 * (n % 8):02d},{at:%H:%M},{c}"),
    ("", lambda at, c, n: f"{at:%H:%M:%S} Temp:{c},Target:{c + 9:.1f},Output:{n}"),
    ("", lambda at, c, n: f">{at:%Y-%m-%d %H:%M:%S}: kiln_temp: {c} °C | ssr: OFF"),
    ("", lambda at, c, n: f"{at:%Y-%m-%dT%H:%M:%S.%f} | kiln | {c} | C | ok"),
    ("", lambda at, c, n: f"({n},'{at:%Y-%m-%d %H:%M:%S}',{c}),"),
    ("", lambda at, c, n: f"INSERT INTO kiln(ts,temp) VALUES('{at:%Y-%m-%d %H:%M:%S}',{c});"),
    ("", lambda at, c, n: f"kiln,site=shed temperature={c},duty=0.{n % 9 + 1} {nanoseconds(at)}"),
    ("", lambda at, c, n: f"$KTEMP,{at:%H%M%S}.00,{at:%d%m%y},{c},C*5A"),
    ("Reading,Time,Value,Unit", lambda at, c, n: f"{n},{420 * n}.000 s,{c:+.6E},degC"),
    ("from,to,_time,Kiln", lambda at, c, n: f"{START},{START + 99 * STEP},{at},{c}"),
    ("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M:%S} INFO kiln temp={c} C"),
    ("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M:%S} -> Temp = {c} C"),
])  # fmt: skip
def test_a_form_of_rows(read: Any, head: str, row: Callable[..., str]) -> None:
    log = read(table(head, row))
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)


@pytest.mark.parametrize("answer", [
    lambda when, kiln: {"status": "ok", "data": {"result": [{"metric": {"job": "kiln"}, "values": [
        [t, str(c)] for t, c in zip(when, kiln, strict=True)]}]}},
    lambda when, kiln: [[
        {"state": str(c), "last_changed": t} for t, c in zip(when, kiln, strict=True)]],
    lambda when, kiln: {"labels": when, "datasets": [{"label": "Kiln °C", "data": kiln}]},
])  # fmt: skip
def test_readings_within_the_answer_of_a_server(read: Any, answer: Callable[..., Any]) -> None:
    when = [f"{START + n * STEP}" for n in range(ROWS)]
    log = read(json.dumps(answer(when, KILN_C)))
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)


@pytest.mark.parametrize(("text", "offset_h"), [
    ("# all times UTC\nTime,Kiln\n", 0), ("Time zone: UTC-05:00\n\nTime,Kiln\n", -5),
    ("Time, UTC offset: +09:00\n\nTime,Kiln\n", 9),
    ("Timezone,America/New_York\nTime,Kiln\n", -4), ("Time (EST),Kiln\n", -5),
    ("Time,Kiln,Zone\n", 0),
])  # fmt: skip
def test_a_zone_is_read_wherever_it_stands(read: Any, text: str, offset_h: int) -> None:
    """New York is four hours behind UTC in late March, and EST is always five."""
    tail = ",UTC" if "Zone\n" in text else ""
    log = read(text + table("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c}{tail}").lstrip())
    assert log.trace.started == START.replace(tzinfo=timezone(timedelta(hours=offset_h)))
    assert any("as the file says" in note for note in log.notes)


def test_a_moment_above_the_table_is_no_zone(read: Any) -> None:
    rows = table("Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c}")
    assert not any("--zone" in note for note in read("Started 2026-03-24 19:05 UTC\n" + rows).notes)


@pytest.mark.parametrize(("head", "dated"), [
    ("Glaze firing, Tuesday 24 March 2026\n", True), ("Date: 24/03/2026\nTime,Kiln\n", True),
    ("Exported 25.03.2026\nTime,Kiln\n", False),
])  # fmt: skip
def test_the_date_of_clocks_stands_above_them(read: Any, head: str, dated: bool) -> None:
    """Once, and past midnight it is the next day."""
    log = read(head + table("", lambda at, c, n: f"{at:%H:%M},{c}").lstrip())
    assert log.trace.time_s == pytest.approx(TIME_S)
    started = log.trace.started
    assert (started.replace(tzinfo=None) if started else None) == (START if dated else None)


@pytest.mark.parametrize(
    "day", [datetime(2026, 3, 24), datetime(2026, 3, 12), datetime(2026, 3, 5)]
)
def test_a_day_before_the_month_is_shown_by_the_nights(read: Any, day: datetime) -> None:
    """No month is the 24th, 13th comes after 12th, and a kiln has no month's rest at midnight."""
    begin = day.replace(hour=20, minute=5)
    written = [f"{begin + n * STEP:%Y-%d-%m %H:%M},{c}" for n, c in enumerate(KILN_C)]
    log = read("\n".join(["Time,Kiln", *written]) + "\n")
    assert log.trace.started.replace(tzinfo=None) == begin
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert any("--date-order ymd" in note for note in log.notes)


def test_two_firings_a_month_apart_have_their_month_second(read: Any) -> None:
    days = [datetime(2026, month, 5, 8, 5) for month in (3, 4)]
    written = [f"{day + n * STEP:%Y-%m-%d %H:%M},{c}" for day in days for n, c in enumerate(KILN_C)]
    log = read("\n".join(["Time,Kiln", *written]) + "\n", part=2)
    assert log.trace.started.replace(tzinfo=None) == days[1]


@pytest.mark.parametrize("line", [
    "Start: {:%Y-%m-%d %H:%M:%S}", "# Logging started {:%d.%m.%Y %H:%M}",
    "Start date,{0:%Y-%m-%d}\nStart time,{0:%H:%M:%S}", "Begin of recording: {:%a %b %d %X %Y}",
])  # fmt: skip
@pytest.mark.parametrize("head", ["Elapsed (s),Kiln", "elapsed,Kiln"])
def test_elapsed_times_begin_when_a_line_says_so(read: Any, line: str, head: str) -> None:
    clock: Callable[[int], str] = str if "(s)" in head else lambda s: str(timedelta(seconds=s))
    log = read(table(f"{line.format(START)}\n{head}", lambda at, c, n: f"{clock(420 * n)},{c}"))
    assert log.trace.started.replace(tzinfo=None) == START
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert any("is dated by the line" in note for note in log.notes)


@pytest.mark.parametrize("line", [
    "Exported {:%Y-%m-%d %H:%M:%S}", "Start: {:%H:%M}", "Start: 05/04/2026 20:05",
    "Date: {:%Y-%m-%d}", "Start: {0:%Y-%m-%d %H:%M}\nBegin of heating: 2026-03-25 08:00",
])  # fmt: skip
def test_elapsed_times_have_no_date_where_it_can_be_mistaken(read: Any, line: str) -> None:
    written = line.format(START)
    log = read(table(f"{written}\nElapsed (s),Kiln", lambda at, c, n: f"{420 * n},{c}"))
    assert log.trace.started is None


def test_a_counter_that_began_long_before_is_not_dated_by_the_start(read: Any) -> None:
    head = f"Start: {START:%Y-%m-%d %H:%M}\nElapsed (s),Kiln"
    log = read(table(head, lambda at, c, n: f"{90_000 + 420 * n},{c}"))
    assert log.trace.started is None


def test_a_year_of_another_calendar_is_said(read: Any) -> None:
    rows = table("Time,Kiln C", lambda at, c, n: f"1405/01/{at.day - 20:02d} {at:%H:%M:%S},{c}")
    log = read(rows)
    assert log.trace.started is None
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert any("1405" in note for note in log.notes)


def test_a_day_on_a_line_of_its_own_begins_its_clocks(read: Any) -> None:
    """Each day has its own head, as a logger that begins a new page at midnight writes it."""
    pages: dict[str, list[str]] = {}
    for n, kiln in enumerate(KILN_C):
        at = START + n * STEP
        pages.setdefault(f"{at:%Y-%m-%d}", []).append(f"{at:%H:%M:%S},{kiln}")
    log = read("".join(f"\nLog of {day}\nTime,Kiln C\n" + "\n".join(rows) + "\n"
                       for day, rows in pages.items()))  # fmt: skip
    assert log.trace.started.replace(tzinfo=None) == START
    assert log.trace.time_s == pytest.approx(TIME_S)


def test_a_notebook_of_half_hours_begins_cold(read: Any) -> None:
    """The fifth of its readings glows, and none before it is a room's."""
    kiln = [20, 80, 160, 260, 380, 500, 640, 780, 900, 980, 990, 900, 800, 700]
    log = read("".join(f"{8 + n // 2}.{30 * (n % 2):02d}\t{c}\n" for n, c in enumerate(kiln)))
    assert log.trace.time_s.tolist() == [1800.0 * n for n in range(len(kiln))]
    assert log.trace.temperature_c[:, 0].tolist() == kiln


@pytest.mark.parametrize("clock", [
    lambda at: f"{at:%Y-%m-%d %H:%M:%S}", lambda at: f"{(at - START).total_seconds():.0f}",
])  # fmt: skip
def test_rows_that_stand_twice_count_once(read: Any, clock: Spelling) -> None:
    lines = table("seconds,Kiln", lambda at, c, n: f"{clock(at)},{c}").splitlines()
    log = read("\n".join([*lines[:50], *lines[41:]]) + "\n")
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)


def test_a_late_line_of_an_event_sets_no_clock(read: Any) -> None:
    lines = table("Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c}").splitlines()
    lines.insert(40, lines[30].partition(",")[0] + ",EVENT segment 2")
    log = read("\n".join(lines) + "\n")
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert not any("clock" in note for note in log.notes)


@pytest.mark.parametrize("mark", [",", "."])
def test_a_thousand_beyond_the_sample_is_one(read: Any, mark: str) -> None:
    """Whole degrees all through, and 1,031 only where nobody looked at first."""
    kiln = [20 + n if n < 1100 else max(90, 2220 - n) for n in range(2100)]
    rows = [f"{60 * n};{c:,}".replace(",", mark) for n, c in enumerate(kiln)]
    log = read("seconds;Kiln\n" + "\n".join(rows) + "\n")
    assert log.raw_c[:, 0].tolist() == kiln


def test_rows_are_counted_backwards_too(tmp_path: Path) -> None:
    """Newest first and without a header: the count of the rows is no temperature."""
    rows = [f"{n + 1},{START + n * STEP:%Y-%m-%d %H:%M},{c}" for n, c in enumerate(KILN_C)]
    path = tmp_path / "log.csv"
    path.write_text("\n".join(rows[::-1]) + "\n", encoding="utf-8")
    log, _ = open_log(path, None, ReadingOptions())
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)


def test_readings_that_take_turns_without_a_header(read: Any) -> None:
    text = table("", lambda at, c, n: f"{at:%Y-%m-%d %H:%M} PV {c}\n{at:%Y-%m-%d %H:%M} SP 99")
    assert read(text.lstrip()).raw_c[:, 0] == pytest.approx(KILN_C)


def test_a_web_page_holds_its_table(read: Any) -> None:
    row = "<tr><td>{}</td><td>{}&nbsp;&deg;C</td></tr>".format
    rows = table("", lambda at, c, n: row(f"{at:%Y-%m-%d %H:%M}", c))
    head = "<html><p>Log 7</p><table><tr><th>Time</th><th>Kiln</th></tr>"
    log = read(f"{head}{rows}</table></html>")
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert log.raw_c[:, 0] == pytest.approx(KILN_C)


@pytest.mark.parametrize("shape", [
    lambda rows: {"series": [{"name": "kiln", "data": [{"t": t, "y": y} for t, y in rows]}]},
    dict, lambda rows: [{"time": t, "kiln": y} for t, y in rows],
])  # fmt: skip
def test_the_shapes_of_json(read: Any, shape: Callable[..., Any]) -> None:
    text = json.dumps(shape([(f"{START + n * STEP}", c) for n, c in enumerate(KILN_C)]))
    assert read(text).raw_c[:, 0] == pytest.approx(KILN_C)


def test_json_that_breaks_off_is_read_as_far_as_it_goes(read: Any) -> None:
    rows = [{"time": f"{START + n * STEP}", "kiln": c} for n, c in enumerate(KILN_C)]
    log = read(json.dumps(rows)[:-20])
    assert log.raw_c[:, 0] == pytest.approx(KILN_C[:-1])
    assert any("breaks off" in note for note in log.notes)


def test_a_column_called_t_is_the_time_beside_a_count_of_rows(read: Any, refused: Any) -> None:
    text = table("#,t,Kiln", lambda at, c, n: f"{n},{7 * n},{c}")
    assert 'column "t" holds times as bare numbers' in refused(text)
    assert read(text, time_unit="min").trace.time_s == pytest.approx(TIME_S)


def test_blocks_that_fit_together_are_sorted(read: Any) -> None:
    lines = table("Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M:%S},{c}").splitlines()
    swapped = [lines[0], *lines[61:], *lines[1:61]]
    log = read("\n".join(swapped) + "\n")
    assert log.trace.time_s == pytest.approx(TIME_S)
    assert any("sorted by time" in note for note in log.notes)


def test_minutes_and_seconds_without_their_hours_are_counted(read: Any) -> None:
    """A spreadsheet shows 20:05:30 as 05:30.0, and exports what it shows."""
    log = read(table("Time,Kiln", lambda at, c, n: f"{at:%M:%S}.0,{c}"))
    assert log.trace.time_s == pytest.approx(TIME_S)
    log = read(table("Time,Kiln", lambda at, c, n: f"{at:%M:%S},{c}"))
    assert log.trace.time_s == pytest.approx(TIME_S)


# Refusals that lead on


def test_a_time_that_cannot_be_read_is_quoted(refused: Any) -> None:
    assert '"7th moonrise" is no time' in refused(
        table("Time,Kiln", lambda at, c, n: f"7th moonrise,{c}")
    )


def test_one_time_for_all_rows_is_no_time(refused: Any) -> None:
    text = "Time,Kiln\n" + "".join(f"{8 + n // 100}:00:00,{20 + n}\n" for n in range(200))
    assert "repeat the time before" in refused(text)


def test_few_readable_times_among_many_rows_are_a_refusal(refused: Any) -> None:
    lines = [f"1900-01-{n // 95:02d} 01:{n % 60:02d}:00,{20 + n}" for n in range(100)]
    assert "have no time that can be read" in refused("Time,Kiln\n" + "\n".join(lines) + "\n")


@pytest.mark.parametrize(("head", "factor", "words"), [
    ("uV", 41.0, "microvolts"), ("mA", 0.012, "milliamperes"), ("ADC", 3.0, "counts"),
    ("Rankine", 1.8, "Rankine"), ("Thermocouple V", 41e-6, "volts"),
])  # fmt: skip
def test_a_unit_that_is_not_read_is_named(
    refused: Any, head: str, factor: float, words: str
) -> None:
    text = table(f"Time,{head}", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c * factor:.6f}")
    assert words in refused(text)


def test_digits_of_a_date_get_no_unit_of_time(refused: Any) -> None:
    text = refused(table("Time,Kiln", lambda at, c, n: f"7{at:%y%m%d%H%M%S},{c}"))
    assert "--time-unit" not in text


@pytest.mark.parametrize(("span_s", "units"), [
    (0.001, "ms"), (1.0, "s"), (60.0, "min"), (3600.0, "h"), (86400.0, "d"),
])  # fmt: skip
def test_the_unit_of_bare_times_that_makes_a_firing_is_offered_first(
    refused: Any, span_s: float, units: str
) -> None:
    text = refused(table("Time,Kiln", lambda at, c, n: f"{420 * n / span_s:.5f},{c}"))
    assert f"their unit with --time-unit {units}" in text


def test_times_beside_each_other_are_told(refused: Any) -> None:
    times = ",".join(f"{START + n * STEP:%Y-%m-%d %H:%M}" for n in range(ROWS))
    text = f"Time,{times}\nKiln,{','.join(map(str, KILN_C))}\n"
    assert "turn rows into columns" in refused(text)
    fours = [f"{START + n * STEP:%Y-%m-%d %H:%M},{c}" for n, c in enumerate(KILN_C)]
    rows = [",".join(fours[n : n + 4]) for n in range(0, ROWS, 4)]
    assert "side by side" in refused("\n".join(rows) + "\n")


def test_a_set_point_put_before_the_reading_is_told(refused: Any) -> None:
    lines = table("Time,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c}").splitlines()
    lines[50:] = [line.replace(",", f",{9 * n + 470}.0,") for n, line in enumerate(lines[50:])]
    assert "--with-gaps" in refused("\n".join(lines) + "\n")


# Doubts


def opened(path: Path, text: str, **options: Any) -> tuple[str, str]:
    """Return the channel taken for the kiln, and the notes that a person may answer."""
    path.write_text(text, encoding="utf-8")
    log, number = open_log(path, None, ReadingOptions(**options))
    return log.trace.channels[number], " ".join(log.open_choices)


@pytest.mark.parametrize(("head", "cell", "option"), [
    ("Temp (°F)", lambda c: f"{c - 30:.1f}", "--unit C"),
    ("Temp (°C)", lambda c: f"{c + 273.15:.1f}", "--unit K"),
    ("Temp (°C)", lambda c: f"{c * 0.041 - 0.5:.3f}", "--unit mV"),
])  # fmt: skip
def test_a_stated_unit_is_doubted(
    tmp_path: Path, head: str, cell: Callable[[float], str], option: str
) -> None:
    text = table(f"Time,{head}", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{cell(c)}")
    assert option in opened(tmp_path / "log.csv", text)[1]


def test_watts_are_no_kiln(tmp_path: Path) -> None:
    text = table("Time,P,T", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{5000 + 20 * (n % 9)},{c}")
    taken, _ = opened(tmp_path / "log.csv", text)
    assert taken == "T"


def test_a_kiln_stands_before_its_second(tmp_path: Path) -> None:
    text = table("Time,Kiln 2,Kiln", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c - 9:.1f},{c}")
    assert opened(tmp_path / "log.csv", text)[0] == "Kiln"


def test_channels_without_telling_names_are_doubted(tmp_path: Path) -> None:
    text = table("Time,A,B", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{c},{c - 3 + n % 2}")
    assert "--channel B" in opened(tmp_path / "log.csv", text)[1]


def test_two_kilns_far_apart_are_doubted(tmp_path: Path) -> None:
    text = table("Time,T1,T2", lambda at, c, n: f"{at:%Y-%m-%d %H:%M},{0.6 * c + 8:.1f},{c}")
    assert "--channel" in opened(tmp_path / "log.csv", text)[1]


def test_a_first_climb_shows_its_set_point(tmp_path: Path) -> None:
    """A program has no hold yet, and goes in a straight line ahead of the reading."""
    chance = np.random.default_rng(3)
    text = table("Time,A,B", lambda at, c, n: (
        f"{at:%Y-%m-%d %H:%M},{20 + 9 * n:.1f},{15 + 9 * n + chance.normal(0, 1):.1f}"
    ))  # fmt: skip
    assert opened(tmp_path / "log.csv", text)[0] == "B"


@pytest.mark.parametrize("pack", [gzip.compress, bz2.compress])
def test_what_unpacks_without_end_is_refused_before_it_fills_the_memory(
    pack: Callable[[bytes], bytes], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (path := tmp_path / "log.csv").write_bytes(pack(b"0" * 12_000_000))
    monkeypatch.setattr(containers, "_MOST_BYTES", 8_000_000)
    tracemalloc.start()
    try:
        with pytest.raises(FiringError, match="unpack it and give the log in it"):
            open_log(path, None, ReadingOptions())
        assert tracemalloc.get_traced_memory()[1] < 6_000_000
    finally:
        tracemalloc.stop()
