"""What the package makes of held-out kilns: learns one from a log, foretells other firings."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

from kiln.held_out import (
    KILNS,
    Fired,
    Round,
    TrueKiln,
    fire_all,
    owner_file,
    rounds_of,
    schedule_of,
)
from logmaker import write_csv

from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.kiln.description import KilnDescription
from firing.kiln.firing_record import FiringRecord
from firing.kiln.fit import fit_kiln
from firing.logs.reader import read_log
from firing.review.fit_input import fit_input_of

Evidence = Literal["glaze", "bisque", "temperature", "nothing"]
"""A metered glaze or bisque with output; a glaze's temperatures; the kiln file alone."""
OF_ONE_KILN = 5


@cache
def rounds_and_firings(
    kilns: tuple[TrueKiln, ...] = KILNS,
) -> tuple[tuple[tuple[Round, Fired], ...], ...]:
    """Every kiln's five firings: glaze, bisque, and three to be foretold."""
    rounds = rounds_of(kilns)
    pairs = tuple(zip(rounds, fire_all(rounds), strict=True))
    return tuple(pairs[i : i + OF_ONE_KILN] for i in range(0, len(pairs), OF_ONE_KILN))


def record_of(
    one: Round,
    fired: Fired,
    folder: Path,
    *,
    output: bool = True,
    loaded: bool = True,
    metered: bool = True,
    seed: int = 1,
    name: str = "log",
) -> FiringRecord:
    """A firing's log, written down and read back, as a fit takes it."""
    path = write_csv(fired.table(seed=seed, duty=output), folder / f"{name}.csv")
    return fit_input_of(
        read_log(path),
        schedule=schedule_of(one.plan, "bisque" if one.charge.raw else "glaze"),
        load=one.charge.load(one.kiln.volume_l) if loaded else None,
        kwh=fired.kwh if metered else None,
    )


def learnt(
    firings: tuple[tuple[Round, Fired], ...], evidence: Evidence, folder: Path
) -> KilnDescription:
    """The kiln file after its owner has fitted it to one log."""
    kiln = owner_file(firings[0][0].kiln)
    if evidence == "nothing":
        return kiln
    one, fired = firings[1 if evidence == "bisque" else 0]
    blind = evidence == "temperature"
    record = record_of(one, fired, folder, output=not blind, metered=not blind)
    return replace(kiln, fitted=fit_kiln(kiln, [record]).to_fitted())


def foretold(kiln: KilnDescription, one: Round) -> Forecast:
    """The forecast of a firing."""
    load = one.charge.load(one.kiln.volume_l)
    return forecast(schedule_of(one.plan), kiln=kiln, load=load, waits=one.kiln.waits)
