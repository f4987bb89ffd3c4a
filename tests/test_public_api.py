"""``import firing as fi``: what a notebook sees, and that its examples are true."""

import ast
import dataclasses
import doctest
import importlib
import inspect
import json
import pickle
import re
import subprocess
import sys
import tomllib
from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from html import unescape
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd
import plotly.graph_objects as go
import pytest

import firing as fi

ROOT = Path(__file__).parents[1]
DEMO = files("firing") / "data" / "demo"
LONGEST_REPR = 240
HOSTILE = '<script>alert("x")</script> & more\n\x1b[31m'


# -- names ------------------------------------------------------------------------------------


def test_type_checkers_see_the_names_that_are_there() -> None:
    source = inspect.getsource(fi)
    block = next(node for node in ast.parse(source).body if isinstance(node, ast.If))
    seen = {
        alias.asname: (node.module, alias.name)
        for node in block.body
        if isinstance(node, ast.ImportFrom)
        for alias in node.names
    }
    assert seen == {name: (home, name) for name, home in fi._HOME.items()}
    assert set(fi.__all__) == {*seen, "__version__"}
    assert dir(fi) == sorted(fi.__all__)


@pytest.mark.parametrize("name", sorted(set(fi.__all__) - {"__version__"}))
def test_every_public_name_is_explained(name: str) -> None:
    public = getattr(fi, name)
    assert callable(public)
    assert public.__name__.removeprefix("firing.") == name
    told = inspect.getdoc(public) or ""
    assert told
    if dataclasses.is_dataclass(public):
        named = re.findall(r"^([a-z_][\w, *]*?)(?: :.*)?$", told, re.M)
        entries = {entry for line in named for entry in re.split(r",\s*", line.strip("*,"))}
        fields = {one.name for one in dataclasses.fields(public) if not one.name.startswith("_")}
        assert fields <= entries
    elif inspect.isfunction(public):
        assert "Examples\n--------" in told
        signature = inspect.signature(public)
        for parameter in signature.parameters:
            assert re.search(rf"^(?:[\w*, ]+, )?\**{parameter}\b.*$", told, re.M), parameter
        assert ("Returns\n-------" in told) == (signature.return_annotation != "None")


def test_the_version_is_the_packages() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert fi.__version__ == project["version"]


def test_a_name_that_is_not_there_is_refused() -> None:
    with pytest.raises(AttributeError, match="forecasts"):
        fi.forecasts  # type: ignore[attr-defined]  # noqa: B018


def run(code: str, cwd: Path) -> str:
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, cwd=cwd, check=True
    )
    return done.stdout


@pytest.mark.parametrize("first", ["forecast.forecast", "design.designer", "review.review", "api"])
def test_a_room_never_takes_the_place_of_a_function(first: str, tmp_path: Path) -> None:
    code = (
        f"import firing.{first}\nimport firing as fi, inspect\n"
        "from firing.forecast.result import Forecast\n"
        "print([inspect.isfunction(f) for f in (fi.forecast, fi.design, fi.review)])\n"
        "import firing.report.page\nprint(inspect.isfunction(fi.forecast), Forecast is fi.Forecast)"
    )
    assert run(code, tmp_path).split("\n")[:2] == ["[True, True, True]", "True True"]


def test_a_rooms_module_is_imported_as_any_other_is() -> None:
    import firing.design.designer as designer
    import firing.forecast.result as result
    import firing.review.review as review

    assert [designer.__name__, result.__name__, review.__name__] == [
        "firing.design.designer", "firing.forecast.result", "firing.review.review",
    ]  # fmt: skip
    assert result.Forecast is fi.Forecast


def test_importing_the_package_loads_nothing_else(tmp_path: Path) -> None:
    code = "import sys\nbefore = set(sys.modules)\nimport firing\nprint(set(sys.modules) - before)"
    loaded: set[str] = ast.literal_eval(run(code, tmp_path))
    assert {name for name in loaded if name.startswith("firing")} == {"firing"}
    assert {name.split(".")[0] for name in loaded} <= {"firing", "importlib", "types", "warnings"}


