"""Plan, forecast and review the firings of a studio pottery kiln.

>>> import firing as fi
>>> fi.end_point_c("6", rate_c_per_h=60)  # the maker's chart: cone 6 at 60 °C/h
1222.0

``import firing`` costs nothing: a public name is loaded when it is first used, with no more than
it computes with.  A value of another type than the signature states is refused with a
`FiringError` that names it and says what to give.  Temperatures are °C, rates °C/h and times
seconds, as the names say.
"""

import importlib
import sys
from types import FunctionType, ModuleType

TYPE_CHECKING = False  # type checkers take the name for true; the typing module is not loaded

if TYPE_CHECKING:
    from firing.api import compare as compare
    from firing.api import design as design
    from firing.api import example_files as example_files
    from firing.api import fit_kiln as fit_kiln
    from firing.api import forecast as forecast
    from firing.api import guide as guide
    from firing.api import heat_work as heat_work
    from firing.api import keep_firing as keep_firing
    from firing.api import learn_kiln as learn_kiln
    from firing.api import plan_for_cone as plan_for_cone
    from firing.api import read_controller as read_controller
    from firing.api import read_kiln as read_kiln
    from firing.api import read_load as read_load
    from firing.api import read_schedule as read_schedule
    from firing.api import read_tariff as read_tariff
    from firing.api import ready_schedules as ready_schedules
    from firing.api import resume as resume
    from firing.api import review as review
    from firing.api import review_fleet as review_fleet
    from firing.api import trends as trends
    from firing.api import write_schedule as write_schedule
    from firing.cones.cone_at import cone_at as cone_at
    from firing.cones.equivalence import ConeVerdict as ConeVerdict
    from firing.cones.equivalence import cone_reached as cone_reached
    from firing.cones.holds import hold_needed as hold_needed
    from firing.cones.holds import peak_needed as peak_needed
    from firing.cones.holds import rate_needed as rate_needed
    from firing.cones.kinetics import end_point_c as end_point_c
    from firing.cones.ways import ways_to_cone as ways_to_cone
    from firing.controller.controller import Controller as Controller
    from firing.design.guide import Guide as Guide
    from firing.design.result import Design as Design
    from firing.design.resume import Resumption as Resumption
    from firing.errors import FiringError as FiringError
    from firing.fleet.summary import FleetSummary as FleetSummary
    from firing.forecast.result import Forecast as Forecast
    from firing.kiln.description import KilnDescription as KilnDescription
    from firing.kiln.fit_result import KilnFit as KilnFit
    from firing.kiln.tariff import Tariff as Tariff
    from firing.logbook.store import Logbook as Logbook
    from firing.logs.options import ReadingOptions as ReadingOptions
    from firing.logs.reader import Log as Log
    from firing.logs.reader import read_log as read_log
    from firing.logs.reader import read_logs as read_logs
    from firing.report.calendar import FiringCalendar as FiringCalendar
    from firing.report.calendar import calendar as calendar
    from firing.review.overlay import Overlay as Overlay
    from firing.review.result import Review as Review
    from firing.schedule.schedule import Schedule as Schedule
    from firing.schedule.schedule import Segment as Segment
    from firing.trace import Trace as Trace
    from firing.version import __version__ as __version__
    from firing.ware.load import Load as Load
    from firing.ware.load import Piece as Piece

_HOME = {
    "ConeVerdict": "firing.cones.equivalence",
    "Controller": "firing.controller.controller",
    "Design": "firing.design.result",
    "FiringCalendar": "firing.report.calendar",
    "FiringError": "firing.errors",
    "FleetSummary": "firing.fleet.summary",
    "Forecast": "firing.forecast.result",
    "Guide": "firing.design.guide",
    "KilnDescription": "firing.kiln.description",
    "KilnFit": "firing.kiln.fit_result",
    "Load": "firing.ware.load",
    "Log": "firing.logs.reader",
    "Overlay": "firing.review.overlay",
    "Logbook": "firing.logbook.store",
    "Piece": "firing.ware.load",
    "ReadingOptions": "firing.logs.options",
    "Resumption": "firing.design.resume",
    "Review": "firing.review.result",
    "Schedule": "firing.schedule.schedule",
    "Segment": "firing.schedule.schedule",
    "Tariff": "firing.kiln.tariff",
    "Trace": "firing.trace",
    "__version__": "firing.version",
    "calendar": "firing.report.calendar",
    "compare": "firing.api",
    "cone_at": "firing.cones.cone_at",
    "cone_reached": "firing.cones.equivalence",
    "design": "firing.api",
    "end_point_c": "firing.cones.kinetics",
    "example_files": "firing.api",
    "fit_kiln": "firing.api",
    "forecast": "firing.api",
    "guide": "firing.api",
    "heat_work": "firing.api",
    "keep_firing": "firing.api",
    "learn_kiln": "firing.api",
    "hold_needed": "firing.cones.holds",
    "peak_needed": "firing.cones.holds",
    "plan_for_cone": "firing.api",
    "rate_needed": "firing.cones.holds",
    "read_controller": "firing.api",
    "read_kiln": "firing.api",
    "read_load": "firing.api",
    "read_log": "firing.logs.reader",
    "read_logs": "firing.logs.reader",
    "read_schedule": "firing.api",
    "read_tariff": "firing.api",
    "ready_schedules": "firing.api",
    "resume": "firing.api",
    "review": "firing.api",
    "trends": "firing.api",
    "review_fleet": "firing.api",
    "ways_to_cone": "firing.cones.ways",
    "write_schedule": "firing.api",
}
"""Where each public name is defined; the block above says the same to type checkers."""

_CALLED_LIKE_ROOMS = ("design", "forecast", "review")

__all__ = [*_HOME]


if not TYPE_CHECKING:  # a type checker knows every name from above, and should refuse others

    def __getattr__(name: str) -> object:
        if name not in _HOME:
            raise AttributeError(f"module 'firing' has no attribute {name!r}")
        value = getattr(importlib.import_module(_HOME[name]), name)
        if isinstance(value, FunctionType):
            from firing.arguments import checked

            value = checked(value)
            value.__module__ = __name__  # where a copy in another process finds it by its name
        if name in _CALLED_LIKE_ROOMS:
            # By this name `import firing.review.review as …` finds the modules of the room.
            value.__name__ = f"firing.{name}"
        globals()[name] = value
        return value


def __dir__() -> list[str]:
    return sorted(__all__)


class _Front(ModuleType):
    """The package itself, where a public name stays what it is.

    The rooms ``forecast``, ``design`` and ``review`` are called like the functions.  Importing a
    room would put it in the function's place here; the room is reached by its imports as before.
    """

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _HOME and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Front
