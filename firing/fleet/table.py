"""The table on the disk or in a bucket: Parquet parts, each written whole or not at all.

A run adds ``new-*.parquet``, some thousand rows each, as they come.  Settling makes large
``rows-*.parquet`` of them.  One rule makes every step repeatable, wherever the one before was cut
off: of two rows of one log the one in the higher ``new`` part counts, then the one in ``rows``.

Parts are batches, not kilns: a batch is complete at some moment, a kiln never is; and a thousand
kilns would make a thousand small files of every run, each slower to open than to read.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from datetime import datetime
from functools import cache, partial
from itertools import chain, islice
from typing import TYPE_CHECKING, Any, get_args, get_type_hints

import numpy as np

from firing.errors import FiringError
from firing.fleet.inputs import INSTALL, filesystem, is_local
from firing.fleet.row import Row

if TYPE_CHECKING:
    import pyarrow as pa

PART_ROWS = 65_536
"""A settled part holds at most so many rows: some MB."""
GROUP_ROWS = 4096
"""And is written so many rows at a time, which is all that is in memory of it."""
SHARED = (
    "kiln", "kiln_by", "kiln_file", "plan", "plan_by", "plan_file", "month", "status", "cause",
    "ended", "currency", "energy_from",
)  # fmt: skip
"""Columns of few different words, read as such."""
LATER = ("begins_like",)
"""Columns that tables of an earlier version lack."""
NEEDED = ("log", "status")
"""Columns without an empty cell."""
_UNFINISHED = ".part."


def arrow() -> Any:
    """Return pyarrow; `FiringError` if it is not installed."""
    try:
        import pyarrow
    except ImportError:
        raise FiringError(INSTALL) from None
    return pyarrow


@cache
def schema() -> pa.Schema:
    """Return the table's columns as Arrow types, each with its words."""
    pa = arrow()
    types = {
        str: pa.string(), bytes: pa.binary(32), int: pa.int64(), float: pa.float64(),
        bool: pa.bool_(), datetime: pa.timestamp("s", tz="UTC"),
    }  # fmt: skip
    columns = []
    for name, hint in get_type_hints(Row, include_extras=True).items():
        held, words = get_args(hint)
        inner = next((t for t in get_args(held) if t in types), held)
        arrow_type = pa.list_(pa.string()) if name == "findings" else types.get(inner, pa.string())
        columns.append(pa.field(name, arrow_type, name not in NEEDED, metadata={"words": words}))
    return pa.schema(columns, metadata={"firing": "one row a log", "schema": "1"})


def _fault_of(held: pa.Schema) -> str | None:
    """Return why a file with these columns is no part of the table: another program wrote it."""
    for column in schema():
        found = held.get_all_field_indices(column.name)
        if not found and column.name in LATER:
            continue
        if len(found) != 1:
            return f"column {column.name} stands there {len(found)} times"
        kind = held.field(found[0]).type
        # Files know no moments of whole seconds; they come back as milliseconds.
        if kind != column.type and not {kind, column.type} <= _moments():
            return f"column {column.name} holds {kind}, not {column.type}"
    return None


def _moments() -> set[pa.DataType]:
    return {arrow().timestamp(unit, tz="UTC") for unit in ("s", "ms", "us", "ns")}


