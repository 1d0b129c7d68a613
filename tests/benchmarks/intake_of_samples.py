"""Benchmark: intake alone of a week of 1-minute samples of 1,000 sites (10.08 million rows), and of one more file in a
fleet of ten thousand ingested ones, against DuckDB's plain typed read.

Start-up is the process, all imports (Great Expectations' own take most of it; in a review they run beside the reading)
and the register; the intake is all that comes after.

Run: ``python tests/benchmarks/intake_of_samples.py [--sites 1000] [--folder DIR] [--files 10000]``. Prints seconds,
ratios and peak memory of one run; asserts nothing, because timings are noisy. The fleet is that of
`week_of_samples.py`, made up.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from week_of_samples import make_fleet, plain_read

_INTAKE = """
import resource, sys, time
from pathlib import Path
started = time.perf_counter()
from pumpledger.orchestration.session import Session
from pumpledger.engine.expectations import warm_up
warm_up().join()
session = Session(Path(sys.argv[1]))
session.declared
ready = time.perf_counter()
with session.workspace.lock():
    if session.look_at_inbox():
        outcome = session.take_inbox()
ended = time.perf_counter()
usage = resource.getrusage(resource.RUSAGE_SELF)
# Not ru_maxrss: that of a child begins with what its parent held when it was started.
peak = next(int(line.split()[1]) for line in open("/proc/self/status") if line.startswith("VmHWM"))
print(ended - ready, ready - started, peak / 1024, usage.ru_utime, usage.ru_stime)
"""


def intake(folder: Path) -> list[float]:
    """Seconds of the intake, seconds before it, peak memory [MiB], user and system seconds."""
    done = subprocess.run([sys.executable, "-c", _INTAKE, str(folder)], stdout=subprocess.PIPE, text=True, check=True)
    return [float(word) for word in done.stdout.split()]


def many_small(folder: Path, files: int) -> None:
    """A fleet whose inbox holds ``files`` files of one pump and one day each."""
    make_fleet(folder, 0)
    pumps, days = max(1, files // 100), 100
    lines = ["site_id,site_name,pool_volume_m3"] + [f"S{pump:04d},Made-up site {pump},60" for pump in range(pumps)]
    (folder / "sites.csv").write_text("\n".join(lines) + "\n")
    lines = ["pump_id,site_id"] + [f"P{pump:04d},S{pump:04d}" for pump in range(pumps)]
    (folder / "pumps.csv").write_text("\n".join(lines) + "\n")
    for name in ("plans.csv", "pump_curves.csv"):
        (folder / name).unlink()
    for number in range(files):
        pump, day = number % pumps, number // pumps % days
        small_file(folder, f"samples_{number:05d}.csv", pump, day)


def small_file(folder: Path, name: str, pump: int, day: int) -> None:
    """A day of samples every hour, from 1 July 2026 on."""
    stamps = (time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(1782864000 + 86400 * day + 3600 * h)) for h in range(24))
    rows = [f"{stamp},P{pump:04d},{1500 + number},300,0\n" for number, stamp in enumerate(stamps)]
    (folder / "inbox" / name).write_text("time_utc,pump,speed_rpm,power_w,aux\n" + "".join(rows))


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sites", type=int, default=1000)
    parser.add_argument("--files", type=int, default=10_000)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()))
    options = parser.parse_args()
    with tempfile.TemporaryDirectory(dir=options.folder) as root:
        week = Path(root) / "week"
        make_fleet(week, options.sites)
        plain = min(plain_read(week, Path(root) / "plain.parquet")[0] for _ in range(2))
        seconds, start_up, peak, user, system = intake(week)
        print(f"plain typed read {plain:.2f} s; intake {seconds:.2f} s = {seconds / plain:.1f} times, "
              f"after {start_up:.2f} s of start-up; peak {peak:,.0f} MiB; user {user:.1f} s, system {system:.1f} s")  # fmt: skip
        if options.files:
            many = Path(root) / "many"
            many_small(many, options.files)
            first = intake(many)
            small_file(many, "samples_new.csv", 0, 120)
            seconds, start_up, peak, *_ = intake(many)
            print(
                f"{options.files:,} files in {first[0]:.1f} s; one more file {seconds:.2f} s after {start_up:.2f} s of start-up"
            )


if __name__ == "__main__":
    main()
