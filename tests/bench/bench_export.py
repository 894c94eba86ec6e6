"""Storing columns: our Parquet against Feather for the same frame in the same run. Bytes a value, time, and the rounding error of the grid.

python tests/bench/bench_export.py [ticks]
"""

import statistics
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd
from hotfuel.session.export import GRID, write_frame

START = pd.Timestamp("2026-06-01T12:00:00Z")


def recording(count: int) -> pd.DataFrame:
    """Four places at 10 Hz: slow changes, drift, and an amplifier's noise of 0.04 degC."""
    random = np.random.default_rng(2)
    at = np.arange(count) * 0.1
    columns = {
        f"place{n}_degc": 45
        + 25 * np.sin(at / 900 + n)
        + np.cumsum(random.standard_normal(count)) * 0.001
        + 0.04 * random.standard_normal(count)
        for n in range(4)
    }
    index = (START + pd.to_timedelta(at, unit="s")).as_unit("us")  # as a session has it
    return pd.DataFrame(columns, index=index)


def main() -> None:
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1_400_000
    frame = recording(count)
    plain = frame.reset_index(names="time_utc")
    with tempfile.TemporaryDirectory() as folder:
        ours, feather = Path(folder) / "ours.parquet", Path(folder) / "peer.feather"
        spent: dict[str, list[float]] = {"parquet": [], "feather": []}
        for _ in range(8):  # in turn, so that a busy machine affects both; the first round is not counted
            for name, task in (("parquet", lambda: write_frame(frame, ours)), ("feather", lambda: plain.to_feather(feather))):
                start = time.perf_counter()
                task()
                spent[name].append(time.perf_counter() - start)
        parquet_s, feather_s = (statistics.median(times[1:]) for times in spent.values())
        ratio = statistics.median(a / b for a, b in zip(spent["parquet"][1:], spent["feather"][1:], strict=True))
        values = count * len(frame.columns)
        back = pd.read_parquet(ours)
        worst = max(float(np.abs(back[name].to_numpy(float) - frame[name].to_numpy()).max()) for name in frame.columns)
        print(f"{count} ticks x {len(frame.columns)} places, time column included")
        print(
            f"parquet  {parquet_s:.3f} s   {ours.stat().st_size / values:.2f} bytes a value, off by at most {worst:.4f} degC (grid 1/{GRID:g})"
        )
        print(f"feather  {feather_s:.3f} s   {feather.stat().st_size / values:.2f} bytes a value")
        print(f"time ratio parquet / feather {ratio:.2f}, size ratio {ours.stat().st_size / feather.stat().st_size:.3f}")


if __name__ == "__main__":
    main()