class FleetTable:
    """The rows under one place; one run at a time writes there."""

    def __init__(self, place: str) -> None:
        arrow()
        self.place = place
        self._fs, self._root = filesystem(place)
        self._local = is_local(self._fs)
        self._lock: Any = None

    def open_for_writing(self) -> None:
        """Take the place for this run, and settle what an earlier one left.

        `FiringError` if another run writes there, or it holds something else.
        """
        try:
            if self._fs.isfile(self._root):
                raise FiringError(f"{self.place} is a file; name a folder for the table")
            self._fs.makedirs(self._root, exist_ok=True)
            if self._local:
                self._take_lock()
                for name in os.listdir(self._root):
                    if name.startswith(_UNFINISHED):  # of a run that was killed as it wrote
                        os.unlink(self._path(name))
        except OSError as error:
            raise FiringError(f"{self.place}: cannot be written to: {error.strerror}") from None
        self.settle()

    def _take_lock(self) -> None:
        try:
            import fcntl
        except ImportError:  # where there are no such locks, one run at a time is up to the user
            return
        self._lock = open(os.path.join(self._root, ".lock"), "w")  # noqa: SIM115
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            self.close()
            raise FiringError(
                f"{self.place}: another run writes there; wait for it, or name another --out"
            ) from None

    def close(self) -> None:
        """Let the place go."""
        if self._lock is not None:
            self._lock.close()
            self._lock = None

    # -- reading ---------------------------------------------------------------------------------

    def _parts(self, kind: str) -> list[str]:
        if not self._fs.exists(self._root):
            return []
        self._fs.invalidate_cache()
        names = (path.rpartition("/")[2] for path in self._fs.ls(self._root, detail=False))
        return sorted(n for n in names if n.startswith(f"{kind}-") and n.endswith(".parquet"))

    def _path(self, name: str) -> str:
        return f"{self._root}/{name}"

    @contextmanager
    def _opened(self, name: str, shared: Sequence[str] = ()) -> Iterator[Any]:
        from pyarrow import parquet

        try:
            with self._fs.open(self._path(name), "rb") as file:
                whole = parquet.ParquetFile(file)
                fault = _fault_of(whole.schema_arrow)
                if fault:
                    raise arrow().ArrowInvalid(fault)
                yield parquet.ParquetFile(file, metadata=whole.metadata, read_dictionary=shared)
        except (arrow().ArrowException, OSError) as error:
            why = str(error).splitlines()[0]
            raise FiringError(
                f"{self.place}/{name} is no part of a table ({why}); move it away and run again"
            ) from None

    def _read(self, name: str, columns: Sequence[str] | None = None) -> pa.Table:
        shared = [one for one in SHARED if columns is None or one in columns]
        with self._opened(name, shared) as file:
            part = file.read(columns)
            for one in LATER:
                if one not in part.column_names and (columns is None or one in columns):
                    empty = arrow().nulls(part.num_rows, schema().field(one).type)
                    part = part.append_column(one, empty)
            for one in NEEDED:
                if one in part.column_names and part[one].null_count:
                    raise arrow().ArrowInvalid(f"column {one} has empty cells")
            return part

    def read(self, columns: Sequence[str]) -> pa.Table:
        """Return those columns of all rows, one row a log."""
        pa = arrow()
        new = self._parts("new")
        names = [*new[::-1], *self._parts("rows")]
        if not names:
            return schema().empty_table().select(columns)
        wanted = columns if "log" in columns or not new else [*columns, "log"]
        table = pa.concat_tables([self._read(name, wanted) for name in names]).unify_dictionaries()
        if new:
            table = table.take(_first_places(table["log"]))
        return table.select(columns)

    def rows_at(self, places: Sequence[int], columns: Sequence[str]) -> list[dict[str, Any]]:
        """Return a few rows by their places in the order of `read`."""
        found: dict[int, dict[str, Any]] = {}
        begin = 0
        for size, part in self._lazily(columns):
            here = [place for place in set(places) if begin <= place < begin + size]
            if here:
                rows = part().take([place - begin for place in here]).to_pylist()
                found |= dict(zip(here, rows, strict=True))
            begin += size
        return [found[place] for place in places]

    def _lazily(self, columns: Sequence[str]) -> Iterator[tuple[int, Callable[[], pa.Table]]]:
        """Yield the size of each part, and what reads it, in the order of `read`."""
        if self._parts("new"):  # rows of one log may stand in two parts
            whole = self.read(columns)
            yield whole.num_rows, lambda: whole
            return
        for name in self._parts("rows"):
            with self._opened(name) as file:
                size = file.metadata.num_rows
            yield size, partial(self._read, name, columns)

    def count(self) -> int:
        """Return how many rows there are."""
        return sum(size for size, _ in self._lazily(["log"]))

    def parts(self, columns: Sequence[str]) -> Iterator[pa.Table]:
        """Yield those columns of all rows, part by part, in the order of `read`."""
        for _, part in self._lazily(columns):
            yield part().select(columns)

    # -- writing ---------------------------------------------------------------------------------

    def add(self, rows: Iterable[Row]) -> None:
        """Write rows as one part; they count in the place of earlier ones of the same logs."""
        columns: dict[str, list[Any]] = {one.name: [] for one in fields(Row)}
        for row in rows:
            for name, values in columns.items():
                values.append(getattr(row, name))
        self.add_table(arrow().table(columns, schema=schema()))

    def add_table(self, table: pa.Table) -> None:
        """Write a table as one part; see `add`."""
        if table.num_rows:
            self._write(self._next("new"), [table.sort_by("log")])

    def settle(self, without: Sequence[str] = ()) -> None:
        """Make settled parts of new ones, without the rows that these replace, and some others."""
        pa, new = arrow(), self._parts("new")
        if not new:
            return
        import pyarrow.compute as pc

        logs = pa.chunked_array([chunk for name in new for chunk in
                                 self._read(name, ["log"])["log"].chunks], pa.string())  # fmt: skip
        logs = pa.chunked_array([*logs.chunks, pa.array(without, pa.string())])
        small: list[str] = []
        for name in self._parts("rows"):
            held = self._read(name, ["log"])["log"]
            kept = pc.invert(pc.is_in(held, value_set=logs))
            left = pc.sum(kept).as_py() or 0
            if left == 0:
                self._fs.rm_file(self._path(name))
            elif left < len(held):
                self._write(name, [self._read(name).filter(kept)])
            if 0 < left < PART_ROWS // 2:
                small.append(name)
        # What is put together stays "new" until all it was made of is gone.
        sources, made = (*new[::-1], *small), []
        groups, more = self._of_each_log_once(sources), max(0, PART_ROWS // GROUP_ROWS - 1)
        for first in groups:
            made.append(self._next("new"))
            self._write(made[-1], chain((first,), islice(groups, more)))
        for name in (*small, *new):
            self._fs.rm_file(self._path(name))
        for name in made:
            self._fs.mv(self._path(name), self._path(self._next("rows")))

    def _of_each_log_once(self, names: Sequence[str]) -> Iterator[pa.Table]:
        """Yield the rows of parts, the first of each log, some thousand at a time."""
        pa = arrow()
        logs = [self._read(name, ["log"])["log"] for name in names]
        first = _first_places(pa.chunked_array([c for one in logs for c in one.chunks])).to_numpy()
        size, begin, held, waiting = min(GROUP_ROWS, PART_ROWS), 0, [], 0
        for name, one in zip(names, logs, strict=True):
            here = first[(first >= begin) & (first < begin + len(one))] - begin
            begin += len(one)
            held.append(self._read(name).take(here))
            waiting += here.size
            while waiting >= size:
                whole = pa.concat_tables(held)
                yield whole.slice(0, size)
                held, waiting = [whole.slice(size)], waiting - size
        if waiting:
            yield pa.concat_tables(held)

    def _next(self, kind: str) -> str:
        parts = self._parts(kind)
        number = int(parts[-1].removesuffix(".parquet").rpartition("-")[2]) + 1 if parts else 1
        return f"{kind}-{number:08d}.parquet"

    def _write(self, name: str, tables: Iterable[pa.Table]) -> None:
        """Write a part whole or not at all: renamed here, put at once elsewhere.

        `FiringError` if it cannot be written; what was there before is still there.
        """
        from pyarrow import parquet

        sink = arrow().BufferOutputStream()
        with parquet.ParquetWriter(sink, schema(), compression="zstd") as writer:
            for table in tables:
                writer.write_table(table.cast(schema()))
        data = sink.getvalue()
        try:
            if self._local:
                _replace(self._path(name), data)
            else:
                self._fs.pipe_file(self._path(name), data.to_pybytes())
        except OSError as error:
            raise FiringError(
                f"{self.place}: a part cannot be written: {error.strerror or error}; what was "
                "written before is kept, so make room and run again"
            ) from None


def _replace(path: str, data: Any) -> None:
    folder = os.path.dirname(path)
    temporary = f"{folder}/{_UNFINISHED}{os.path.basename(path)}"
    try:
        with open(temporary, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, path)
    finally:
        if os.path.exists(temporary):
            os.unlink(temporary)


def _first_places(logs: pa.ChunkedArray) -> Any:
    """Return where each different log stands first."""
    numbered = arrow().table({"log": logs, "place": np.arange(len(logs))})
    return numbered.group_by("log").aggregate([("place", "min")])["place_min"].sort()
