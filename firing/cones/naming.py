"""A running cone number in the words people use for cones."""

from firing.cones.table import CONES, cone_number


def describe_number(number: float | None) -> str:
    """Return a running cone number as people say cones.

    Tenths exist above cone 1 only, where names run like numbers; in the zero series, whose names
    run backwards, the two neighbours are named instead.

    Parameters
    ----------
    number : float or None
        The running number; None for less than the coldest cone.
    """
    if number is None:
        return "below the coldest cone"
    if number >= 1.0:
        return f"{number:.1f}".removesuffix(".0")
    numbers = [cone_number(cone) for cone in CONES]
    nearest = min(range(len(CONES)), key=lambda i: abs(numbers[i] - number))
    if abs(numbers[nearest] - number) < 0.05:
        return CONES[nearest]
    above = next(i for i, value in enumerate(numbers) if value > number)
    if above == 0:
        return f"below {CONES[0]}"
    return f"{CONES[above - 1]}–{CONES[above]}, nearer {CONES[nearest]}"
