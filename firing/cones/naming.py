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


def describe_range(low: float | None, high: float | None) -> str:
    """Return a range of running cone numbers as people say cones: ``7 to 7.7``.

    In the zero series the whole cones around it are named: ``between 010 and 09``.

    Parameters
    ----------
    low, high : float or None
        Running numbers; None for less than the coldest cone.
    """
    if high is None:
        return describe_number(None)
    if low is not None and low >= 1.0:
        first, last = describe_number(low), describe_number(high)
        return first if first == last else f"{first} to {last}"
    numbers = [cone_number(cone) for cone in CONES]
    above = next((i for i, value in enumerate(numbers) if value > high - 0.05), len(CONES) - 1)
    upper = describe_number(high) if high >= 1.0 else CONES[above]
    if low is None or low < numbers[0] - 0.05:
        return f"{upper} at most"
    lower = CONES[max(i for i, value in enumerate(numbers) if value < low + 0.05)]
    return lower if lower == upper else f"between {lower} and {upper}"
