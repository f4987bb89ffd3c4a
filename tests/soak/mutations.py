"""Files a person might have, damaged in many ways, and every command run over them.

A worker of its own: it prints one JSON line a chunk, and so a case that takes too much memory or
time, or ends the process, is known and ends nothing else.
"""

import contextlib
import faulthandler
import gc
import io
import json
import random
import re
import resource
import signal
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

from firing.cli import main
from firing.files.kinds import ready_text

MOST_SECONDS = 5.0
MOST_MB = 300.0
PLAN = "thin-ware-bisque"
TOML = ("plan", "kiln", "load", "controller", "tariff", "notify", "source")

COMMANDS: dict[str, tuple[tuple[str, ...], ...]] = {
    "plan": (
        ("forecast", "F"),
        ("forecast", "F", "--json"),
        ("forecast", "F", "--kiln", "example-kiln", "--load", "example-load-thin-cups"),
        ("forecast", "F", "--start", "07:30", "--html", "OUT"),
        ("heatwork", "F"),
        ("safety", "F"),
        ("card", "F", "--controller", "example-controller"),
        ("review", "F", "LOG"),
        ("resume", "F", "LOG"),
        ("calendar", "F", "--start", "07:30", "--out", "OUT"),
        ("design", "bisque", "--from", "F", "--load", "example-load-thin-cups"),
        ("watch", "LOG", "--schedule", "F", "--every", "2h"),
    ),
    "kiln": (
        ("kiln", "show", "F"),
        ("forecast", PLAN, "--kiln", "F"),
        ("forecast", PLAN, "--kiln", "F", "--tariff", "example-tariff"),
        ("design", "bisque", "--cone", "06", "--kiln", "F", "--load", "example-load-thin-cups"),
    ),
    "load": (
        ("forecast", PLAN, "--load", "F"),
        ("forecast", PLAN, "--load", "F", "--kiln", "example-kiln"),
        ("design", "bisque", "--cone", "06", "--load", "F"),
        ("design", "bisque", "--cone", "06", "--load", "F", "--kiln", "example-kiln"),
    ),
    "controller": (("card", PLAN, "--controller", "F"),),
    "tariff": (("forecast", PLAN, "--kiln", "example-kiln", "--tariff", "F"),),
    "notify": (("notify", "F"), ("notify", "F", "--json")),
    "source": (("watch", "F", "--print-service"),),
    "log": (
        ("heatwork", "F"),
        ("heatwork", "F", "--json"),
        ("review", PLAN, "F"),
        ("review", PLAN, "F", "--json", "--html", "OUT"),
        ("resume", PLAN, "F"),
        ("watch", "F", "--schedule", PLAN, "--every", "1h"),
        ("watch", "F", "--out", "OUT", "--every", "1h", "--json"),
    ),
}
"""F is the damaged file, LOG a whole log, OUT a name that is free."""

NASTY = (
    "1e308", "-1e308", "1e-308", "1" + "0" * 400, "nan", "inf", "-inf", "0", "-1", "300", "72",
    "0x" + "f" * 300, "true", '""', "[]", "{}", "1e10", "9" * 5000, "0001-01-01T00:00:00+05:00",
    "9999-12-31 23:59:59", "2026-01-01T00:00:00+99:99", "1970-01-01", "24:00:00", "-00:01", "1:99",
    "99999999999999999999", "\x1b]0;owned\x07", "\x9b31m", "\u202e", "\u2028", "\x00", "\x7f",
    "\ufeff", "=HYPERLINK(1)", '"', "'''", "#", ",,,,", ";;;", "\r", "OL", "--", "C", "F", "mV",
    "1200.5F", "٣", "１２", "½", "…", "a" * 300, "a.b.c.d", "-273.16", "1e999",
)  # fmt: skip

_NUMBER = re.compile(rb"-?\d+(?:\.\d+)?")
_WORD = re.compile(rb"[A-Za-z_]{3,}")
Mutator = Callable[[random.Random, bytes], bytes]


def _flip(chance: random.Random, data: bytes) -> bytes:
    damaged = bytearray(data)
    for _ in range(chance.choice([1, 3, 30])):
        damaged[chance.randrange(len(damaged))] ^= 1 << chance.randrange(8)
    return bytes(damaged)


def _cut(chance: random.Random, data: bytes) -> bytes:
    begin = chance.randrange(len(data))
    return data[:begin] + data[begin + chance.choice([1, 10, 300, len(data)]) :]


