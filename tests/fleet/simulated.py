"""A table of simulated firings, written as a run writes it, for what takes a million of them."""

from pathlib import Path

import numpy as np
import pyarrow as pa

from firing.fleet.table import GROUP_ROWS, PART_ROWS, FleetTable, schema

PLANS = ("bisque", "glaze", "slow glaze", "once fired", "decal")


def write_rows(place: Path, count: int, kilns: int, *, seed: int = 1) -> FleetTable:
    """Write that many firings: each kiln loses a little power, every seventh a lot."""
    table = FleetTable(str(place))
    table.open_for_writing()
    for begin in range(0, count, PART_ROWS):
        size = min(PART_ROWS, count - begin)
        part = _part(begin, size, kilns, np.random.default_rng(seed + begin))
        groups = (part.slice(at, GROUP_ROWS) for at in range(0, size, GROUP_ROWS))
        table._write(table._next("rows"), groups)  # as a run leaves it
    table.close()
    return table


def _part(begin: int, size: int, kilns: int, chance: np.random.Generator) -> pa.Table:
    number = np.arange(begin, begin + size)
    kiln, turn = number % kilns, number // kilns
    plan = chance.integers(0, len(PLANS), size)
    worn = np.exp(-turn * np.where(kiln % 7 == 0, 8e-4, 1e-5))
    planned_s = 3600.0 * (8.0 + plan)
    excess_s = chance.normal(0.0, 300.0, size) + 20_000.0 * np.maximum(0.0, 0.8 - worn)
    day = 1_700_000_000 + turn * 2 * 86_400 + kiln
    month = np.datetime_as_string(day.astype("datetime64[s]").astype("datetime64[M]"))
    columns = {
        **{one.name: pa.nulls(size, one.type) for one in schema()},
        "log": pa.array(
            [f"/archive/kiln-{k:04d}/{n:07d}.csv" for k, n in zip(kiln, number, strict=True)]
        ),
        "status": pa.array(np.full(size, "reviewed")),
        "log_sha256": pa.FixedSizeBinaryArray.from_buffers(
            pa.binary(32), size, [None, pa.py_buffer(chance.bytes(32 * size))]
        ),
        "kiln": pa.array([f"kiln-{k:04d}" for k in kiln]),
        "plan": pa.array(np.array(PLANS)[plan]),
        "plan_file": pa.array(np.array([f"plans/{p}.toml" for p in PLANS])[plan]),
        "started_at": pa.array(day, pa.timestamp("s", tz="UTC")),
        "month": pa.array(month),
        "planned_s": pa.array(planned_s),
        "actual_s": pa.array(planned_s + excess_s),
        "excess_s": pa.array(excess_s),
        "cause": pa.array(np.where(excess_s > 0, "power_limited", "unexplained")),
        "ended": pa.array(np.full(size, "program")),
        "peak_c": pa.array(1200.0 + chance.normal(0.0, 2.0, size)),
        "planned_peak_c": pa.array(np.full(size, 1200.0)),
        "cone_number": pa.array(6.0 + chance.normal(0.0, 0.2, size)),
        "planned_cone_number": pa.array(np.full(size, 6.0)),
        "uneven_cones": pa.array(np.abs(chance.normal(0.2, 0.1, size))),
        "power_over_loss": pa.array(worn * np.exp(chance.normal(0.0, 0.02, size))),
        "power_over_loss_se": pa.array(np.full(size, 0.02)),
        "climb_left_c_per_h": pa.array(120.0 * worn),
        "last_rate_c_per_h": pa.array(np.full(size, 80.0)),
        "act": pa.array(excess_s > 4000.0),
        "energy_kwh": pa.array(60.0 + chance.normal(0.0, 3.0, size)),
        "cost": pa.array(15.0 + chance.normal(0.0, 1.0, size)),
        "currency": pa.array(np.full(size, "EUR")),
    }
    return pa.table({one.name: columns[one.name].cast(one.type) for one in schema()})
