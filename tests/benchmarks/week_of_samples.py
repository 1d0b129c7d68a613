"""Benchmark: a week of 1-minute samples of 1,000 sites (10.08 million rows), from CSV to review, against DuckDB's plain
typed read.

Run: ``python tests/benchmarks/week_of_samples.py [--sites 1000] [--folder DIR]``. Prints seconds and ratios of one run;
asserts nothing,
because timings are noisy. The fleet is made up by SQL, not by the simulator: here only size and shape matter.
"""

from __future__ import annotations

import argparse
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import duckdb

_FLEET = """# This data is made up: a benchmark.
name = "Benchmark (made-up data)"
made_up = true
zone = "America/Los_Angeles"
[[source]]
name = "samples"
files = "samples_*.csv"
dialect = "samples_1min"
"""
_PUMPS_A_FILE = 10
_SAMPLES = """
copy (
    with slot as (
        select
            pump,
            minute,
            minute % 1440 as of_day,
            (hash(pump * 100003 + minute) % 11)::int - 5 as jitter
        from range($first, $last) as p(pump), range(7 * 1440) as m(minute)
    ),
    run as (
        select
            *,
            case
                when of_day between 420 + pump % 60 and 480 + pump % 60 then 2600
                when of_day between 480 + pump % 60 and 1080 + pump % 90 then 1200 + 25 * (pump % 20)
                else 0
            end as keyed_rpm
        from slot
    )
    select
        strftime(timestamp '2026-11-02 08:00:00' + to_minutes(minute), '%Y-%m-%dT%H:%M:%SZ') as time_utc,
        format('P{:04d}', pump) as pump,
        if(keyed_rpm > 0, keyed_rpm + jitter, 0)::int as speed_rpm,
        round(if(keyed_rpm > 0, 45 + 52 * (keyed_rpm / 1000.0) ** 2.8, 4) * (1 + jitter / 500.0), 1) as power_w,
        if(of_day between 500 and 600, 1, 0) as aux
    from run
    order by minute, pump
) to '{path}' (header, delimiter ',')
"""


def make_fleet(folder: Path, sites: int) -> None:
    """Register and inbox of ``sites`` sites with a pump each."""
    inbox = folder / "inbox"
    inbox.mkdir(parents=True)
    (folder / "fleet.toml").write_text(_FLEET)
    (folder / "tariffs").mkdir()
    (folder / "tariffs" / "evening.toml").write_text(
        '[[band]]\nname = "low"\nstart = "21:00"\nstop = "16:00"\nprice_per_kwh = 0.2\n'
        '[[band]]\nname = "peak"\nstart = "16:00"\nstop = "21:00"\nprice_per_kwh = 0.4\npeak = true\n'
    )
    lines = {
        "sites.csv": [
            "site_id,site_name,route,pool_volume_m3,required_turnovers,tariff,filter_limit_m3h,suction_limit_m3h"
        ],
        "pumps.csv": [
            "pump_id,site_id,curve,static_head_m,design_flow_m3h,design_head_m,baseline_power_w,baseline_hours_per_day,baseline_evidence"
        ],
        "plans.csv": ["pump_id,valid_from,period,speed_rpm,start,stop"],
        "pump_curves.csv": [
            "curve,speed_rpm,flow_m3h,head_m",
            "Q1,3450,0,20",
            "Q1,3450,10,17",
            "Q1,3450,20,11",
            "Q1,3450,26,5",
        ],
    }
    for pump in range(sites):
        start, stop = 480 + pump % 60, 1081 + pump % 90
        lines["sites.csv"].append(f"S{pump:04d},Made-up site {pump},{pump % 20},{40 + pump % 50},1.0,evening,25,25")
        lines["pumps.csv"].append(f"P{pump:04d},S{pump:04d},Q1,1.0,14,9,1700,8,nameplate")
        lines["plans.csv"].append(
            f"P{pump:04d},2026-01-01,1,2600,{(start - 60) // 60:02d}:{(start - 60) % 60:02d},{start // 60:02d}:{start % 60:02d}"
        )
        lines["plans.csv"].append(
            f"P{pump:04d},2026-01-01,2,{1200 + 25 * (pump % 20)},{start // 60:02d}:{start % 60:02d},{stop // 60:02d}:{stop % 60:02d}"
        )
    for name, rows in lines.items():
        (folder / name).write_text("\n".join(rows) + "\n")
    with duckdb.connect() as db:
        for first in range(0, sites, _PUMPS_A_FILE):
            text = _SAMPLES.replace("{path}", str(inbox / f"samples_{first // _PUMPS_A_FILE:04d}.csv"))
            db.execute(text, {"first": first, "last": min(first + _PUMPS_A_FILE, sites)}).fetchall()


def plain_read(folder: Path, target: Path, bad_rows: bool = False) -> tuple[float, int]:
    """Seconds and rows of DuckDB reading the same CSV with typed columns into one Parquet file; ``bad_rows`` lets it
    leave out what does not fit."""
    with duckdb.connect(config={"threads": 2}) as db:
        started = time.perf_counter()
        rows = db.execute(
            f"""copy (from read_csv('{folder}/inbox/*.csv', header = true, auto_detect = false, delim = ',',
            ignore_errors = {bad_rows}, timestampformat = '%Y-%m-%dT%H:%M:%SZ',
                columns = {{'time_utc': 'TIMESTAMP', 'pump': 'VARCHAR', 'speed_rpm': 'DOUBLE', 'power_w': 'DOUBLE',
                'aux': 'VARCHAR'}}))
                to '{target}' (format parquet)"""
        ).fetchall()[0][0]
        return time.perf_counter() - started, rows


def main() -> None:
    """Make, read plainly, review, print."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--sites", type=int, default=1000)
    options.add_argument("--folder", type=Path, help="keep the fleet here, and use it if it is there")
    chosen = options.parse_args()
    folder = chosen.folder or Path(tempfile.mkdtemp(prefix="pumpledger-benchmark-"))
    if not (folder / "fleet.toml").exists():
        make_fleet(folder, chosen.sites)
    for written in ("lake", "reports", ".dagster"):
        shutil.rmtree(folder / written, ignore_errors=True)
    floor_s = min(plain_read(folder, folder / "plain.parquet") for _ in range(3))[0]
    rows = plain_read(folder, folder / "plain.parquet")[1]
    started = time.perf_counter()
    subprocess.run(
        [str(Path(sys.executable).with_name("pumpledger")), "review", str(folder)],
        check=True,
        stdout=subprocess.DEVNULL,
    )
    whole_s = time.perf_counter() - started
    peak_gib = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20
    print(f"{rows:,} rows of {chosen.sites:,} sites")
    print(f"DuckDB plain typed read to Parquet: {floor_s:.2f} s (best of three)")
    print(
        f"pumpledger review, whole command:   {whole_s:.2f} s, ratio {whole_s / floor_s:.2f}, peak memory {peak_gib:.2f} GiB"
    )
    if not chosen.folder:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
