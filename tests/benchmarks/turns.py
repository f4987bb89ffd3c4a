"""Two pieces of work against each other, in one run, whatever else the machine does.

They are taken in turns, and their CPU time counts: on a busy machine a process that waits for its
turn uses none.  What the neighbours still cost, by shared caches and a slower clock, makes a round
dearer and never cheaper: the least of several rounds is taken, and while the bar is missed there
are more of them.
"""

import resource
import subprocess
import time
from collections.abc import Callable
from dataclasses import dataclass

Work = Callable[[], object]
MOST_ROUNDS = 40


@dataclass(frozen=True)
class Turns:
    """The least CPU time of each [s]."""

    ours_s: float
    bare_s: float

    @property
    def ratio(self) -> float:
        return self.ours_s / self.bare_s

    def __str__(self) -> str:
        ours_ms, bare_ms = 1e3 * self.ours_s, 1e3 * self.bare_s
        return f"{ours_ms:.1f} ms against {bare_ms:.1f} ms of CPU time, ratio {self.ratio:.3g}"


def in_turns(
    ours: Work,
    bare: Work,
    *,
    most: float,
    rounds: int = 5,
    cpu_s: Callable[[], float] = time.process_time,
) -> Turns:
    """Take two works in turns until their ratio is at most `most`, or for `MOST_ROUNDS`.

    There are `rounds` of them at least, after one that does not count.
    """
    least_s = [float("inf"), float("inf")]
    turns = Turns(*least_s)
    for number in range(MOST_ROUNDS + 1):
        for index, work in enumerate((ours, bare)):
            start_s = cpu_s()
            work()
            taken_s = cpu_s() - start_s
            if number:
                least_s[index] = min(least_s[index], taken_s)
        turns = Turns(*least_s)
        if number >= rounds and turns.ratio <= most:
            break
    return turns


def commands_in_turns(
    ours: tuple[str, ...], bare: tuple[str, ...], *, most: float, rounds: int = 5
) -> Turns:
    """Take two commands in turns, each a process of its own."""

    def run(command: tuple[str, ...]) -> Work:
        return lambda: subprocess.run(command, capture_output=True, check=False)

    return in_turns(run(ours), run(bare), most=most, rounds=rounds, cpu_s=_children_cpu_s)


def _children_cpu_s() -> float:
    """Return the CPU time of the child processes that are over [s]."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime
