"""What a receiver makes of a line's bits at another speed than they were sent."""


def bits_of(data: bytes) -> list[int]:
    """Return the line's levels, one a bit time: start bit, eight bits from the lowest, stop bit."""
    levels = [1] * 5
    for byte in data:
        levels += [0, *((byte >> place) & 1 for place in range(8)), 1]
    return levels + [1] * 12


def heard_at(data: bytes, ratio: float) -> bytes:
    """Return what a receiver hears whose bit time is `1 / ratio` of the sender's."""
    levels = bits_of(data)
    found = bytearray()
    step = 1.0 / ratio
    at = 0.0
    while at < len(levels) - 11 * step:
        if levels[int(at)] == 1:
            at += 0.05
            continue
        samples = [levels[min(int(at + (k + 1.5) * step), len(levels) - 1)] for k in range(8)]
        found.append(sum(bit << place for place, bit in enumerate(samples)))
        at += 9.5 * step
        while at < len(levels) and levels[int(at)] == 0:
            at += 0.05
    return bytes(found)
