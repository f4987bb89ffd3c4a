"""What a person should know about a firing, ordered by what matters, each with a next step.

Order: what asks for action before what is worth a look before what is good to know; within these,
what makes the readings themselves doubtful first, then what went wrong with the firing, its
heat-work, its hours, the kiln, and the log.
"""

from dataclasses import replace

from firing.review import thresholds as limit
from firing.review.findings.heatwork import of_heat
from firing.review.findings.plan import of_plan
from firing.review.findings.power import of_cooling, of_power
from firing.review.findings.readings import of_readings
from firing.review.result import Finding, Review
from firing.units import format_duration

_SEVERITIES = ("act", "check", "note")
_RANKS = (
    "gap",
    "leads_reversed",
    "maybe_fahrenheit",
    "maybe_celsius",
    "plan_unrelated",
    "plan_doubted",
    "relay_stuck",
    "sensor_moved",
    "stopped_early",
    "peak_passed",
    "thermocouple_low",
    "thermocouple_high",
    "witness_doubtful",
    "witnesses_disagree",
    "peak_missed",
    "fell_behind",
    "cone_missed",
    "refire",
    "hold_effect",
    "cone_off_target",
    "uneven",
    "interrupted",
    "opened",
    "segment_skipped",
    "segment_repeated",
    "segment_edited",
    "ran_beyond",
    "ran_long",
    "ran_short",
    "evened_out",
    "power_cause",
    "mended",
    "damp_ware",
    "lid_opened",
    "vent_or_leak",
    "slow_cooling",
    "log_starts_late",
    "readings_lost",
    "nothing_wrong",
)

_MAY_LIE_IN_A_GAP = (
    "stopped_early", "peak_missed", "fell_behind", "interrupted",
    "ran_long", "ran_short", "evened_out", "power_cause", "ran_late", "lid_opened",
)  # fmt: skip
"""What is told otherwise once the log is whole."""


def find(review: Review) -> tuple[Finding, ...]:
    """Return what a person should know of a firing, the most pressing first; never empty."""
    found = [
        *of_readings(review),
        *of_plan(review),
        *of_heat(review),
        *of_cooling(review),
        *of_power(review),
    ]
    if review.peak_is_hidden or review.cone_is_least:
        found = [_beside_gap(finding) for finding in found]
    elif not any(finding.severity != "note" for finding in found):
        found.append(_nothing_wrong(review))
    found.sort(key=_rank)
    found.sort(key=lambda finding: finding.id != "gap")
    if any(finding.id == "nothing_wrong" for finding in found):
        found.sort(key=lambda finding: finding.id != "nothing_wrong")
    return tuple(found)


def _beside_gap(finding: Finding) -> Finding:
    """Take back what a log without its gap might say otherwise: no verdict rests on a gap."""
    if finding.id not in _MAY_LIE_IN_A_GAP:
        return finding
    return replace(
        finding,
        severity="check",
        message=f"{finding.message} What the log lacks may change this.",
        confidence="possible",
    )


def _nothing_wrong(review: Review) -> Finding:
    excess_s = review.excess_s or 0.0
    cone = "" if review.cones_planned.reached_number is None else " and cone"
    if abs(excess_s) < limit.EXACTLY_S:
        words = (
            f"time, peak{cone} agree with the plan" if cone else "time and peak agree with the plan"
        )
    else:
        side = "longer" if excess_s > 0 else "shorter"
        words = (
            f"peak{cone} agree{'' if cone else 's'} with the plan, and it took only "
            f"{format_duration(abs(excess_s))} {side} than planned"
        )
    return Finding(
        "nothing_wrong",
        "note",
        f"Nothing wrong: {words}.",
        next_step="Keep this log; the next firing can be set beside it with --compare.",
        confidence="likely",
    )


def _rank(finding: Finding) -> tuple[int, int]:
    rank = _RANKS.index(finding.id) if finding.id in _RANKS else len(_RANKS)
    return _SEVERITIES.index(finding.severity), rank
