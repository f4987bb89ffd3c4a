"""The one place where the screens ask for a forecast, and what it depends on."""

from dataclasses import dataclass, field, replace
from datetime import datetime

from firing.errors import FiringError
from firing.forecast.forecast import forecast
from firing.forecast.opening import UNLOAD_C
from firing.forecast.result import Forecast
from firing.report.words import Timekeeper, forecast_times
from firing.schedule.schedule import Schedule

from .equipment import Equipment


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What a forecast depends on besides the schedule."""

    started: datetime | None = None
    """When the program starts, with its time zone."""
    target_cone: str | None = None
    """Target cone."""
    unload_c: float = UNLOAD_C
    """The temperature the kiln is opened at [°C]."""
    equipment: Equipment = field(default_factory=Equipment)
    """The kiln, load, controller and tariff chosen."""


def forecast_plan(schedule: Schedule, circumstances: Circumstances) -> Forecast:
    """Return the forecast of a schedule under the circumstances chosen.

    Raises `FiringError` if it cannot be forecast.
    """
    equipment = circumstances.equipment
    result = forecast(
        schedule,
        started=circumstances.started,
        target_cone=circumstances.target_cone,
        unload_c=circumstances.unload_c,
        kiln=None if equipment.kiln is None else equipment.kiln.value,
        load=None if equipment.load is None else equipment.load.value,
        waits=equipment.controller is None or equipment.controller.value.waits,
    )
    if equipment.tariff is None or result.kiln is None or result.started is None:
        return result
    from firing.forecast.in_kiln import with_tariff

    return with_tariff(result, equipment.tariff.value, None, None)


def forecast_fitting(schedule: Schedule, circumstances: Circumstances) -> tuple[Forecast, str]:
    """Return the forecast, without a load that does not fit the plan, and why it was left out.

    Raises `FiringError` if it cannot be forecast without the load either.
    """
    try:
        return forecast_plan(schedule, circumstances), ""
    except FiringError as error:
        equipment = circumstances.equipment
        if equipment.load is None:
            raise
        bare = replace(circumstances, equipment=replace(equipment, load=None))
        return forecast_plan(schedule, bare), str(error)


def ranges_known(result: Forecast) -> bool:
    """Whether the ranges can be shown without a dozen simulations."""
    return result.kiln is None or result.kiln.ranges_known


def stages_known(result: Forecast) -> bool:
    """Whether what happens along it can be shown without loading all that is known of ware."""
    return "stages" in vars(result)


def plan_times(result: Forecast) -> Timekeeper:
    """Return the clock of a forecast, up to the latest opening as far as that is known."""
    if ranges_known(result):
        return forecast_times(result)
    return Timekeeper(result.started, max(result.total_s, result.program_s))