def test_an_answer_of_the_chart_loads_numpy_and_nothing_heavier(tmp_path: Path) -> None:
    code = (
        "import firing as fi, json, sys\nfi.hold_needed('6', at_c=1200.0)\n"
        "print(json.dumps(sorted({m.split('.')[0] for m in sys.modules})))"
    )
    loaded = set(json.loads(run(code, tmp_path)))
    assert "numpy" in loaded
    assert not loaded & {"pandas", "plotly", "scipy", "pydantic", "tomlkit", "click", "textual"}


# -- examples ---------------------------------------------------------------------------------

EXPLAINED = {name: getattr(fi, name) for name in fi.__all__ if name != "__version__"}


def examples() -> dict[str, doctest.DocTest]:
    """Return every docstring of the public objects that has examples."""
    finder = doctest.DocTestFinder(exclude_empty=True)
    found = doctest.DocTestFinder(recurse=False).find(fi, "firing", globs={})
    for name, public in EXPLAINED.items():
        found += finder.find(public, f"fi.{name}", globs={"np": np})
    return {test.name: test for test in found if test.examples}


EXAMPLES = examples()


def test_every_public_function_has_an_example() -> None:
    functions = {f"fi.{name}" for name, one in EXPLAINED.items() if inspect.isfunction(one)}
    assert functions <= set(EXAMPLES)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_the_examples_are_true_and_leave_nothing_behind(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
    said: list[str] = []
    runner = doctest.DocTestRunner(verbose=False)
    result = runner.run(EXAMPLES[name], out=said.append)
    assert result.attempted
    assert not result.failed, "".join(said)
    assert not list(tmp_path.iterdir())


# -- jobs -------------------------------------------------------------------------------------


def steady(title: str = "test tiles") -> fi.Schedule:
    """Return 100 to 1000 °C at 100 °C/h, held for half an hour: 9.5 hours by arithmetic."""
    return fi.Schedule(title, (fi.Segment(1000.0, 100.0, hold_s=1800.0),), start_c=100.0)


def test_a_plan_is_taken_as_object_name_string_or_path(tmp_path: Path) -> None:
    path = tmp_path / "plan.toml"
    fi.write_schedule(steady(), path)
    for given in (steady(), path, str(path)):
        assert fi.forecast(given).program_s == pytest.approx(9.5 * 3600)
    assert fi.read_schedule("thin-ware-bisque").purpose == "bisque"


def test_a_file_comes_before_a_ready_name(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    fi.write_schedule(steady("mine"), tmp_path / "thin-ware-bisque")
    monkeypatch.chdir(tmp_path)
    assert fi.read_schedule("thin-ware-bisque").title == "mine"


@pytest.mark.parametrize(
    "read",
    [fi.read_schedule, fi.read_kiln, fi.read_load, fi.read_controller, fi.read_tariff, fi.read_log],
)
def test_a_file_that_is_not_there_is_refused_in_a_sentence(read: object, tmp_path: Path) -> None:
    assert callable(read)
    with pytest.raises(fi.FiringError, match="nowhere"):
        read(tmp_path / "nowhere.toml")


PLAN = fi.Schedule("tiles", (fi.Segment(900.0, 100.0),))
NAN, NEVER = float("nan"), np.array([0.0, 1.0])


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda: fi.end_point_c(6, 60.0), 'write it as text: "6"'),  # type: ignore[arg-type]
        (lambda: fi.hold_needed("x" * 9999, 1200.0), "is not a cone"),
        (lambda: fi.peak_needed("6", 600.0, kind=5), "kind: 5 is no text"),  # type: ignore[arg-type]
        (lambda: fi.forecast(5), "5 is no Schedule"),  # type: ignore[arg-type]
        (lambda: fi.forecast(PLAN, kiln=PLAN), "is no KilnDescription"),  # type: ignore[arg-type]
        (lambda: fi.forecast(PLAN, started="07:30"), "give a datetime"),  # type: ignore[arg-type]
        (lambda: fi.forecast("x" * 999), "no such file"),
        (lambda: fi.forecast(PLAN, started=datetime(1, 1, 1, tzinfo=UTC)), "the years 1971"),
        (lambda: fi.calendar(PLAN), "is no Forecast; give a Forecast or"),  # type: ignore[arg-type]
        (lambda: fi.Segment(NAN, 100.0), "nan °C is no temperature of a kiln"),
        (
            lambda: fi.review(PLAN, fi.Trace([0.0, 36e6], [20.0, 520.0], ("kiln",), "measured")),
            "these readings last 417 days: divide times in milliseconds by 1000",
        ),
        # A table of readings is named, not printed.
        (lambda: fi.forecast(pd.DataFrame({"a": [1.5]})), "this DataFrame is no Schedule"),  # type: ignore[arg-type]
        (lambda: fi.Schedule("t", 5), "5 is no list; give"),  # type: ignore[arg-type]
        (lambda: fi.Segment(900.0, 1e308), "no kiln climbs"),
        (lambda: fi.Segment(900.0, 1e-308), "never arrives"),
        (lambda: fi.Segment(900.0, 100.0, hold_s=1e308), "longer than a year"),
        (lambda: fi.Schedule("x", PLAN.segments, start_c=1e308), "no temperature of a kiln"),
        (lambda: fi.Piece("cup", 1, 5.0, float("inf")), "needs a count"),
        (lambda: fi.heat_work([0.0, NAN, 2.0], [900.0] * 3), "time of every reading"),
        (lambda: fi.read_log("log.csv", unit="X"), "write one of C, F"),  # type: ignore[arg-type]
        (lambda: fi.ReadingOptions(part=0), "a whole number from 1"),
        (lambda: fi.ReadingOptions(unit=NEVER), "unit = .* is no option"),  # type: ignore[arg-type]
        (lambda: fi.ReadingOptions(as_logged=1), "True or False"),  # type: ignore[arg-type]
        (lambda: fi.heat_work([0.0, 1.0], [900.0] * 2, []), "no cone is asked for"),
        (lambda: fi.cone_reached(NEVER, NEVER, offset_c=NAN), "offset_c = nan is no offset"),
        (lambda: fi.resume(PLAN, DEMO / "log.csv", ago_s=NAN), "ago_s = nan is no time"),
        (lambda: fi.review_fleet("out", "log.csv", workers=-1), "workers = -1 reviews nothing"),
        (
            lambda: fi.compare(DEMO / "plan.toml", [DEMO / "log.csv"] * 2, align="x"),  # type: ignore[arg-type]
            "write segment or clock",
        ),
        (lambda: fi.keep_firing("log.csv", kwh=NAN), "give a number of 0 or more"),
        (
            lambda: fi.design("example-load-thin-cups", "bisque", cone="04", drop_to_c=NAN),
            "drop_to_c = nan is no figure",
        ),
    ],
)
def test_what_is_absurd_is_a_sentence(ask: Callable[[], object], said: str) -> None:
    with pytest.raises(fi.FiringError, match=said):
        ask()


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda book: book.show("1"), "firing: '1' is no whole number"),
        (lambda book: book.firings("bisque"), "which: 'bisque' is no Filter"),
        (lambda book: book.events(1), "kiln: 1 is no text"),
        (lambda book: book.keep("log.csv", None), "is no Entry; give an Entry"),
        (lambda book: book.add_event("Barrel", "party", "", at_s=0.0), "write one of"),
        (lambda book: book.backup(5), "a path as text or Path"),
        (lambda _: fi.Logbook.open(5), "a path as text or Path"),  # type: ignore[arg-type]
    ],
)
def test_a_method_refuses_another_type_in_a_sentence(
    ask: Callable[[Any], object], said: str, tmp_path: Path
) -> None:
    with (
        fi.Logbook.open(tmp_path / "logbook.sqlite") as book,
        pytest.raises(fi.FiringError, match=said),
    ):
        ask(book)


