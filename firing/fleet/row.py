"""One log as one row: the columns of the table, with their words.

The columns are the fields of `Row`: names carry units, and null stands for what is not known.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from datetime import datetime
from typing import Annotated, Literal

from firing.review.result import Cause

Status = Literal["reviewed", "other program", "no plan", "unreadable", "failed"]
"""``failed`` is no fault of the log: the machine ran out of time or memory; it is tried again."""


@dataclass(frozen=True, slots=True)
class Row:
    """One log; every field is a column, null where nothing is known."""

    log: Annotated[str, "path or address of the log; no two rows share one"]
    status: Annotated[Status, "reviewed, other program, no plan, unreadable or failed"]
    sentence: Annotated[str | None, "why it is not reviewed, in one sentence"] = None
    log_sha256: Annotated[bytes | None, "SHA-256 of the log's bytes"] = None
    log_bytes: Annotated[int | None, "size of the log [bytes]"] = None
    log_mark: Annotated[str | None, "when the log was last written, as its storage says"] = None
    basis: Annotated[str | None, "hash of the code, plan, kiln, prices and options it rests on"] = (
        None
    )
    kiln: Annotated[str | None, "the kiln file's name"] = None
    kiln_by: Annotated[str | None, "how the kiln was chosen"] = None
    kiln_file: Annotated[str | None, "path of the kiln file"] = None
    plan: Annotated[str | None, "the plan file's name"] = None
    plan_by: Annotated[str | None, "how the plan was chosen"] = None
    plan_file: Annotated[str | None, "path of the plan file"] = None
    started_at: Annotated[datetime | None, "first reading [UTC]"] = None
    month: Annotated[str | None, "month of the first reading on the log's own clock: 2026-03"] = (
        None
    )
    dated_by: Annotated[str | None, "where the month is from: log, or name (of the file)"] = None
    readings: Annotated[int | None, "readings used"] = None
    interval_s: Annotated[float | None, "median time between readings [s]"] = None
    gaps: Annotated[int | None, "stretches that the log lacks"] = None
    planned_s: Annotated[float | None, "the program's own arithmetic [s]"] = None
    forecast_s: Annotated[float | None, "what the kiln model expects of the program [s]"] = None
    actual_s: Annotated[
        float | None, "what the program took; null if its end is not in the log [s]"
    ] = None
    excess_s: Annotated[float | None, "actual less planned [s]"] = None
    ended: Annotated[str | None, "where the log of the program ends: program, stopped or log"] = (
        None
    )
    cause: Annotated[Cause | None, "the cause that most of the excess is charged to"] = None
    late_start_s: Annotated[float | None, "part of the excess: started late [s]"] = None
    power_limited_s: Annotated[float | None, "part of the excess: couldn't keep up [s]"] = None
    interruption_s: Annotated[float | None, "part of the excess: interrupted [s]"] = None
    other_program_s: Annotated[
        float | None, "part of the excess: fired differently from plan [s]"
    ] = None
    waiting_s: Annotated[float | None, "part of the excess: waiting for the kiln [s]"] = None
    longer_hold_s: Annotated[float | None, "part of the excess: hold ran long [s]"] = None
    shorter_hold_s: Annotated[float | None, "part of the excess: hold ran short [s]"] = None
    slow_cooling_s: Annotated[float | None, "part of the excess: cooled slower [s]"] = None
    fast_cooling_s: Annotated[float | None, "part of the excess: cooled faster [s]"] = None
    unexplained_s: Annotated[float | None, "part of the excess: not explained [s]"] = None
    peak_c: Annotated[float | None, "highest reading [°C]"] = None
    planned_peak_c: Annotated[float | None, "the plan's highest target [°C]"] = None
    cone: Annotated[str | None, "hottest cone down"] = None
    cone_number: Annotated[float | None, "the cone reached as a running number"] = None
    planned_cone_number: Annotated[float | None, "the cone that the plan comes to, likewise"] = None
    uneven_c: Annotated[float | None, "hottest less coldest channel over the last hour [°C]"] = None
    uneven_cones: Annotated[float | None, "hottest less coldest channel in cones"] = None
    cooling_s: Annotated[float | None, "natural cooling after the program [s]"] = None
    cooling_forecast_s: Annotated[float | None, "the same as expected [s]"] = None
    power_over_loss: Annotated[
        float | None, "power over losses, as a multiple of the kiln file's"
    ] = None
    power_over_loss_se: Annotated[float | None, "its standard error, as a share of it"] = None
    losses: Annotated[float | None, "losses as a multiple of the kiln file's, by the cooling"] = (
        None
    )
    losses_se: Annotated[float | None, "its standard error, as a share of it"] = None
    climb_left_c_per_h: Annotated[float | None, "fastest climb left at the peak [°C/h]"] = None
    climb_per_power_c_per_h: Annotated[
        float | None, "what of that climb goes with all power [°C/h]"
    ] = None
    last_rate_c_per_h: Annotated[float | None, "the program's rate up to its peak [°C/h]"] = None
    power_reason: Annotated[str | None, "likeliest reason that it was short of power"] = None
    act: Annotated[bool | None, "whether a finding asks for something to be done"] = None
    finding: Annotated[str | None, "the gravest finding, in one sentence"] = None
    findings: Annotated[tuple[str, ...] | None, "ids of all findings to act on or check"] = None
    energy_kwh: Annotated[float | None, "electricity [kWh]"] = None
    energy_from: Annotated[
        str | None, "what the energy rests on: output (logged), meter or forecast"
    ] = None
    cost: Annotated[float | None, "price of that electricity"] = None
    currency: Annotated[str | None, "its currency"] = None
    begins_like: Annotated[
        int | None, "hash of its start and first readings: two logs of one firing share it"
    ] = None


COLUMNS = tuple(one.name for one in fields(Row))
