"""The library's jobs as a notebook asks for them: files by path or ready name, plain arguments.

Everything here is thin: it reads what is named and calls the room that does the work.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from os import PathLike, fspath
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from firing.clock import YEARS
from firing.errors import FiringError
from firing.forecast.opening import UNLOAD_C

if TYPE_CHECKING:
    from numpy.typing import ArrayLike

    from firing.controller.controller import Controller
    from firing.design.guide import Guide
    from firing.design.result import Design
    from firing.design.resume import Resumption
    from firing.fleet.summary import FleetSummary
    from firing.forecast.cone_target import PlanForCone
    from firing.forecast.result import Forecast
    from firing.heat.default_kiln import UsualKiln
    from firing.kiln.description import KilnDescription
    from firing.kiln.fit_result import KilnFit
    from firing.kiln.tariff import Tariff
    from firing.logbook.learning import Learnt
    from firing.logbook.record import Firing
    from firing.logbook.wear import Trends
    from firing.logs.options import ReadingOptions
    from firing.logs.reader import Log
    from firing.review.overlay import Align, Overlay
    from firing.review.result import Review, Witness
    from firing.schedule.schedule import Purpose, Schedule
    from firing.trace import Trace
    from firing.ware.load import Load
    from firing.ware.practice import By

    PathOrName = str | PathLike[str]


def ready_schedules() -> list[str]:
    """Return the names of the ready schedules.

    Returns
    -------
    list of str
        As every function that takes a plan reads them.

    Examples
    --------
    >>> import firing as fi
    >>> "mid-range-glaze-cone-6-hold" in fi.ready_schedules()
    True
    """
    from firing.files.kinds import ready_names

    return ready_names()


def example_files() -> list[str]:
    """Return the names of the example kiln, loads, controller and tariff.

    Returns
    -------
    list of str
        As every function that takes such a file reads them.

    Examples
    --------
    >>> import firing as fi
    >>> "example-kiln" in fi.example_files()
    True
    """
    from firing.files.kinds import example_names

    return example_names()


def read_schedule(schedule: PathOrName) -> Schedule:
    """Read a schedule file, or a ready schedule by its name.

    Parameters
    ----------
    schedule : str or path
        A TOML file, or one of `ready_schedules`.  A file of that name comes first.

    Returns
    -------
    Schedule

    Raises
    ------
    FiringError
        If there is neither, or with every fault of the file.

    Examples
    --------
    >>> import firing as fi
    >>> plan = fi.read_schedule("mid-range-glaze-cone-6-hold")
    >>> plan.peak_c, plan.segments[-1].hold_s
    (1200.0, 1800.0)
    """
    from firing.schedule.file import open_schedule

    return open_schedule(fspath(schedule))


def write_schedule(
    schedule: Schedule, path: str | PathLike[str], *, overwrite: bool = False
) -> None:
    """Write a schedule file, whole or not at all.

    Parameters
    ----------
    schedule : Schedule
        What to write, in its own unit.
    path : str or path
        Where to.
    overwrite : bool
        Whether a file that is there already is replaced.

    Raises
    ------
    FiringError
        If the file exists and `overwrite` is false, or it cannot be written.

    Examples
    --------
    >>> import firing as fi
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> plan = fi.Schedule("test tiles", (fi.Segment(620.0, 100.0),))
    >>> with TemporaryDirectory() as folder:
    ...     fi.write_schedule(plan, Path(folder) / "tiles.toml")
    ...     fi.read_schedule(Path(folder) / "tiles.toml") == plan
    True
    """
    from firing.schedule.file import write_schedule

    write_schedule(schedule, Path(path), overwrite=overwrite)


def read_kiln(kiln: PathOrName) -> KilnDescription:
    """Read a kiln file, or the example kiln by its name.

    Parameters
    ----------
    kiln : str or path
        A TOML file, or ``"example-kiln"``.

    Returns
    -------
    KilnDescription

    Raises
    ------
    FiringError
        If there is neither, or with every fault of the file.

    Examples
    --------
    >>> import firing as fi
    >>> kiln = fi.read_kiln("example-kiln")
    >>> round(kiln.full_amps * kiln.volts / kiln.available_w, 6)  # one phase: P = V I
    1.0
    """
    from firing.kiln.file import open_kiln

    return open_kiln(fspath(kiln))


def read_load(load: PathOrName) -> Load:
    """Read a load file, or an example load by its name.

    Parameters
    ----------
    load : str or path
        A TOML file, or one of `example_files`.

    Returns
    -------
    Load

    Raises
    ------
    FiringError
        If there is neither, or with every fault of the file.

    Examples
    --------
    >>> import firing as fi
    >>> load = fi.read_load("example-load-planters-and-cups")
    >>> load.thickest.thickest_mm
    18.0
    """
    from firing.ware.file import open_load

    return open_load(fspath(load))


def read_controller(controller: PathOrName) -> Controller:
    """Read a controller file, or the example controller by its name.

    Parameters
    ----------
    controller : str or path
        A TOML file, or ``"example-controller"``.

    Returns
    -------
    Controller

    Raises
    ------
    FiringError
        If there is neither, or with every fault of the file.

    Examples
    --------
    >>> import firing as fi
    >>> fi.read_controller("example-controller").waits
    True
    """
    from firing.controller.file import open_controller

    return open_controller(fspath(controller))


def read_tariff(tariff: PathOrName) -> Tariff:
    """Read a tariff file, or the example tariff by its name.

    Parameters
    ----------
    tariff : str or path
        A TOML file, or ``"example-tariff"``.

    Returns
    -------
    Tariff

    Raises
    ------
    FiringError
        If there is neither, or with every fault of the file.

    Examples
    --------
    >>> import firing as fi
    >>> fi.read_tariff("example-tariff").currency
    'EUR'
    """
    from firing.kiln.tariff_file import open_tariff

    return open_tariff(fspath(tariff))


def forecast(
    schedule: Schedule | PathOrName,
    *,
    kiln: KilnDescription | PathOrName | None = None,
    load: Load | PathOrName | None = None,
    tariff: Tariff | PathOrName | None = None,
    started: datetime | None = None,
    window: str | None = None,
    awake: str | None = None,
    target_cone: str | None = None,
    unload_c: float = UNLOAD_C,
    waits: bool = True,
    margin: float = 1.5,
    kiln_size: str | None = None,
) -> Forecast:
    """Say what a schedule will do: hours, opening time, cone, energy and warnings.

    Parameters
    ----------
    schedule : Schedule, str or path
        The plan, its file, or the name of a ready one.
    kiln : KilnDescription, str or path, optional
        The kiln that the firing is simulated in.  Without one the ramps are taken as written.
    load : Load, str or path, optional
        What is in it.  The firing is then checked against the ware's limits, too.
    tariff : Tariff, str or path, optional
        Electricity prices; needs a kiln.  With `started` the forecast has the cost, without it the
        cheapest start of the next two days.
    started : datetime, optional
        When the program starts; without a time zone, on this computer's clock.
    window, awake : str, optional
        Look for starts in here, ``"2026-03-01 18:00 to 2026-03-02 12:00"``, and for those that put
        the peak into these hours, ``"07:00-22:00"``.
    target_cone : str, optional
        The cone to reach, if not the schedule's own.
    unload_c : float
        The kiln is opened at this temperature [°C].
    waits : bool
        Whether the controller's clock waits when the kiln lags.
    margin : float
        Safety margin on the ware's limits, 1 to 5.
    kiln_size : str, optional
        Without a kiln, its volume, brick wall and where it opens: ``"300 l, 115 mm, front"``.

    Returns
    -------
    Forecast

    Raises
    ------
    FiringError
        If a file is faulty, a ramp cannot be forecast, or a tariff has no kiln to go with.

    Examples
    --------
    100 to 1000 °C at 100 °C/h is 9 hours, and a hold of half an hour comes on top:

    >>> import firing as fi
    >>> plan = fi.Schedule("test tiles", (fi.Segment(1000.0, 100.0, hold_s=1800.0),), start_c=100.0)
    >>> course = fi.forecast(plan)
    >>> course.program_s / 3600
    9.5
    >>> course.total_s > course.program_s  # it cools by itself, to 60 °C
    True

    In a kiln the energy is known, and the course is a data frame or a figure:

    >>> course = fi.forecast("thin-ware-bisque", kiln="example-kiln")
    >>> course.kiln.energy_kwh > 0
    True
    >>> list(course.to_pandas().columns)
    ['temperature_c']
    """
    from firing.cones.table import parse_cone
    from firing.forecast.forecast import forecast

    result = forecast(
        _schedule(schedule),
        started=_on_the_clock(started),
        unload_c=unload_c,
        target_cone=None if target_cone is None else parse_cone(target_cone),
        kiln=_kiln(kiln),
        load=_load(load),
        waits=waits,
        margin=margin,
        usual=_usual(kiln, kiln_size),
    )
    if tariff is None and window is None and awake is None:
        return result
    from firing.forecast.in_kiln import with_tariff

    prices = _tariff(tariff)
    return with_tariff(result, prices, window, awake)


def design(
    load: Load | PathOrName,
    purpose: Purpose,
    *,
    cone: str | None = None,
    top_c: float | None = None,
    kiln: KilnDescription | PathOrName | None = None,
    controller: Controller | PathOrName | None = None,
    max_segments: int | None = None,
    margin: float = 1.5,
    peak_at_most_c: float | None = None,
    hold_at_least_s: float = 0.0,
    hold_at_most_s: float | None = None,
    final_at_most_c_per_h: float | None = None,
    degas_hold_s: float = 0.0,
    drop_to_c: float | None = None,
    drop_hold_s: float = 0.0,
    slow_cool_c_per_h: float | None = None,
    slow_cool_to_c: float | None = None,
    unload_c: float = UNLOAD_C,
    kiln_size: str | None = None,
    by: By = "slower",
    reserve: float = 0.1,
    fastest: bool = False,
) -> Design:
    """Make the fastest schedule that is safe for a load.

    Parameters
    ----------
    load : Load, str or path
        What is fired.
    purpose : {"bisque", "glaze", "once-fired", "decal"}
        What it is fired for.
    cone, top_c : str, float, optional
        Where the firing ends: the target cone, or the top temperature [°C].  One of the two.
    kiln : KilnDescription, str or path, optional
        The kiln; default curves stand in for it.
    controller : Controller, str or path, optional
        What the program is keyed into; 8 segments in whole °C/h, °C and minutes if not given.
    max_segments : int, optional
        At most so many segments, whatever the controller takes.
    margin : float
        Safety margin on the ware's limits, 1 to 5; 1.5 is common practice.
    peak_at_most_c, hold_at_least_s, hold_at_most_s, final_at_most_c_per_h : float, optional
        What is allowed at the top [°C, s, s, °C/h].
    degas_hold_s : float
        Hold before the glaze seals, so that gases leave [s].
    drop_to_c, drop_hold_s : float, optional
        Drop from the peak to here and hold [°C, s].
    slow_cool_c_per_h, slow_cool_to_c : float, optional
        Slow-cool at most this fast until this temperature [°C/h, °C].
    unload_c : float
        The time from closing to opening at this temperature is made shortest [°C].
    kiln_size : str, optional
        Without a kiln, its volume, brick wall and where it opens: ``"300 l, 115 mm, front"``.
    by : {"practice", "physics", "slower"}
        Which limits of the ware count: the trade's, the computed ones, or both.
    reserve : float
        The program is still kept with elements weaker by this share; 0 uses full power.
    fastest : bool
        Use every segment that saves time, not the fewest within 3 % of the fastest.

    Returns
    -------
    Design

    Raises
    ------
    FiringError
        If the ware is to dry first, saying how; or if demands leave no schedule, naming the two
        that collide.

    Examples
    --------
    >>> import firing as fi
    >>> made = fi.design("example-load-planters-and-cups", "bisque", top_c=980.0)
    >>> made.safe, made.schedule.peak_c
    (True, 980.0)
    >>> len(made.schedule.segments) <= 8
    True
    """
    from firing.controller.controller import Controller
    from firing.design.designer import design
    from firing.design.request import FEW_WITHIN, Bounds, CoolingRequest, DesignRequest

    keyed = _controller(controller)
    if max_segments is not None:
        keyed = replace(keyed or Controller(), max_segments=max_segments)
    request = DesignRequest(
        purpose,
        cone=cone,
        top_c=top_c,
        bounds=Bounds(peak_at_most_c, hold_at_least_s, hold_at_most_s, final_at_most_c_per_h),
        margin=margin,
        cooling=CoolingRequest(drop_to_c, drop_hold_s, slow_cool_c_per_h, slow_cool_to_c),
        open_c=unload_c,
        usual=_usual(kiln, kiln_size),
        by=by,
        reserve=reserve,
        degas_s=degas_hold_s,
        few_within=0.0 if fastest else FEW_WITHIN,
    )
    found: Load = _given(load, read_load)
    return design(found, request, kiln=_kiln(kiln), controller=keyed)


def guide(
    fault: str,
    schedule: Schedule | PathOrName | None = None,
    *,
    kiln: KilnDescription | PathOrName | None = None,
    load: Load | PathOrName | None = None,
    cone: str | None = None,
) -> Guide:
    """Say what can cause a fault of the ware, where in a plan, and what to change there.

    Parameters
    ----------
    fault : str
        In the trade's words: ``"pinholes"``, ``"black core"``, ``"dunting"`` and others.
    schedule : Schedule, str or path, optional
        The plan that the ware was fired by.
    kiln : KilnDescription, str or path, optional
        The kiln, for the forecast of the changed plan.
    load : Load, str or path, optional
        The ware: the changed plan is checked against its limits.
    cone : str, optional
        The target cone, for glaze that is under- or over-fired.

    Returns
    -------
    Guide

    Raises
    ------
    FiringError
        If the fault is not known, or a file is faulty.

    Examples
    --------
    A bisque at 150 °C/h passes 600 to 900 °C in two hours, and practice takes five over it:

    >>> import firing as fi
    >>> quick = fi.Schedule("jars", (fi.Segment(950.0, 150.0),), purpose="bisque")
    >>> found = fi.guide("black core", quick)
    >>> [segment.rate_c_per_h for segment in found.changed.segments]
    [150.0, 60.0, 150.0]
    """
    from firing.design.guide import guide

    plan = None if schedule is None else _schedule(schedule)
    return guide(fault, plan, kiln=_kiln(kiln), load=_load(load), cone=cone)


def review(
    schedule: Schedule | PathOrName,
    log: Log | Trace | PathOrName,
    *,
    channel: str | int | None = None,
    due: datetime | None = None,
    target_cone: str | None = None,
    kiln: KilnDescription | PathOrName | None = None,
    load: Load | PathOrName | None = None,
    witnesses: Sequence[Witness | str] = (),
    compare_with: Log | Trace | PathOrName | Sequence[Log | Trace | PathOrName] | None = None,
) -> Review:
    """Compare a kiln's log with the schedule it should have followed.

    Parameters
    ----------
    schedule : Schedule, str or path
        The plan, its file, or the name of a ready one.
    log : Log, Trace, str or path
        The log, or its file; `read_log` takes what a file leaves open.  Readings that are in arrays
        already are a `Trace`.
    channel : str or int, optional
        The kiln's channel, by name or by number from 1; found if not given.
    due : datetime, optional
        When the firing was to start; what came before is then a late start.
    target_cone : str, optional
        Target cone, if not the schedule's own.
    kiln, load : KilnDescription and Load, str or path, optional
        The kiln, and what was in it: what was possible is then known.
    witnesses : sequence of str or Witness
        Cones that stood in the kiln, such as ``"6=3:00@top"``, ``"6=down"``, ``"7=standing"``.
    compare_with : Log, Trace, str or path, or several, optional
        Another firing of the plan, to set beside this one.

    Returns
    -------
    Review

    Raises
    ------
    FiringError
        If a file cannot be read, or the channel has no two readings.

    Examples
    --------
    The minutes of the causes add up to the excess, whatever happened:

    >>> import firing as fi
    >>> from importlib.resources import files
    >>> demo = files("firing") / "data" / "demo"
    >>> found = fi.review(demo / "plan.toml", demo / "log.csv")
    >>> found.excess_s > 0
    True
    >>> abs(sum(cause.seconds for cause in found.causes) - found.excess_s) < 1e-6
    True
    >>> len(found.to_pandas()) == len(found.schedule.segments)
    True

    Readings in arrays: five hours at 100 °C/h to 520 °C, as planned, and five of cooling.

    >>> read = fi.Trace([0, 18000, 36000], [20, 520, 120], ("kiln",), "measured")
    >>> plan = fi.Schedule("test tiles", (fi.Segment(520.0, 100.0),))
    >>> fi.review(plan, read).actual_s / 3600
    5.0
    """
    from firing.logs.reader import pick_channel
    from firing.review.review import review
    from firing.review.witness import parse_witness

    read = _log(log)
    if compare_with is None:
        others = []
    elif isinstance(compare_with, str | PathLike) or not isinstance(compare_with, Sequence):
        others = [_log(compare_with)]
    else:
        others = [_log(each) for each in compare_with]
    plan = _schedule(schedule)
    if target_cone is not None:
        from firing.cones.table import parse_cone

        plan = replace(plan, cone=parse_cone(target_cone))
    return review(
        plan,
        read,
        channel=pick_channel(read, channel),
        due=_on_the_clock(due),
        kiln=_kiln(kiln),
        load=_load(load),
        witnesses=tuple(parse_witness(w) if isinstance(w, str) else w for w in witnesses),
        compare_with=others,
        compare_channel=[pick_channel(other, channel) for other in others],
    )


def compare(
    schedule: Schedule | PathOrName,
    logs: Sequence[Log | Trace | PathOrName],
    *,
    align: Align = "segment",
    channel: str | int | None = None,
    kiln: KilnDescription | PathOrName | None = None,
    load: Load | PathOrName | None = None,
) -> Overlay:
    """Lay several firings of one plan over each other.

    Parameters
    ----------
    schedule : Schedule, str or path
        The plan, its file, or the name of a ready one.
    logs : sequence of Log, Trace, str or path
        Two to six logs, or their files.
    align : {"segment", "clock"}
        Whether every segment begins at one place for all, or time counts from when each began to
        heat.
    channel : str or int, optional
        The kiln's channel of every log, by name or by number from 1; found if not given.
    kiln, load : KilnDescription and Load, str or path, optional
        The kiln, and what was in it.

    Returns
    -------
    Overlay

    Raises
    ------
    FiringError
        If a file cannot be read, or there are fewer than two logs or more than six.

    Examples
    --------
    A firing and itself differ in nothing, and every segment of both begins at one place:

    >>> import firing as fi
    >>> from importlib.resources import files
    >>> demo = files("firing") / "data" / "demo"
    >>> both = fi.compare(demo / "plan.toml", [demo / "log.csv"] * 2)
    >>> both.remarks
    ('Nothing differs by more than firings of one program do.',)
    >>> both.firings[0].at_s == both.firings[1].at_s
    True
    """
    from firing.review.overlay import overlay

    plan, described, loaded = _schedule(schedule), _kiln(kiln), _load(load)
    reviews = [review(plan, log, channel=channel, kiln=described, load=loaded) for log in logs]
    return overlay(reviews, align)


def keep_firing(
    log: PathOrName,
    logbook: str | PathLike[str] | None = None,
    *,
    schedule: PathOrName | None = None,
    kiln: PathOrName | None = None,
    load: PathOrName | None = None,
    witnesses: Sequence[str] = (),
    notes: Sequence[str] = (),
    kwh: float | None = None,
    cost: float | None = None,
    currency: str = "",
    member: str = "",
) -> Firing:
    """Keep the log of a firing in the logbook; the same log twice is one firing.

    Parameters
    ----------
    log : str or path
        The log's file.
    logbook : path, optional
        The logbook's file; by default this user's own.
    schedule, kiln, load : str or path, optional
        What it was fired by, in and with: files or ready names.  Without them the plan and kiln
        are found among those the logbook knows.
    witnesses : sequence of str
        Cones that stood in the kiln, such as ``"6=3:00@top"``.
    notes : sequence of str
        Anything to remember.
    kwh, cost, currency, member : optional
        The energy by a meter [kWh], what it cost, and who fired.

    Returns
    -------
    Firing
        As the logbook has it now.

    Raises
    ------
    FiringError
        If the log can't be read, or the logbook can't be written.

    Examples
    --------
    >>> import firing as fi
    >>> from importlib.resources import files
    >>> from tempfile import TemporaryDirectory
    >>> demo, folder = files("firing") / "data" / "demo", TemporaryDirectory()
    >>> book = folder.name + "/studio.sqlite"
    >>> kept = fi.keep_firing(demo / "log.csv", book, schedule=demo / "plan.toml", kwh=58.0)
    >>> again = fi.keep_firing(demo / "log.csv", book)
    >>> kept.id == again.id, again.kwh
    (True, 58.0)
    >>> folder.cleanup()
    """
    from firing.logbook.keeping import keep_one
    from firing.logbook.record import Entry
    from firing.logbook.store import Logbook

    for name, told in (("kwh", kwh), ("cost", cost)):
        if told is not None and not 0.0 <= told < 1e9:
            raise FiringError(f"{name} = {told!r:.60} is no amount; give a number of 0 or more")
    place = None if logbook is None else Path(logbook)
    said = Entry(
        "",
        b"",
        witnesses=tuple(witnesses),
        notes=tuple(notes),
        kwh=kwh,
        cost=cost,
        currency=currency,
        member=member,
    )
    named = [None if one is None else str(one) for one in (schedule, kiln, load)]
    kept = keep_one(Path(log), place=place, plan=named[0], kiln=named[1], load=named[2], said=said)
    assert kept.id is not None
    with Logbook.open(place) as book:
        return book.show(kept.id)


def trends(kiln: str, logbook: str | PathLike[str] | None = None) -> Trends:
    """Return how a kiln's elements and thermocouple have aged, by its kept firings.

    Parameters
    ----------
    kiln : str
        The kiln's name in the logbook.
    logbook : path, optional
        The logbook's file; by default this user's own.

    Returns
    -------
    Trends
        Its `wear` has the firings left until the peak is out of reach, its `sensor` what the
        thermocouple reads wrong; either says what is missing where nothing can be said yet.

    Raises
    ------
    FiringError
        If there is no such logbook, or no such kiln in it.

    Examples
    --------
    One firing is not enough:

    >>> import firing as fi
    >>> from importlib.resources import files
    >>> from tempfile import TemporaryDirectory
    >>> demo, folder = files("firing") / "data" / "demo", TemporaryDirectory()
    >>> book = folder.name + "/studio.sqlite"
    >>> kept = fi.keep_firing(
    ...     demo / "log.csv", book, schedule=demo / "plan.toml", kiln="example-kiln"
    ... )
    >>> fi.trends("Workshop kiln", book)
    <Trends 'Workshop kiln': 1 firing, not foretold>
    >>> folder.cleanup()
    """
    from firing.logbook.record import Filter
    from firing.logbook.store import Logbook
    from firing.logbook.wear import trends_of

    with Logbook.open(None if logbook is None else Path(logbook), create=False) as book:
        name = book.kiln_called(kiln)
        if name not in book.kilns():
            raise FiringError(f"{kiln}: the logbook holds no kiln of that name")
        return trends_of(name, book.firings(Filter(kiln=name)), book.events(name))


def learn_kiln(
    kiln: KilnDescription | PathOrName, logbook: str | PathLike[str] | None = None
) -> Learnt:
    """Learn a kiln from all its kept firings: walls shared, power on a path, a load each time.

    Parameters
    ----------
    kiln : KilnDescription, str or path
        The kiln; its firings go by its name in the logbook.
    logbook : path, optional
        The logbook's file; by default this user's own.

    Returns
    -------
    Learnt
        The change of power and its level apart, what the logs cannot show, and as `fitted` what a
        kiln file would hold.

    Raises
    ------
    FiringError
        If the logbook holds no firing of that kiln, or they show too little.

    Examples
    --------
    Without a meter a log knows ratios only:

    >>> import firing as fi
    >>> from importlib.resources import files
    >>> from tempfile import TemporaryDirectory
    >>> demo, folder = files("firing") / "data" / "demo", TemporaryDirectory()
    >>> book = folder.name + "/studio.sqlite"
    >>> kept = fi.keep_firing(
    ...     demo / "log.csv", book, schedule=demo / "plan.toml", kiln="example-kiln"
    ... )
    >>> fi.learn_kiln("example-kiln", book).anchored
    False
    >>> folder.cleanup()
    """
    from firing.logbook.keeping import records_of
    from firing.logbook.learning import learn
    from firing.logbook.store import Logbook

    described = _kiln(kiln)
    assert described is not None
    with Logbook.open(None if logbook is None else Path(logbook), create=False) as book:
        records, worked_on = records_of(book, book.kiln_called(described.name))
    if not records:
        raise FiringError(f'the logbook holds no firing of "{described.name}"')
    return learn(described, records, worked_on)


def resume(
    schedule: Schedule | PathOrName,
    log: Log | Trace | PathOrName,
    *,
    channel: str | int | None = None,
    load: Load | PathOrName | None = None,
    kiln: KilnDescription | PathOrName | None = None,
    controller: Controller | PathOrName | None = None,
    cone: str | None = None,
    margin: float = 1.5,
    reads_c: float | None = None,
    ago_s: float = 0.0,
) -> Resumption:
    """Say what to key in now, after an interruption.

    Parameters
    ----------
    schedule : Schedule, str or path
        The program that was interrupted.
    log : Log, Trace, str or path
        The firing so far.
    channel : str or int, optional
        The kiln's channel, by name or by number from 1; found if not given.
    load, kiln, controller : optional
        The ware, the kiln and the controller, as objects, files or example names.
    cone : str, optional
        The target cone; without it, log and rest come to what the whole program would have.
    margin : float
        Safety margin on the ware's limits, 1 to 5.
    reads_c, ago_s : float, optional
        What the kiln reads now [°C], and how long after the log's last reading [s].

    Returns
    -------
    Resumption
        Its `schedule` is what to key in; None if nothing is left to heat.

    Raises
    ------
    FiringError
        If the log has fewer than two readings, or the reading now cannot be right.

    Examples
    --------
    The demo's firing ran to its end, so nothing is left to heat:

    >>> import firing as fi
    >>> from importlib.resources import files
    >>> demo = files("firing") / "data" / "demo"
    >>> found = fi.resume(demo / "plan.toml", demo / "log.csv")
    >>> found.done_x > 0.97 * found.wanted_x
    True
    """
    from firing.clock import parse_when
    from firing.design.resume import resume
    from firing.logs.reader import pick_channel

    read = _log(log)
    return resume(
        _schedule(schedule),
        read.trace.time_s,
        read.trace.channel_c(pick_channel(read, channel)),
        load=_load(load),
        kiln=_kiln(kiln),
        controller=_controller(controller),
        cone=cone,
        margin=margin,
        reads_c=reads_c,
        ago_s=ago_s,
        started=read.trace.started,
        clock=parse_when("now"),
    )


def fit_kiln(
    kiln: KilnDescription | PathOrName,
    logs: Sequence[Log | Trace | PathOrName],
    *,
    schedule: Schedule | PathOrName | Sequence[Schedule | PathOrName] | None = None,
    load: Load | PathOrName | Sequence[Load | PathOrName] | None = None,
    kwh: Sequence[float] = (),
    elements_new: bool = False,
    on: date | None = None,
    channel: str | int | None = None,
) -> KilnFit:
    """Learn a kiln's power, losses and heat capacity from the logs of its firings.

    Parameters
    ----------
    kiln : KilnDescription, str or path
        The kiln as it is described.
    logs : sequence of Log, Trace, str or path
        One firing or more.
    schedule : Schedule, str or path, or a sequence of them, optional
        The program they were run by, or one for each log.
    load : Load, str or path, or a sequence of them, optional
        What was in the kiln, or one for each log.
    kwh : sequence of float
        What a meter counted over each firing [kWh], in the order of the logs.
    elements_new : bool
        Whether the elements were new.
    on : date, optional
        The day to date the result, for logs that have none.
    channel : str or int, optional
        The kiln's channel, by name or by number from 1; found if not given.

    Returns
    -------
    KilnFit
        `cannot_tell` lists what these logs leave open.

    Raises
    ------
    FiringError
        If a log is too short, or shows nothing of the elements.

    Examples
    --------
    >>> import firing as fi
    >>> from importlib.resources import files
    >>> demo = files("firing") / "data" / "demo"
    >>> fit = fi.fit_kiln("example-kiln", [demo / "log.csv"], schedule=demo / "plan.toml")
    >>> fit.power.se > 0, fit.anchored
    (True, False)
    """
    from firing.kiln.fit import fit_kiln
    from firing.review.fit_input import fit_input_of

    if kwh and len(kwh) != len(logs):
        raise FiringError(f"{len(kwh)} meter readings for {len(logs)} logs; give one for each log")
    plans = [_schedule(one) for one in _each(schedule, len(logs), "schedules")]
    loads = [_load(one) for one in _each(load, len(logs), "loads")]
    records = [
        fit_input_of(
            _log(log),
            schedule=plans[number] if plans else None,
            load=loads[number] if loads else None,
            kwh=kwh[number] if kwh else None,
            channel=channel,
        )
        for number, log in enumerate(logs)
    ]
    described: KilnDescription = _given(kiln, read_kiln)
    return fit_kiln(described, records, elements_new=elements_new, on=on, try_walls=True)


def _each(given: Any, logs: int, words: str) -> Sequence[Any]:
    """Return one for each log: those given, or the one that is given for all."""
    if given is None:
        return ()
    if isinstance(given, str) or not isinstance(given, Sequence):
        return [given] * logs
    if len(given) != logs:
        raise FiringError(f"{len(given)} {words} for {logs} logs; give one, or one for each log")
    return given


def plan_for_cone(
    schedule: Schedule | PathOrName,
    change: Literal["hold", "peak", "rate"],
    *,
    cone: str | None = None,
    kiln: KilnDescription | PathOrName | None = None,
    load: Load | PathOrName | None = None,
    waits: bool = True,
) -> PlanForCone:
    """Change one thing about a plan's peak so that a cone is just down.

    Parameters
    ----------
    schedule : Schedule, str or path
        The plan, its file, or the name of a ready one.
    change : {"hold", "peak", "rate"}
        What is changed, in the segment that reaches the peak.
    cone : str, optional
        The cone, if not the schedule's own.
    kiln, load : KilnDescription and Load, str or path, optional
        What the firing is simulated with; the whole forecast is counted in.
    waits : bool
        Whether the controller's clock waits when the kiln lags.

    Returns
    -------
    PlanForCone
        Its `schedule` is the plan with it, `words` says what and its range.

    Raises
    ------
    FiringError
        If no cone is named, a file is faulty, or nothing within reason does it.

    Examples
    --------
    >>> import firing as fi
    >>> found = fi.plan_for_cone("mid-range-glaze-cone-6-hold", "hold", cone="7")
    >>> found.low < found.value < found.high
    True
    >>> fi.forecast(found.schedule).cones.reached
    '7'
    """
    from firing.forecast.cone_target import plan_for_cone
    from firing.forecast.forecast import forecast

    plan = _schedule(schedule)
    wanted = plan.cone if cone is None else cone
    if wanted is None:
        raise FiringError('no cone is named; write cone="6", or cone = "6" in the schedule')
    inside, ware = _kiln(kiln), _load(load)
    return plan_for_cone(
        plan,
        wanted,
        change,
        lambda changed: forecast(changed, kiln=inside, load=ware, waits=waits),
    )


def review_fleet(
    out: PathOrName,
    logs: PathOrName | None = None,
    *,
    plans: PathOrName | None = None,
    kilns: PathOrName | None = None,
    tariff: Tariff | PathOrName | None = None,
    options: ReadingOptions | None = None,
    channel: str | None = None,
    engine: Literal["pool", "dask"] = "pool",
    scheduler: str | None = None,
    workers: int | None = None,
) -> FleetSummary:
    """Review every log of a folder into a table, and sum the table up.

    Needs the extra ``fleet``.  A second call reviews only what is new.

    Parameters
    ----------
    out : str or path
        Folder or fsspec address of the table: Parquet files, a row a log.
    logs : str or path, optional
        Folder, file or fsspec address of the logs; without it the table is summed up as it is.
    plans, kilns : str or path, optional
        Folders of the schedule and kiln files, or one of them.  A log is of those whose names
        stand in its path, else of those that its course fits.
    tariff : Tariff, str or path, optional
        Prices, for the cost.
    options : ReadingOptions, optional
        How the logs are read.
    channel : str, optional
        The kiln's channel; found if not given.
    engine : {"pool", "dask"}
        Processes of this computer, or a Dask cluster.
    scheduler : str, optional
        The Dask scheduler to use, such as ``tcp://host:8786``.
    workers : int, optional
        How many; one a core if not given.

    Returns
    -------
    FleetSummary
        By kiln, plan and month, and what to look at first.

    Raises
    ------
    FiringError
        If the extra is missing, a plan or kiln has a fault, there is no log, or the table cannot
        be written; what was reviewed until then is kept.

    Examples
    --------
    >>> import firing as fi
    >>> from importlib.resources import files
    >>> from tempfile import TemporaryDirectory
    >>> demo = files("firing") / "data" / "demo"
    >>> with TemporaryDirectory() as out:
    ...     found = fi.review_fleet(out, demo / "log.csv", plans=demo / "plan.toml")
    >>> found.logs, found.plans[0].plan
    (1, 'plan')
    """
    from firing.fleet.summary import summarise
    from firing.fleet.table import FleetTable

    table = FleetTable(fspath(out))
    if logs is not None:
        from firing.fleet.inputs import studio_of
        from firing.fleet.jobs import FolderLogs
        from firing.fleet.run import review_all

        prices = _tariff(tariff)
        studio = studio_of(
            None if plans is None else fspath(plans),
            None if kilns is None else fspath(kilns),
            tariff=prices, options=options, channel=channel,
        )  # fmt: skip
        review_all(FolderLogs(fspath(logs)), table, studio,
                   engine=engine, scheduler=scheduler, workers=workers)  # fmt: skip
    return summarise(table)


def heat_work(
    time_s: ArrayLike, temperature_c: ArrayLike, cones: Iterable[str] | None = None
) -> dict[str, float]:
    """Return the heat-work of a course for each cone.

    Parameters
    ----------
    time_s : array_like, shape (n,)
        Times [s], increasing.
    temperature_c : array_like, shape (n,)
        Temperatures [°C]; NaN where there is no reading.
    cones : iterable of str, optional
        Cones in any spelling; every self-supporting cone if not given.

    Returns
    -------
    dict of str to float
        Heat-work by cone [1], by the law alone; a cone is down from 1.  `cone_reached` says which
        cone a firing reached, tied to the chart and with its range.

    Raises
    ------
    FiringError
        If time does not increase, there are fewer than two readings, a temperature is absurd, or
        a cone is not made.

    Examples
    --------
    The law sums up over time, so twice the time at the same heat is twice the heat-work:

    >>> import firing as fi
    >>> once = fi.heat_work([0, 3600], [1200, 1200], ["6"])["6"]
    >>> twice = fi.heat_work([0, 7200], [1200, 1200], ["6"])["6"]
    >>> round(twice / once, 6)
    2.0
    """
    import numpy as np

    from firing.cones.heatwork import heatwork

    times = np.asarray(time_s, dtype=np.float64)
    return heatwork(times, np.asarray(temperature_c, dtype=np.float64), cones)


def _given(given: Any, read: Callable[[Any], Any]) -> Any:
    """Return what was given as an object, or as the name of its file."""
    return read(given) if isinstance(given, str | PathLike) else given


def _schedule(given: Schedule | PathOrName) -> Schedule:
    found: Schedule = _given(given, read_schedule)
    return found


def _usual(kiln: KilnDescription | PathOrName | None, size: str | None) -> UsualKiln:
    from firing.heat.default_kiln import TRIAL, parse_size

    if size is not None and kiln is not None:
        raise FiringError("a kiln and a kiln_size were given; leave kiln_size out")
    return TRIAL if size is None else parse_size(size)


def _kiln(given: KilnDescription | PathOrName | None) -> KilnDescription | None:
    found: KilnDescription | None = _given(given, read_kiln)
    return found


def _load(given: Load | PathOrName | None) -> Load | None:
    found: Load | None = _given(given, read_load)
    return found


def _controller(given: Controller | PathOrName | None) -> Controller | None:
    found: Controller | None = _given(given, read_controller)
    return found


def _tariff(given: Tariff | PathOrName | None) -> Tariff | None:
    found: Tariff | None = _given(given, read_tariff)
    return found


def _log(given: Log | Trace | PathOrName) -> Log:
    from firing.logs.reader import log_of, read_log
    from firing.trace import Trace

    if isinstance(given, Trace):
        return log_of(given)
    found: Log = _given(given, lambda name: read_log(Path(name)))
    return found


def _on_the_clock(moment: datetime | None) -> datetime | None:
    """Return a moment with its time zone; one without stands on this computer's clock."""
    if moment is not None and not YEARS[0] <= moment.year <= YEARS[1]:
        raise FiringError(f"{moment} is outside the years {YEARS[0]} to {YEARS[1]}")
    return moment.astimezone() if moment is not None and moment.tzinfo is None else moment