# -- values of another type -------------------------------------------------------------------


class Stranger:
    """What no function takes."""


WRONG = (
    *(Stranger(), Stranger, 1j, b"6", {1}, {"a": 1}, [Stranger()], [None, "x", 1.0]),
    *([[1.0], 2.0], np.array([1 + 1j]), np.array(["a", 1.0], dtype=object)),
    np.datetime64("2026-01-01"),
)
REQUIRED = {
    **dict.fromkeys(("controller", "kiln", "load", "log", "out", "path", "tariff"), "x"),
    "change": "hold",
    "cone": "6",
    "fault": "x",
    "legs": "x",
    "purpose": "bisque",
    "at_c": 1200.0,
    "hold_s": 0.0,
    "rate_c_per_h": 60.0,
    "schedule": PLAN,
    **dict.fromkeys(("logs", "paths"), ("x",)),
    **dict.fromkeys(("time_s", "temperature_c"), (1, 2)),
}
FUNCTIONS = {name: one for name, one in EXPLAINED.items() if inspect.isfunction(one)}
RECORDS: list[Any] = [
    *(PLAN, PLAN.segments[0], fi.read_kiln("example-kiln"), fi.read_tariff("example-tariff")),
    *(fi.read_load("example-load-thin-cups"), fi.read_controller("example-controller")),
    fi.read_load("example-load-thin-cups").pieces[0],
    fi.Trace(np.array([0.0, 1.0]), np.array([20.0, 21.0]), ("kiln",), "planned"),
]


