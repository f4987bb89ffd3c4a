"""What the package makes of held-out kilns: learns one from a log, foretells other firings."""

from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Literal

from kiln.fitlogs import schedule_of
from kiln.held_out import (
    KILNS,
    Fired,
    Round,
    TrueKiln,
    fire_all,
    owner_file,
    rounds_of,
)
from kiln.shell_kilns import ShellRound, fire_shells, shell_rounds
from logmaker import write_csv

from firing.forecast.forecast import forecast
from firing.forecast.result import Forecast
from firing.kiln.description import KilnDescription
from firing.kiln.fit import fit_kiln
from firing.kiln.residuals import FiringRecord
from firing.logs.reader import read_log
from firing.review.fit_input import fit_input_of
from firing.ware.load import Load

Evidence = Literal["glaze", "bisque", "temperature", "nothing"]
"""A metered glaze or bisque with output; a glaze's temperatures; the kiln file alone."""
OF_ONE_KILN = 5

AnyRound = Round | ShellRound
Firings = tuple[tuple[AnyRound, Fired], ...]
"""One kiln's five firings: a glaze and a bisque to learn from, and three to be foretold."""


@cache
def shell_firings() -> tuple[Firings, ...]:
    """The firings of the twenty kilns drawn at random."""
    rounds = shell_rounds()
    pairs = tuple(zip(rounds, fire_shells(rounds), strict=True))
    return tuple(pairs[i : i + OF_ONE_KILN] for i in range(0, len(pairs), OF_ONE_KILN))


def described_by_owner(one: AnyRound) -> KilnDescription:
    """The kiln file as its owner wrote it, nothing learnt."""
    return one.kiln.owner if isinstance(one, ShellRound) else owner_file(one.kiln)


def charged(one: AnyRound) -> Load:
    """The load file of a firing."""
    return one.charge.load(one.kiln.volume_l)


@cache
def rounds_and_firings(
    kilns: tuple[TrueKiln, ...] = KILNS,
) -> tuple[tuple[tuple[Round, Fired], ...], ...]:
    """Every held-out kiln's five firings."""
    rounds = rounds_of(kilns)
    pairs = tuple(zip(rounds, fire_all(rounds), strict=True))
    return tuple(pairs[i : i + OF_ONE_KILN] for i in range(0, len(pairs), OF_ONE_KILN))


def record_of(
    one: AnyRound,
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
        load=charged(one) if loaded else None,
        kwh=fired.kwh if metered else None,
    )


def learnt(firings: Firings, evidence: Evidence, folder: Path) -> KilnDescription:
    """The kiln file after its owner has fitted it to one log."""
    kiln = described_by_owner(firings[0][0])
    if evidence == "nothing":
        return kiln
    one, fired = firings[1 if evidence == "bisque" else 0]
    blind = evidence == "temperature"
    record = record_of(one, fired, folder, output=not blind, metered=not blind)
    return replace(kiln, fitted=fit_kiln(kiln, [record]).to_fitted())


def foretold(kiln: KilnDescription, one: AnyRound) -> Forecast:
    """The forecast of a firing."""
    schedule = schedule_of(one.plan)
    return forecast(schedule, kiln=kiln, load=charged(one), waits=one.kiln.waits)
