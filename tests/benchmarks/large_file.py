"""Benchmark: one export of several gigabytes with one bad row near its end, in bounded memory, against DuckDB's plain
typed read.

Run: ``python tests/benchmarks/large_file.py [--gigabytes N] [--folder DIR]``. Writes a made-up file of N GB (default 1)
into a temporary folder, ingests it in a process of its own, and prints that process's peak memory and seconds. Asserts
the counts, for a file read wrong has no speed; not the times, because timings are noisy.
"""

from __future__ import annotations

import argparse
import tempfile
from pathlib import Path

import duckdb
import polars as pl
from intake_of_samples import intake
from week_of_samples import plain_read

_FLEET = """# This data is made up: a benchmark.
name = "Benchmark (made-up data)"
made_up = true
zone = "America/Los_Angeles"
[[source]]
name = "samples"
files = "samples_*.csv"
dialect = "samples_1min"
"""
_ROW_BYTES = 41
"""Of one row, about."""
_MINUTES = 90 * 1440
"""Minutes a pump is logged: 90 days from 2 November 2026, all at one offset."""
_SAMPLES = """
copy (
    select
        strftime(timestamp '2026-11-02 08:00:00' + to_minutes(n // $pumps), '%Y-%m-%dT%H:%M:%SZ') as time_utc,
        format('P{:04d}', n % $pumps) as pump,
        if(n = $rows - 1000, 'fast', (1200 + hash(n) % 1200)::varchar) as speed_rpm,
        100 + hash(n + 1) % 10000 / 10.0 as power_w,
        hash(n + 2) % 2 as aux
    from range($rows) as row(n)
) to '{path}' (header, delimiter ',')
"""


def make_fleet(folder: Path, gigabytes: float) -> int:
    """Register and one export of about ``gigabytes``; its rows."""
    rows = int(gigabytes * 1e9 / _ROW_BYTES)
    pumps = max(1, -(-rows // _MINUTES))
    (folder / "inbox").mkdir(parents=True)
    (folder / "fleet.toml").write_text(_FLEET)
    sites = [f"S{pump:04d},Made-up site {pump},60" for pump in range(pumps)]
    (folder / "sites.csv").write_text("\n".join(["site_id,site_name,pool_volume_m3", *sites]) + "\n")
    (folder / "pumps.csv").write_text(
        "\n".join(["pump_id,site_id", *(f"P{line[1:5]},{line[:5]}" for line in sites)]) + "\n"
    )
    with duckdb.connect(config={"memory_limit": "1GB"}) as db:
        text = _SAMPLES.replace("{path}", str(folder / "inbox" / "samples_large.csv"))
        db.execute(text, {"rows": rows, "pumps": pumps}).fetchall()
    return rows


def main() -> None:
    """Make, read plainly, ingest, print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--gigabytes", type=float, default=1.0)
    options.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()), help="where the temporary folder goes"
    )
    chosen = options.parse_args()
    with tempfile.TemporaryDirectory(dir=chosen.folder) as root:
        folder = Path(root) / "fleet"
        rows = make_fleet(folder, chosen.gigabytes)
        size = (folder / "inbox" / "samples_large.csv").stat().st_size
        plain_s = plain_read(folder, Path(root) / "plain.parquet", bad_rows=True)[0]
        (Path(root) / "plain.parquet").unlink()
        seconds, start_up_s, peak_mib, user_s, system_s = intake(folder)
        lake = folder / "lake"
        readings = pl.scan_parquet(lake / "readings/week=*/*.parquet", glob=True).select(pl.len()).collect().item()
        refused = pl.read_parquet(lake / "refused/*.parquet", glob=True).select("line", "fate").rows()
        assert (readings, refused) == (rows - 1, [(rows - 1000 + 2, "rejects")]), (readings, refused)
    print(f"{rows:,} rows, {size / 1e9:.2f} GB, one of them bad; plain typed read {plain_s:.1f} s; intake {seconds:.1f} s "
          f"= {seconds / plain_s:.1f} times, after {start_up_s:.1f} s of start-up; peak {peak_mib:,.0f} MiB; "
          f"user {user_s:.0f} s, system {system_s:.0f} s")  # fmt: skip


if __name__ == "__main__":
    main()
