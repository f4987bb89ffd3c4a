"""Logbooks of made entries: real sizes, no physics, so that a store is filled in milliseconds."""

import random
from contextlib import closing
from pathlib import Path

from firing.logbook.record import Entry, Photo, Shown
from firing.logbook.store import Kept, Logbook

DAY_S = 86_400.0
FIRST_S = 1_735_689_600.0  # 2025-01-01 00:00 UTC
KILNS = ("Blue kiln", "Old box")


def body_of(number: int, rows: int = 600) -> bytes:
    """Return the bytes of a made log, no two alike."""
    chance = random.Random(number)
    lines = (f"{n * 60},{chance.uniform(20.0, 1240.0):.2f}" for n in range(rows))
    return f"time_s,Kiln {number}\n{chr(10).join(lines)}\n".encode()


def entry_of(number: int, rows: int = 600) -> Entry:
    """Return a made firing as it is put in."""
    glaze = number % 2
    return Entry(
        f"log-{number}.csv",
        body_of(number, rows),
        kiln=KILNS[number % 3 % 2],
        kiln_text="a kiln's file",
        plan="Glaze, cone 6" if glaze else "Bisque, bone dry",
        plan_text=f"plan {glaze}",
        notes=(f"note number {number}", "celadon" if number % 7 == 0 else "tenmoku"),
        witnesses=("6=3:00@top",),
        photos=(Photo(f"/photos/{number}.jpg", "0" * 64),),
        kwh=50.0 + number % 10,
        cost=12.5,
        currency="EUR",
        member=("Ann", "Bo", "")[number % 3],
    )


def shown_of(number: int) -> Shown:
    """Return made figures: a firing every other day, every fifth an hour late."""
    glaze = number % 2
    return Shown(
        FIRST_S + 2.0 * DAY_S * number,
        purpose="glaze" if glaze else "bisque",
        cone="6" if glaze else "06",
        target_c=1222.0 if glaze else 1000.0,
        peak_c=1221.0 if glaze else 1001.0,
        reached="6" if glaze else "06",
        reached_number=6.0 if glaze else -5.0,
        duration_s=36_000.0,
        planned_s=32_400.0,
        excess_s=3_600.0 if number % 5 == 0 else 60.0,
        ended="program",
        course_c=tuple(range(20, 1220, 25)),
        measure={"power_over_loss": 1.0, "number": number},
        code="made",
    )


def put(book: Logbook, number: int, rows: int = 600) -> Kept:
    """Keep a made firing."""
    return book.keep(entry_of(number, rows), shown_of(number))


def make_book(path: Path, count: int, rows: int = 600) -> Path:
    """Make a logbook of so many firings, with an event, and close it."""
    with closing(Logbook.open(path)) as book:  # so that no copy is made of it
        for number in range(count):
            put(book, number, rows)
        book.add_event(KILNS[0], "new elements", at_s=FIRST_S + 100.0 * DAY_S)
    return path
