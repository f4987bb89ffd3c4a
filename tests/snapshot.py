"""What every command answers, written down, so that two trees can be set side by side.

    python tests/snapshot.py take FOLDER
    python tests/snapshot.py compare FOLDER_A FOLDER_B

`take` runs the command line of whichever `firing` is imported (PYTHONPATH chooses it); the runs
are those of `snapshotruns.py`, each once as text and once with ``--json``.  NAME.json holds the
exit codes and the document, NAME.txt what a person reads, with notes and written files.  `compare`
tells every path that differs, and leaves with 1 unless all that differs is added keys or text.

Known of the package are `firing.cli.main`, the commands and their options, and nothing else.  Runs
share one process, which saves an hour of imports, but each begins in an empty folder of its own.
"""

import gc
import io
import json
import os
import re
import shutil
import sys
import tempfile
import time
from collections.abc import Iterator, Sequence
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import Any

# Before numpy is loaded: sums in a fixed order, one zone with summer time, one width of the screen.
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "COLUMNS": "80"}
os.environ["TZ"] = "CET-1CEST,M3.5.0,M10.5.0/3"
time.tzset()

from snapshotruns import Run, all_runs  # noqa: E402  # the environment comes first

LONG_SCRIPT = 200_000
"""The drawing library of a page is longer, what it draws is shorter [characters]."""
INTERRUPTED = 130


# The command line


def call(arguments: Sequence[str]) -> tuple[int | str, str, str]:
    """Return exit code, stdout and stderr of ``firing …``; a crash is a code of its own."""
    from firing.cli import main

    streams = [io.TextIOWrapper(io.BytesIO(), "utf-8") for _ in range(2)]
    sys.argv = ["firing", *arguments]
    code: int | str = "did not leave"
    with redirect_stdout(streams[0]), redirect_stderr(streams[1]):
        try:
            main()
        except SystemExit as left:
            code = left.code if isinstance(left.code, int) else str(left.code)
        except BaseException as fault:
            code = f"crashed: {type(fault).__name__}: {fault}"
    gc.enable()  # a command turns it off, counting on a process that is soon over
    if code == INTERRUPTED:
        raise KeyboardInterrupt
    for stream in streams:
        stream.flush()
    out, err = (stream.buffer.getvalue().decode() for stream in streams)
    return code, out, err


def answer(*arguments: str) -> Any:
    """Return the document that a command prints; it has to print one."""
    code, out, err = call([*arguments, "--json"])
    if code != 0:
        sys.exit(f"snapshot: firing {' '.join(arguments)} left with {code}: {err}")
    return json.loads(out)


def take(folder: Path) -> int:
    """Run everything and write it down."""
    import firing

    folder = folder.resolve()
    if folder.exists() and any(folder.iterdir()):
        sys.exit(f"snapshot: {folder} is not empty; choose another folder")
    folder.mkdir(parents=True, exist_ok=True)
    print(f"snapshot of {Path(firing.__file__).parent}, version {firing.__version__}", flush=True)
    with tempfile.TemporaryDirectory() as temporary:
        work = Path(temporary).resolve()
        (work / "in").mkdir()
        os.chdir(work / "in")
        runs = all_runs(answer)
        for number, one in enumerate(runs, 1):
            began_s = time.monotonic()
            record, text = take_one(one, work)
            contents = {"json": json.dumps(record, ensure_ascii=False, indent=1), "txt": text}
            for ending, content in contents.items():
                content = content.replace(str(work), "<folder>")
                content = content.replace(f"firing {firing.__version__}", "firing <version>")
                (folder / f"{one.name}.{ending}").write_text(f"{content}\n", encoding="utf-8")
            took_s = time.monotonic() - began_s
            if sys.stdout.isatty() or number % 50 == 0 or took_s > 5.0 or number == len(runs):
                print(f"{number:>4} of {len(runs)}  {took_s:5.1f} s  {one.name}", flush=True)
        os.chdir(folder)
    return 0