def refused_as(place: str, ask: Callable[[], object]) -> None:
    """Ask, and hold the refusal to naming the argument and what to give, on one line."""
    with pytest.raises(fi.FiringError) as refused:
        ask()
    said = str(refused.value)
    assert re.fullmatch(rf"{place}: .* is no .*; (give|write) .*", said), said


@pytest.mark.parametrize("name", sorted(FUNCTIONS))
def test_a_function_names_the_argument_of_another_type(name: str) -> None:
    parameters = inspect.signature(FUNCTIONS[name]).parameters
    needed = {p: REQUIRED.get(p) for p, one in parameters.items() if one.default is one.empty}
    for place in parameters:
        for wrong in WRONG:
            refused_as(place, lambda given=needed | {place: wrong}: FUNCTIONS[name](**given))


@pytest.mark.parametrize("record", RECORDS, ids=lambda one: type(one).__name__)
def test_a_record_names_the_field_of_another_type(record: Any) -> None:
    for field in dataclasses.fields(record):
        for wrong in WRONG:
            refused_as(
                field.name, lambda given={field.name: wrong}: dataclasses.replace(record, **given)
            )


def test_every_function_that_takes_something_says_that_it_refuses() -> None:
    for name, function in FUNCTIONS.items():
        if inspect.signature(function).parameters:
            assert re.search(r"Raises\n-+\nFiringError\n", inspect.getdoc(function) or ""), name


def test_lists_and_arrays_stand_in_for_each_other() -> None:
    assert fi.Schedule("tiles", [fi.Segment(900.0, 100.0)]) == PLAN  # type: ignore[arg-type]
    listed = fi.cone_reached([0.0, 72120.0], [20.0, 1222.0])  # type: ignore[arg-type]
    assert listed.reached == "6"  # the chart's cone 6 at 60 °C/h
    assert fi.heat_work(pd.Series([0, 3600]), pd.Series([1200, None, 1200])[[0, 2]], ["6"])


def test_another_librarys_moment_is_one() -> None:
    moment = pd.Timestamp("2026-11-27 20:00")
    assert fi.forecast(steady(), started=moment).started == datetime(2026, 11, 27, 20).astimezone()


