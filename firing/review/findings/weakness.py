"""Whether a kiln did not get there for want of power, in words."""

from firing.review.findings.evidence import Evidence
from firing.review.ramp import ramp_run

LEAST_S = 900.0


def weakness(evidence: Evidence, index: int) -> str:
    """Return what shows that a segment's ramp was short of power, as a clause; else nothing.

    Parameters
    ----------
    evidence : Evidence
        The review so far.
    index : int
        The segment, from 0.
    """
    passage, segment = evidence.alignment.passages[index], evidence.schedule.segments[index]
    start_s = passage.start_s
    if start_s is None:
        return ""
    end_s = evidence.alignment.end_s if passage.ramp_end_s is None else passage.ramp_end_s
    if segment.rate_c_per_h is None:
        return f"segment {index + 1} asks for all the power there is"
    if end_s - start_s < LEAST_S:
        return ""
    run = ramp_run(evidence.trace, start_s, end_s, segment.rate_c_per_h, heats=True)
    if run.behind_from_c is None or run.behind_c_per_h is None:
        return ""
    fully_on = (run.full_duty_share or 0.0) >= 0.5
    if not fully_on and not run.fades:
        return ""
    ground = (
        "with the elements fully on"
        if fully_on
        else "more and more slowly as it got hotter, as a kiln at its limit does"
    )
    return (
        f"in segment {index + 1} it fell behind from {evidence.degrees(run.behind_from_c)} on: "
        f"{evidence.rate(run.behind_c_per_h)} where {evidence.rate(segment.rate_c_per_h)} was set, "
        f"{ground}"
    )