def take_one(one: Run, work: Path) -> tuple[dict[str, Any], str]:
    """Return what a run answers a program, and what it tells a person."""
    record: dict[str, Any] = {"arguments": list(one.arguments)}
    text = ""
    here = work / "here"  # beside "in", so that ../in/… finds the input files
    for flags in ((), ("--json",)) if one.as_json else ((),):
        here.mkdir()
        for name in one.needs:
            shutil.copy(work / "in" / name, here)
        os.chdir(here)
        code, out, err = call([*one.arguments, *flags])
        text += f"$ firing {' '.join([*one.arguments, *flags])}\n(exit {code})\n"
        if flags:
            record |= {"exit": code, "json": documents(out)}
        else:
            record["exit_as_text"] = code
            text += out
        text += f"-- stderr --\n{err}"
        for path in sorted(p for p in here.rglob("*") if p.is_file() and not flags):
            text += f"-- file {path.relative_to(here)} --\n{written(path)}\n"
        os.chdir(work)
        shutil.rmtree(here)
    return record, text


def written(path: Path) -> str:
    """Return a file's text; of a page without the drawing library."""
    content = path.read_bytes().decode("utf-8", "replace")
    if path.suffix != ".html":
        return content
    scripts = re.compile(r"(<script[^>]*>)(.*?)(</script>)", re.DOTALL)
    return scripts.sub(lambda s: s[0] if len(s[2]) < LONG_SCRIPT else f"{s[1]}…{s[3]}", content)


def documents(out: str) -> Any:
    """Return the one document of an output, or those of its lines; floats to nine digits."""

    def nine_digits(number: str) -> float:
        return float(f"{float(number):.9g}")

    try:
        return json.loads(out, parse_float=nine_digits)
    except ValueError:
        try:
            return [json.loads(line, parse_float=nine_digits) for line in out.splitlines()]
        except ValueError:
            return f"not JSON: {out}"


# Side by side


def differences(one: Any, two: Any, path: str = "") -> Iterator[tuple[str, str, str]]:
    """Yield kind, path and what differs between two documents."""
    if isinstance(one, dict) and isinstance(two, dict):
        for key in [*one, *(key for key in two if key not in one)]:
            if key not in two:
                yield "differs", f"{path}.{key}", "removed"
            elif key not in one:
                yield "added", f"{path}.{key}", ""
            else:
                yield from differences(one[key], two[key], f"{path}.{key}")
    elif isinstance(one, list) and isinstance(two, list):
        if len(one) != len(two):
            yield "differs", path, f"{len(one)} entries, now {len(two)}"
        for place, (left, right) in enumerate(zip(one, two, strict=False)):
            yield from differences(left, right, f"{path}[{place}]")
    elif type(one) is not type(two) or one != two:
        yield "differs", path, f"{json.dumps(one)[:60]}, now {json.dumps(two)[:60]}"


def compare(before: Path, after: Path) -> int:
    """Print what differs between two snapshots; return the exit code."""
    names = [{path.stem for path in folder.glob("*.json")} for folder in (before, after)]
    if not all(names):
        sys.exit("snapshot: one of the folders holds no snapshot")
    counts = dict.fromkeys(("differs", "added", "text"), 0)
    for name in sorted(names[0] | names[1]):
        # One line a path: the entries of a list are told together, with the first of them.
        told: dict[tuple[str, str], list[str]] = {}
        if name not in names[1]:
            told["differs", "this run"] = ["removed"]
        elif name not in names[0]:
            told["added", "this run"] = [""]
        else:
            pair = [json.loads((f / f"{name}.json").read_text("utf-8")) for f in (before, after)]
            for kind, path, what in differences(*pair):
                told.setdefault((kind, re.sub(r"\[\d+\]", "[]", path)), []).append(what)
            if (before / f"{name}.txt").read_bytes() != (after / f"{name}.txt").read_bytes():
                told["text", f"{name}.txt"] = [""]
        if told:
            print(name)
        for (kind, path), whats in told.items():
            often = f" ({len(whats)} times, first:)" if len(whats) > 1 else ""
            print(f"  {kind:<8} {path}{often} {whats[0]}".rstrip())
        for kind in {kind for kind, _ in told}:
            counts[kind] += 1
    print(f"{len(names[0])} runs before, {len(names[1])} after: {counts['differs']} differ, "
          f"{counts['added']} have something added, {counts['text']} read differently")  # fmt: skip
    return 1 if counts["differs"] else 0


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["take", where]:
            sys.exit(take(Path(where)))
        case ["compare", one, two]:
            sys.exit(compare(Path(one), Path(two)))
        case _:
            print(__doc__, file=sys.stderr)
            sys.exit(2)