def _repeat(chance: random.Random, data: bytes) -> bytes:
    begin = chance.randrange(len(data))
    piece = data[begin : begin + chance.choice([1, 20, 300])]
    times = min(chance.choice([2, 20, 3000]), 200_000 // max(len(piece), 1))
    return data[:begin] + piece * times + data[begin:]


def _lines(chance: random.Random, data: bytes) -> bytes:
    rows = data.split(b"\n")
    for _ in range(chance.choice([1, 5, 50])):
        one, two = chance.randrange(len(rows)), chance.randrange(len(rows))
        what = chance.randrange(3)
        if what == 0:
            rows[one], rows[two] = rows[two], rows[one]
        elif what == 1:
            rows.insert(one, rows[two])
        elif len(rows) > 3:
            del rows[one]
    return b"\n".join(rows)


def _value(chance: random.Random, data: bytes) -> bytes:
    found = list(_NUMBER.finditer(data))
    for match in sorted(chance.sample(found, min(len(found), chance.choice([1, 1, 2, 9]))),
                        key=lambda m: -m.start()):  # fmt: skip
        nasty = chance.choice(NASTY).encode("utf-8", "replace")
        data = data[: match.start()] + nasty + data[match.end() :]
    return data


def _scale(chance: random.Random, data: bytes) -> bytes:
    """A number in another unit: a thousand times, a tenth, its negative."""
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    match = chance.choice(found)
    number = float(match[0]) * chance.choice([1000.0, 10.0, 0.1, 0.001, -1.0, 1.8, 60.0])
    return data[: match.start()] + f"{number:g}".encode() + data[match.end() :]


def _word(chance: random.Random, data: bytes) -> bytes:
    found = list(_WORD.finditer(data))
    if not found:
        return data
    match, other = chance.choice(found), chance.choice(found)
    nasty = chance.choice([other[0], chance.choice(NASTY).encode("utf-8", "replace"), b""])
    return data[: match.start()] + nasty + data[match.end() :]


def _insert(chance: random.Random, data: bytes) -> bytes:
    at = chance.randrange(len(data))
    return data[:at] + chance.choice(NASTY).encode("utf-8", "replace") + data[at:]


def _encode(chance: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8", "replace")
    codec = chance.choice(["utf-16", "utf-16-le", "utf-32", "cp1252", "latin-1", "utf-8-sig"])
    return text.encode(codec, "replace")


def _marks(chance: random.Random, data: bytes) -> bytes:
    old, new = chance.sample([b",", b";", b"\t", b" ", b".", b"\r\n", b"\n", b"=", b"|"], 2)
    return data.replace(old, new, chance.choice([1, 10, -1]))


MUTATORS: tuple[Mutator, ...] = (
    _flip, _cut, _repeat, _lines, _value, _value, _scale, _word, _insert, _encode, _marks,
)  # fmt: skip


def whole_log(kind: int) -> str:
    """Return a log of a firing, in one of a few dialects."""
    rows = []
    temperature = 20.0
    for i in range(0, 780, 5):
        temperature += (5 * 2.0 if temperature < 1000.0 else 0.0) if i < 600 else -10.0
        clock = f"{8 + i // 60:02d}:{i % 60:02d}"
        reading = f"{temperature + 0.5 * (i % 2):.1f}"
        if kind == 0:
            rows.append(f"2026-03-01 {clock}:00,{reading},{20 + i // 100}")
        elif kind == 1:
            rows.append(f"{1 + i // 60 // 16:02d}.03.2026;{clock};{reading.replace('.', ',')}")
        elif kind == 2:
            rows.append(f"{60 * i}\t{1.8 * temperature + 32:.0f}\t{50 + i % 50}")
        else:
            rows.append(f"{clock}:00  {reading}")
    head = (
        "time,Kiln (°C),Room (°C)",
        "Datum;Uhrzeit;Temperatur [°C]",
        "seconds\tKiln (F)\toutput (%)",
        "# logger 7\nelapsed  kiln",
    )[kind]
    return "\n".join([head, *rows]) + "\n"


NOTIFY = """quiet_hours = "22:00-07:00"
heartbeat = "6h"
[[program]]
name = "bell"
run = ["true"]
[[mail]]
name = "neighbour"
after = "20m"
server = "mail.example.org"
sender = "kiln@example.org"
to = ["neighbour@example.org"]
"""
SOURCE = """port = "socket://127.0.0.1:9"
fields = ["kiln", "-", "output"]
[firing]
name = "Front kiln"
schedule = "thin-ware-bisque"
kiln = "example-kiln"
page = 8437
"""


def bases() -> dict[str, list[str]]:
    """Return whole files by their kind."""
    return {
        "plan": [ready_text(PLAN), ready_text("mid-range-glaze-cone-6-hold")],
        "kiln": [ready_text("example-kiln")],
        "load": [ready_text("example-load-planters-and-cups")],
        "controller": [ready_text("example-controller")],
        "tariff": [ready_text("example-tariff")],
        "notify": [NOTIFY],
        "source": [SOURCE],
        "log": [whole_log(kind) for kind in range(4)],
    }


WEIGHTS = {
    "plan": 4,
    "kiln": 3,
    "load": 2,
    "controller": 1,
    "tariff": 1,
    "notify": 1,
    "source": 1,
    "log": 9,
}


def case(seed: int) -> tuple[str, bytes, tuple[str, ...]]:
    """Return a kind of file, a damaged one, and the command that is run over it."""
    chance = random.Random(seed)
    kind = chance.choices(list(WEIGHTS), list(WEIGHTS.values()))[0]
    data = chance.choice(bases()[kind]).encode()
    for _ in range(chance.choice([1, 1, 1, 2, 3])):
        data = chance.choice(MUTATORS)(chance, data) or b"\n"
    return kind, data, chance.choice(COMMANDS[kind])


def arguments(words: tuple[str, ...], folder: Path, kind: str, data: bytes) -> list[str]:
    """Write the file into a folder, and return the command with the names in it."""
    damaged = folder / ("damaged.toml" if kind in TOML else "damaged.csv")
    damaged.write_bytes(data)
    whole = folder / "whole.csv"
    whole.write_text(whole_log(0))
    names = {"F": str(damaged), "LOG": str(whole), "OUT": str(folder / "out")}
    return [names.get(word, word) for word in words]


def steers(text: str) -> bool:
    """Return whether a text could steer a terminal."""
    return (
        re.search("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\u2028]", text) is not None
    )


class TooLong(BaseException):
    """No command may catch it."""


def _stop(number: int, frame: FrameType | None) -> None:
    raise TooLong


def run(seed: int) -> list[str]:
    """Run one case in this process, and return what is wrong with its answer."""
    kind, data, words = case(seed)
    out, err = (io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for _ in range(2))
    wrong: list[str] = []
    code: Any = None
    with tempfile.TemporaryDirectory() as folder, contextlib.chdir(folder):
        sys.argv = ["firing", *arguments(words, Path(folder), kind, data)]
        began_s = time.process_time()
        signal.alarm(60)
        try:
            with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
                main()
        except SystemExit as left:
            code = left.code
        except TooLong:
            wrong.append("no end in a minute")
        except BaseException as error:  # whatever it is, it is a traceback
            wrong.append(f"traceback: {error!r}")
        finally:
            signal.alarm(0)
            gc.enable()
        took_s = time.process_time() - began_s
    if code not in (0, 1, 2):
        wrong.append(f"exit code {code}")
    if took_s > MOST_SECONDS:
        wrong.append(f"{took_s:.1f} s")
    for stream in (out, err):
        stream.flush()
        stream.seek(0)
        text = stream.read()
        if steers(text):
            wrong.append("steers a terminal")
        if "Traceback" in text or code == 70:
            wrong.append(text[-300:])
    return [f"{seed} {' '.join(words)}: {fault}" for fault in wrong]


def peak_mb() -> float:
    """Return the most memory this process has had.

    Linux hands ``ru_maxrss`` on through fork and exec, so that after a large parent it is the
    parent's; the high-water mark in ``/proc`` begins anew with the program.
    """
    with contextlib.suppress(OSError):
        for line in Path("/proc/self/status").read_text().splitlines():
            if line.startswith("VmHWM:"):
                return float(line.split()[1]) / 1024.0
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


def chunk(first: int, last: int) -> None:
    """Run cases, and print what is wrong with them as one JSON document."""
    faulthandler.enable()
    signal.signal(signal.SIGALRM, _stop)
    wrong: list[str] = []
    highest_mb = 0.0
    for seed in range(first, last):
        wrong += run(seed)
        if peak_mb() > max(MOST_MB, highest_mb + 1.0):
            highest_mb = peak_mb()
            wrong.append(f"{seed}: {highest_mb:.0f} MB")
        gc.collect()
    print(json.dumps({"wrong": wrong, "peak_mb": peak_mb()}))


if __name__ == "__main__":
    chunk(int(sys.argv[1]), int(sys.argv[2]))
