"""What a person should know about a firing, ordered by what matters, each with a next step.

Order: what asks for action before what is worth a look before what is good to know; within these,
what makes the readings themselves doubtful first, then what went wrong with the firing, its
heat-work, its hours, the kiln, and the log.
"""

from firing.review.findings.evidence import Evidence
from firing.review.findings.of_cooling import of_cooling
from firing.review.findings.of_heat import of_heat
from firing.review.findings.of_plan import of_plan
from firing.review.findings.of_power import of_power
from firing.review.findings.of_readings import of_readings
from firing.review.verdict import Finding

__all__ = ["Evidence", "find"]

_SEVERITIES = ("act", "check", "note")
_RANKS = (
    "leads_reversed",
    "maybe_fahrenheit",
    "maybe_celsius",
    "plan_unrelated",
    "stopped_early",
    "peak_passed",
    "thermocouple_low",
    "thermocouple_high",
    "witnesses_disagree",
    "cone_missed",
    "peak_missed",
    "uneven",
    "interrupted",
    "ran_beyond",
    "ran_long",
    "ran_short",
    "lid_opened",
    "vent_or_leak",
    "slow_cooling",
    "log_starts_late",
    "readings_lost",
    "nothing_wrong",
)


def find(evidence: Evidence) -> tuple[Finding, ...]:
    """Return the findings of a firing, the most pressing first; never empty.

    Parameters
    ----------
    evidence : Evidence
        The review so far.
    """
    found = [
        *of_readings(evidence),
        *of_plan(evidence),
        *of_heat(evidence),
        *of_cooling(evidence),
        *of_power(evidence),
    ]
    if not any(finding.severity != "note" for finding in found):
        found.append(
            Finding(
                "nothing_wrong",
                "note",
                "Nothing wrong: time, peak and cone agree with the plan.",
                next_step="Keep this log; the next firing can be set beside it with --compare.",
            )
        )
    found.sort(key=_rank)
    if any(finding.id == "nothing_wrong" for finding in found):
        found.sort(key=lambda finding: finding.id != "nothing_wrong")
    return tuple(found)


def _rank(finding: Finding) -> tuple[int, int]:
    rank = _RANKS.index(finding.id) if finding.id in _RANKS else len(_RANKS)
    return _SEVERITIES.index(finding.severity), rank