def test_a_public_function_goes_to_another_process_and_back() -> None:
    assert pickle.loads(pickle.dumps(fi.forecast)) is fi.forecast


def test_every_example_file_is_read_by_one_reader() -> None:
    readers = (fi.read_kiln, fi.read_load, fi.read_controller, fi.read_tariff)
    for name in fi.example_files():
        taken = []
        for read in readers:
            try:
                taken.append(read(name))
            except fi.FiringError:
                continue
        assert len(taken) == 1, name


def test_a_start_without_a_zone_is_on_this_computers_clock() -> None:
    course = fi.forecast(steady(), started=datetime(2026, 11, 27, 20))
    assert course.started == datetime(2026, 11, 27, 20).astimezone()


def test_a_tariff_gives_a_cost_with_a_start_and_else_the_cheapest_start() -> None:
    start = datetime(2026, 11, 27, 20, tzinfo=UTC)
    plan, kiln, tariff = "thin-ware-bisque", "example-kiln", fi.read_tariff("example-tariff")
    priced = fi.forecast(plan, kiln=kiln, tariff=tariff, started=start).kiln
    assert priced is not None
    assert priced.cost is not None
    prices = [price for price, _ in priced.cost.kwh_by_price]
    assert sum(p * kwh for p, kwh in priced.cost.kwh_by_price) == pytest.approx(priced.cost.amount)
    searched = fi.forecast(plan, kiln=kiln, tariff="example-tariff").kiln
    assert searched is not None
    assert searched.starts.cheapest is not None
    cheapest = searched.starts.cheapest.cost.amount
    assert min(prices) * searched.energy_kwh - 1e-6 <= cheapest <= priced.cost.amount + 1e-6
    with pytest.raises(fi.FiringError, match="kiln"):
        fi.forecast(plan, tariff=tariff)


def test_starts_are_found_that_put_the_peak_into_waking_hours() -> None:
    window = "2026-11-27 00:00 to 2026-11-28 00:00"
    course = fi.forecast(
        "thin-ware-bisque", kiln="example-kiln", window=window, awake="07:00-22:00"
    )
    assert course.kiln is not None
    assert course.kiln.starts.awake
    heats = timedelta(seconds=course.segments[course.schedule.peak_index].ramp_end_s)
    for first, last in course.kiln.starts.awake:
        for moment in (first, last):
            assert 7 <= (datetime.fromisoformat(moment) + heats).hour <= 22


def test_a_design_keeps_what_is_asked_of_it() -> None:
    load = fi.Load((fi.Piece("tile", 20, 12.0, 0.4),), "bone dry")
    made = fi.design(
        load, "bisque", top_c=1000.0, max_segments=4, hold_at_least_s=1200.0,
        slow_cool_c_per_h=60.0, slow_cool_to_c=700.0,
    )  # fmt: skip
    assert len(made.schedule.segments) <= 4
    assert made.schedule.peak_c == 1000.0
    assert made.schedule.segments[made.schedule.peak_index].hold_s >= 1200.0
    last = made.schedule.segments[-1]
    assert last.target_c == pytest.approx(700.0, abs=1.0)
    assert last.rate_c_per_h is not None
    assert last.rate_c_per_h <= 60.0


def test_meter_readings_are_one_for_each_log() -> None:
    with pytest.raises(fi.FiringError, match="each log"):
        fi.fit_kiln("example-kiln", [DEMO / "log.csv"], kwh=[50.0, 51.0])


# -- what a notebook shows ----------------------------------------------------------------------


