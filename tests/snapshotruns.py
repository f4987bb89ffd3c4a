"""The runs of `snapshot.py`: every command over ready files, the demo and made logs.

A run's name is the name of its files, so it stays the same from tree to tree.  Refusals are runs
too: what is refused, and with which exit code, is part of what a command answers.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from logmaker import (
    BISQUE,
    GLAZE,
    STYLES,
    Controller,
    Faults,
    PlanStep,
    Sampling,
    fire,
    sample,
    write_csv,
)

Answer = Callable[..., Any]
"""Runs a command with ``--json`` and returns its document."""

MADE_LOGS = 50
START = "2026-03-27 20:00"
"""A Friday; the clocks go forward on the Sunday."""
WINDOW = f"{START} to 2026-03-28 20:00"

COMMANDS = (
    *("forecast", "design", "card", "resume", "review", "watch", "ports", "kiln", "cone", "hold"),
    *(
        "peak",
        "ways",
        "cone-at",
        "heatwork",
        "edit",
        "safety",
        "schedules",
        "schema",
        "sources",
        "demo",
    ),
)
KILN, CONTROLLER = ("--kiln", "example-kiln"), ("--controller", "example-controller")

HOLDS_C = {"018": 695, "010": 880, "06": 980, "04": 1045, "1": 1120, "3": 1130, "5.5": 1190}
HOLDS_C |= {"6": 1200, "8": 1230, "10": 1260, "99": 1400}
"""Cones, each with a temperature some way below its end point."""

PLANS = {"bisque": BISQUE, "glaze": GLAZE}
LOADS = {"bisque": "example-load-thin-cups", "glaze": "example-load-glazed-cups"}
CONES = {"bisque": ("012", "011", "010"), "glaze": ("5", "6", "7")}
"""Down, bending and standing after these plans."""

FAULTS = {
    "healthy": Faults(),
    "worn": Faults(power_factor=0.78),
    "low-volts": Faults(dip_volts=0.85, dip_from_s=4 * 3600.0, dip_length_s=4 * 3600.0),
    "dead-bank": Faults(dead_banks=1, dead_from_c=500.0),
    "outage": Faults(outage_at_c=700.0, outage_s=2400.0),
    "stopped-hot": Faults(stop_at_c=850.0),
    "heavy": Faults(load_factor=1.6),
    "vent": Faults(vent_on=True),
    "lid-propped": Faults(lid_propped_at_c=500.0),
    "reads-low": Faults(thermocouple_offset_c=-20.0),
    "late": Faults(late_start_s=4 * 3600.0),
    "stopped-early": Faults(stop_at_s=5 * 3600.0),
    "other-plan": Faults(keyed_in=((80.0, 600.0, 0.0), (60.0, 1000.0, 3600.0))),
}
FAULTY = {
    "faulty.toml": 'title = 3\npurpose = "bisqe"\n[[segment]]\nrate = 0\ntarget = 9\nhold = "400h"',
    "unclosed.toml": 'title = "open\n',
    "empty.csv": "",
    "dates.csv": "time,kiln\n03/04/2026 08:00,20\n03/04/2026 08:01,21\n03/04/2026 08:02,22\n",
    "words.csv": "time,kiln\nmorning,cold\nnoon,warm\nevening,hot\n",
}


@dataclass(frozen=True)
class Run:
    """One call of the command line, from an empty folder beside the input files `../in`."""

    name: str
    arguments: tuple[str, ...]
    as_json: bool = True
    needs: tuple[str, ...] = ()
    """Input files to copy into the folder, because the run writes to them."""


def run(name: str, *arguments: str, needs: tuple[str, ...] = ()) -> Run:
    return Run(name, arguments, needs=needs)


def all_runs(answer: Answer) -> list[Run]:
    """Write the input files into the working folder and return what to run over them."""
    listed = answer("schedules")
    plans = {one["name"]: one["purpose"] for one in listed["schedules"]}
    loads = [name for name in listed["examples"] if "-load-" in name]
    made = _make_logs()
    Path("kiln.toml").write_text(answer("schedules", "example-kiln")["toml"], encoding="utf-8")
    answer("demo")
    runs = [
        *_plain_runs([source["id"] for source in answer("sources")["sources"]]),
        *(run(f"schedules-{name}", "schedules", name) for name in [*plans, *listed["examples"]]),
        *_plan_runs(plans, loads),
        *_design_runs(plans, loads),
        *_log_runs(made),
        *_watch_runs(),
    ]
    names = [one.name for one in runs]
    twice = {name for name in names if names.count(name) > 1}
    assert not twice, f"two runs of one name: {twice}"
    return runs


def _plain_runs(sources: Sequence[str]) -> Iterator[Run]:
    """Whatever needs neither plan nor log."""
    yield Run("version", ("--version",), as_json=False)
    for command in ("", *COMMANDS, "kiln show", "kiln fit", "nonesuch"):
        yield Run(f"help-{command or 'all'}".replace(" ", "-"), (*command.split(), "--help"), False)
    for command in ("demo", "safety", "sources", "schedules"):
        yield run(command, command)
    for source in (*sources, "nonesuch"):
        yield run(f"sources-{source}", "sources", source)
    yield run("schedules-nonesuch", "schedules", "nonesuch")
    yield run("schedules-out", "schedules", "decal", "--out", "decal.toml")
    for kind in ("schedule", "kiln", "load", "controller", "source", "tariff", "nonesuch"):
        yield run(f"schema-{kind}", "schema", kind)
    for name in ("example-kiln", "../in/faulty.toml", "../in/unclosed.toml", "nonesuch"):
        yield run(f"kiln-show-{Path(name).stem}", "kiln", "show", name)
    for cone, at_c in HOLDS_C.items():
        yield run(f"cone-{cone}", "cone", cone)
        yield run(f"cone-{cone}-rate", "cone", cone, "--rate", "100")
        yield run(f"hold-{cone}", "hold", cone, "--at", f"{at_c}")
        yield run(f"peak-{cone}", "peak", cone, "--hold", "15m", "--rate", "108F")
    for at in ("1060", "1170", "2210F", "1225", "1250", "warm"):
        yield run(f"hold-6-at-{at}", "hold", "6", "--at", at)
    yield run("ways-6", "ways", "6", "--at-most", "2190F")
    yield run("cone-at", "cone-at", "108F/h to 2190F hold 20m, 150F/h to 1900F")
    for hold in ("0", "1h", "20h", "long"):
        yield run(f"peak-6-hold-{hold}", "peak", "6", "--hold", hold)


def _plan_runs(plans: dict[str, str], loads: Sequence[str]) -> Iterator[Run]:
    """Forecasts, cards, heat-work and cautions of every ready schedule."""
    for plan, purpose in [*plans.items(), ("../in/faulty.toml", ""), ("nonesuch", "")]:
        short = Path(plan).stem
        load = ("--load", LOADS.get(purpose, "example-load-planters-and-cups"))
        # No example load suits a decal firing, which is then costed without one.
        whole = (*KILN, "--tariff", "example-tariff", *(() if purpose == "decal" else load))
        for name, options in {
            "plain": (),
            "start": ("--start", START),
            "cone": ("--cone", "6", "--unload-at", "212F"),
            "kiln": KILN,
            "clock": (*KILN, "--by-the-clock"),
            "tariff": (*whole, "--start", START),
            "window": (*whole, "--start", START, "--window", WINDOW),
            "awake": (*KILN, "--start", START, "--awake", "08:00-22:00"),
            "page": (*load, "--margin", "3", "--html", "page.html"),
            "tariff-alone": ("--tariff", "example-tariff"),
            **{one: (*KILN, "--load", one) for one in loads},
        }.items():
            yield run(f"forecast-{short}-{name}", "forecast", plan, *options)
        yield run(f"heatwork-{short}", "heatwork", plan)
        yield run(f"safety-{short}", "safety", plan)
        yield run(f"card-{short}", "card", plan, *CONTROLLER)
        yield run(f"card-{short}-page", "card", plan, *CONTROLLER, *KILN, *load,
                  "--start", START, "--html", "card.html")  # fmt: skip
    for kind in ("kiln", "load", "tariff", "controller"):
        command = ("card",) if kind == "controller" else ("forecast", *KILN)
        yield run(f"faulty-{kind}", *command, "decal", f"--{kind}", "../in/faulty.toml")


def _design_runs(plans: dict[str, str], loads: Sequence[str]) -> Iterator[Run]:
    """Designs for every example load, and ready schedules mended for it."""
    ends = {"bisque": "04", "glaze": "6", "once-fired": "5", "decal": "017"}
    for load in loads:
        for purpose, cone in ends.items():
            design = ("design", purpose, "--load", load, "--cone", cone)
            for name, options in {
                "plain": (),
                "kiln": KILN,
                "controller": CONTROLLER,
                "both": (*KILN, *CONTROLLER, "--out", "plan.toml"),
            }.items():
                yield run(f"design-{purpose}-{load}-{name}", *design, *options)
        purpose = "glaze" if load == LOADS["glaze"] else "bisque"
        for plan in (*plans, "../in/faulty.toml"):
            yield run(f"design-from-{Path(plan).stem}-{load}", "design", purpose, "--from", plan,
                      "--load", load, *KILN)  # fmt: skip
    glaze = ("design", "glaze", "--load", LOADS["glaze"])
    yield run("design-no-end", *glaze)
    yield run("design-top", *glaze, "--top", "1220", "--hold-at-least", "20m", "--segments", "4")
    yield run("design-cooling", *glaze, "--cone", "6", *KILN, "--drop-to", "1080", "--drop-hold",
              "30m", "--slow-cool", "80", "--slow-to", "800", "--unload-at", "80")  # fmt: skip
    yield run("design-limits", *glaze, "--cone", "6", "--peak-at-most", "1200", "--hold-at-most",
              "2h", "--final-at-most", "60", "--margin", "2.5")  # fmt: skip


def _make_logs() -> list[tuple[str, str]]:
    """Write plans, faulty files and made logs; return each log's name and purpose."""
    for purpose, plan in PLANS.items():
        Path(f"{purpose}.toml").write_text(_plan_text(purpose, plan), encoding="utf-8")
    for name, content in FAULTY.items():
        Path(name).write_text(content, encoding="utf-8")
    styles, made = list(STYLES), []
    for number in range(MADE_LOGS):
        turn, odd = divmod(number, 2)
        purpose = "glaze" if odd else "bisque"
        fault = list(FAULTS)[turn % len(FAULTS)]
        style = styles[(turn + 2 * odd) % len(styles)]
        waiting = Controller(waits=number < MADE_LOGS // 2)
        firing = fire(PLANS[purpose], controller=waiting, faults=FAULTS[fault])
        how = Sampling(
            interval_s=(120.0, 30.0, 60.0, 300.0, 45.0)[number % 5],
            noise_c=(0.3, 1.5)[turn % 2],
            seed=number,
            with_duty=number % 3 == 1,
            with_set_point=number % 4 == 2,
            extra_channels={"top": 12.0, "lower shelf": -15.0} if number % 3 == 0 else {},
        )
        name = f"log{number:02d}-{purpose}-{fault}-{style}"
        write_csv(sample(firing, how), Path(f"{name}.csv"), STYLES[style])
        made.append((name, purpose))
    watched = fire(BISQUE, faults=Faults(power_factor=0.85), cool_to_c=500.0)
    write_csv(sample(watched, Sampling(interval_s=120.0)), Path("watched.csv"))
    return made


def _plan_text(purpose: str, plan: Sequence[PlanStep]) -> str:
    """Return a plan of the log maker as a schedule file."""
    lines = [f'title = "Made {purpose}"', f'purpose = "{purpose}"']
    for rate, target_c, hold_s in plan:
        lines += ["[[segment]]", f"rate = {rate}", f"target = {target_c}"]
        lines += [f'hold = "{hold_s / 60.0:.0f}m"'] if hold_s else []
    return "\n".join(lines) + "\n"


def _log_runs(made: Sequence[tuple[str, str]]) -> Iterator[Run]:
    """Reviews, heat-work, what to key in after an interruption, and fits."""
    bad = [(name.removesuffix(".csv"), "bisque") for name in FAULTY if name.endswith(".csv")]
    for number, (name, purpose) in enumerate([("demo", "glaze"), *made, *bad]):
        log, plan = f"../in/{name}.csv", f"../in/{purpose}.toml"
        if name == "demo":
            log, plan = "../in/firing-demo/log.csv", "../in/firing-demo/plan.toml"
        whole = (*KILN, "--load", LOADS[purpose])
        review, resume = ("review", plan, log), ("resume", plan, log)
        fit = (log, "--schedule", plan)
        yield run(f"{name}-review", *review)
        yield run(f"{name}-review-kiln", *review, *whole)
        yield run(f"{name}-heatwork", "heatwork", log)
        yield run(f"{name}-resume", *resume)
        yield run(f"{name}-fit", "kiln", "fit", "../in/kiln.toml", *fit)
        down, bending, standing = (f"--witness={cone}=" for cone in CONES[purpose])
        cones = (f"{down}down", f"{bending}3:00@top", f"{standing}standing@lower shelf")
        if number % 3 == 0:
            other = next(one for one, same in made if same == purpose and one != name)
            yield run(f"{name}-review-compare", *review, "--compare", f"../in/{other}.csv")
            yield run(f"{name}-review-witness", *review, *cones)
            yield run(f"{name}-review-start", *review, "--start", "2025-03-14 07:00")
            yield run(f"{name}-resume-kiln", *resume, *whole, *CONTROLLER, "--out", "rest.toml")
            yield run(f"{name}-resume-reads", *resume, *KILN, "--reads", "35", "--ago", "3h")
            yield run(f"{name}-fit-load", "kiln", "fit", "../in/kiln.toml", *fit,
                      "--load", LOADS[purpose], "--kwh", "60")  # fmt: skip
        if number % 5 == 0:
            own = ("kiln.toml",)
            yield run(f"{name}-review-page", *review, *whole, *cones, "--html", "page.html")
            yield run(f"{name}-review-offset", *review, *cones[1:2], "--kiln", *own,
                      "--write-offset", needs=own)  # fmt: skip
            yield run(f"{name}-fit-write", "kiln", "fit", *own, *fit, "--write", needs=own)
    healthy = [f"../in/{name}.csv" for name, _ in made if "-healthy-" in name]
    yield run("fit-several", "kiln", "fit", "../in/kiln.toml", *healthy, "--elements-new")
    for order in ("dmy", "mdy"):
        yield run(f"heatwork-{order}", "heatwork", "../in/dates.csv", "--date-order", order)


def _watch_runs() -> Iterator[Run]:
    """Two logs replayed as fast as they can be."""
    demo = ("watch", "../in/firing-demo/log.csv", "--schedule", "../in/firing-demo/plan.toml")
    yield run("watch-demo", *demo, "--every", "30m", "--cone", "6", "--out", "recorded.csv")
    yield run("watch-demo-alarms", *demo, "--every", "2h", "--above-plan", "2C", "--top", "1150")
    made = ("watch", "../in/watched.csv", "--every", "1h")
    yield run("watch-made", *made)
    yield run("watch-made-kiln", *made, "--schedule", "../in/bisque.toml", *KILN,
              "--load", LOADS["bisque"])  # fmt: skip
