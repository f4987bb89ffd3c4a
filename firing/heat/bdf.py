"""Backward differentiation of second and third order, with steps of changing length.

Linear sums that the equations conserve, heat above all, are conserved by the formula too; so heat
contents, and the energy that came in and went out, are advanced by the same weights.
"""

STEADY_GROWTH = 1.5
"""How fast steps may grow for the third-order formula to stay stable; its limit is 1.534."""

Weights = tuple[float, float, float]


def weights(step_s: float, before_s: float | None) -> Weights:
    """Return (a, b, c) with dy/dt ≈ a·y(now) + b·y(one step ago) + c·y(two steps ago).

    Hairer, Nørsett and Wanner, Solving Ordinary Differential Equations I, 2nd ed., III.5, eq. 5.17
    (from memory; checked in the tests by exactness for parabolas).  `before_s` is the step before
    `step_s`; None to start, by the first-order formula.
    """
    if before_s is None:
        return 1.0 / step_s, -1.0 / step_s, 0.0
    w = step_s / before_s
    return (
        (1.0 + 2.0 * w) / ((1.0 + w) * step_s),
        -(1.0 + w) / step_s,
        w * w / ((1.0 + w) * step_s),
    )


def extrapolation(step_s: float, before_s: float | None, earlier_s: float | None) -> Weights:
    """Return the weights that carry the last three values, newest first, one step on.

    Constant, linear or parabolic, as the history allows.  The coming step and the two before it are
    given, None where there is no history.
    """
    if before_s is None:
        return 1.0, 0.0, 0.0
    if earlier_s is None:
        w = step_s / before_s
        return 1.0 + w, -w, 0.0
    one, two = step_s + before_s, step_s + before_s + earlier_s
    span = before_s + earlier_s
    return (
        one * two / (before_s * span),
        -step_s * two / (before_s * earlier_s),
        step_s * one / (span * earlier_s),
    )


def sharpened(plain: Weights, guess: Weights, span_s: float) -> tuple[float, float, float, float]:
    """Return weights of third order, for now and the three steps before.

    What the second-order formula leaves out is the distance of the answer from the parabola through
    the last three values, over the time they and the answer span (Newton's interpolation formula).
    Stable for the real, falling modes of conduction as long as no step is more than `STEADY_GROWTH`
    times the one before (Hairer, Nørsett and Wanner, III.5, from memory).  `plain` and `guess` are
    of `weights` and `extrapolation`; `span_s` counts from three steps ago to now.
    """
    (a, b, c), (p, q, r) = plain, guess
    more = 1.0 / span_s
    return a + more, b - more * p, c - more * q, -more * r