@pytest.fixture(scope="module")
def shown() -> dict[str, object]:
    """Return one of every result, of the demo and of ready files."""
    plan, log = fi.read_schedule(DEMO / "plan.toml"), fi.read_log(DEMO / "log.csv")
    course = fi.forecast(plan, kiln="example-kiln", load="example-load-glazed-cups")
    cut = int(np.searchsorted(log.trace.time_s, 8 * 3600.0))
    part = fi.Trace(
        log.trace.time_s[:cut], log.trace.temperature_c[:cut], log.trace.channels, "measured"
    )
    stopped = importlib.import_module("firing.design.resume").resume(
        plan, part.time_s, part.channel_c()
    )
    return {
        "Schedule": plan,
        "Log": log,
        "Trace": part,
        "Forecast": course,
        "ConeVerdict": course.cones,
        "WaysToCone": fi.ways_to_cone("6"),
        "Review": fi.review(plan, log),
        "Design": fi.design("example-load-thin-cups", "bisque", cone="06"),
        "Resumption": stopped,
        "KilnFit": fi.fit_kiln("example-kiln", [log], schedule=plan),
        "KilnDescription": fi.read_kiln("example-kiln"),
    }


def test_a_repr_is_one_short_line(shown: dict[str, object]) -> None:
    for name, one in shown.items():
        assert type(one).__name__ == name
        assert repr(one).startswith(f"<{name} ")
        assert "\n" not in repr(one)
        assert len(repr(one)) <= LONGEST_REPR


def test_a_forecasts_repr_has_title_peak_hours_and_cone() -> None:
    words = repr(fi.forecast(steady()))
    assert "'test tiles'" in words
    assert "9 h 30 min to 1000 °C" in words
    assert "cone 06" in words or "cone 07" in words  # 998 and 985 °C at 60 °C/h in the chart


def test_every_result_has_a_table_and_a_frame(shown: dict[str, object]) -> None:
    for name, one in shown.items():
        if name == "KilnDescription":
            continue
        markup = one._repr_html_()  # type: ignore[attr-defined]
        assert "<table>" in markup
        assert "<script" not in markup
        assert len(one.to_pandas()) > 0  # type: ignore[attr-defined]


def test_hostile_text_is_escaped() -> None:
    plan = fi.Schedule(
        HOSTILE, (fi.Segment(1000.0, 100.0, name=HOSTILE, action=HOSTILE),), start_c=100.0
    )
    for one in (plan, fi.forecast(plan)):
        assert "\n" not in repr(one)
        assert "\x1b" not in repr(one)
        markup = one._repr_html_()
        assert "<script" not in markup
        assert "\x1b" not in markup
        assert "&lt;script&gt;" in markup


def test_a_schedules_frame_is_its_segments() -> None:
    frame = fi.read_schedule("mid-range-glaze-cone-6-hold").to_pandas()
    assert list(frame.index) == [1, 2, 3, 4, 5]
    assert frame.target_c.max() == 1200.0
    # Each segment begins where the one before ended.
    assert list(frame.from_c[1:]) == list(frame.target_c[:-1])


def test_a_traces_frame_has_its_times_and_moments() -> None:
    start = datetime(2026, 3, 1, 18, tzinfo=UTC)
    trace = fi.Trace(
        np.array([0.0, 90.0]), np.array([[20.0, 21.0], [30.0, np.nan]]), ("top", "low"), "measured",
        duty=np.array([0.0, 1.0]), started=start,
    )  # fmt: skip
    frame = trace.to_pandas()
    assert list(frame.columns) == ["at", "top_c", "low_c", "duty"]
    assert list(frame.index) == [0.0, 90.0]
    assert frame.index.name == "time_s"
    assert frame["at"].iloc[1] == datetime(2026, 3, 1, 18, 1, 30, tzinfo=UTC)
    assert frame["low_c"].isna().tolist() == [False, True]


def test_the_causes_of_a_reviews_frame_add_up_to_the_excess(shown: dict[str, object]) -> None:
    review = shown["Review"]
    assert isinstance(review, fi.Review)
    frame = review.to_pandas()
    causes = [f"{cause.cause}_s" for cause in review.causes]
    told = frame[[name for name in causes if name in frame]].sum(axis=1)
    np.testing.assert_allclose(told, frame.excess_s, atol=1e-6)
    np.testing.assert_allclose(frame.actual_s - frame.planned_s, frame.excess_s, atol=1e-6)


def test_plots_draw_what_was_measured(shown: dict[str, object]) -> None:
    for name in ("Schedule", "Trace", "Log", "Forecast", "Review", "Design"):
        figure = shown[name].plot()  # type: ignore[attr-defined]
        assert isinstance(figure, go.Figure)
        assert figure.data
    log = shown["Log"]
    assert isinstance(log, fi.Log)
    drawn = log.plot().data[0]
    assert max(drawn.y) == pytest.approx(np.nanmax(log.trace.channel_c()), abs=0.1)
    ramp = steady().plot().data[0]
    assert list(ramp.x) == pytest.approx([0.0, 9.0, 9.5])  # hours
    assert list(ramp.y) == [100.0, 1000.0, 1000.0]


def test_a_trace_keeps_its_own_arrays_and_leaves_its_callers_alone() -> None:
    time_s, temperature_c = np.array([0.0, 60.0]), np.array([20.0, 30.0])
    duty = np.array([0.0, 1.0])
    trace = fi.Trace(time_s, temperature_c, ("kiln",), "measured", duty=duty)
    for theirs in (time_s, temperature_c, duty):
        theirs += 1.0  # still writable, and no matter to the trace
    assert trace.time_s.tolist() == [0.0, 60.0]
    assert trace.channel_c().tolist() == [20.0, 30.0]
    assert trace.duty is not None
    assert trace.duty.tolist() == [0.0, 1.0]
    with pytest.raises(ValueError, match="read-only"):
        trace.time_s[0] = 1.0


def test_a_trace_without_readings_is_shown_too() -> None:
    start = datetime(2026, 3, 1, 18, tzinfo=UTC)
    nothing = fi.Trace(np.empty(0), np.empty((0, 1)), ("kiln",), "measured", started=start)
    gap = fi.Trace(np.array([0.0, 60.0]), np.array([np.nan, np.nan]), ("kiln",), "measured")
    for trace in (nothing, gap):
        assert "kiln no reading" in repr(trace)
        assert "<td" in trace._repr_html_()
        assert len(trace.to_pandas()) == trace.time_s.size
        assert isinstance(trace.plot(), go.Figure)


def test_a_review_that_was_refused_says_why() -> None:
    plan = fi.read_schedule("decal")
    review = fi.review(plan, DEMO / "log.csv")
    assert review.refused
    assert "not compared" in repr(review)
    assert len(repr(review)) <= LONGEST_REPR
    shown = unescape(review._repr_html_()).replace("\N{NO-BREAK SPACE}", " ")
    assert review.refused in shown
    assert review.to_pandas().empty
    assert isinstance(review.plot(), go.Figure)


def test_readings_in_columns_are_a_log_without_a_file() -> None:
    """5 h at 100 °C/h, half an hour at 520 °C, and 5 h down to 120 °C: the plan, to the minute."""
    table = pd.DataFrame({"s": np.arange(0, 37860, 60)})
    table["c"] = np.interp(table.s, [0, 18000, 19800, 37800], [20.0, 520.0, 520.0, 120.0])
    read = fi.Trace(table.s, table.c, ("kiln",), "measured")
    plan = fi.Schedule("tiles", (fi.Segment(520.0, 100.0, hold_s=1800.0),))
    found = fi.review(plan, read)
    assert found.actual_s == pytest.approx(19800.0, abs=60.0)
    assert found.log.name == "readings"
    json.dumps(found.to_dict())
    assert len(fi.compare(plan, [read, read]).firings) == 2
    half = fi.Trace([0, 9000], [20, 270], ("kiln",), "measured")
    assert "1 segment left" in repr(fi.resume(plan, half))
    with pytest.raises(fi.FiringError, match="at least two readings, and this trace has 1"):
        fi.review(plan, fi.Trace([0], [20], ("kiln",), "measured"))
