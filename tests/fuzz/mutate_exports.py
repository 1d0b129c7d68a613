"""Spoils good exports at random, thousands of times, and holds what the intake makes of each against its bytes.

    .venv/bin/python tests/fuzz/mutate_exports.py --count 10000 --seed 1 --keep FOLDER

Prints what was found and the rates. Every finding names its number: --only NUMBER makes that one file again. Exit
status 1 where anything was found. pytest does not collect this script; `tests/intake/test_hostile_bytes.py` runs a
small number of the same files.
"""

from __future__ import annotations

import argparse
import random
import signal
import sys
import tempfile
import time
import traceback
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

from pumpledger.engine.database import Database  # noqa: E402
from tests.fleet_folder import write_fleet  # noqa: E402
from tests.fuzz.corpus import OWN, ZONES, Seed, seeds  # noqa: E402
from tests.fuzz.judge import judge, taken_twice  # noqa: E402
from tests.fuzz.mutations import mutate  # noqa: E402

LONGEST_S = 60
"""What one small file may cost on a busy machine; a file that costs more is a finding."""

BATCH = 130
"""Files that are also put into one inbox together: ten of each seed."""


@dataclass(slots=True)
class Tally:
    """What a run saw."""

    files: int = 0
    megabytes: float = 0.0
    whole: int = 0
    in_part: int = 0
    set_aside: Counter[str] = field(default_factory=Counter)
    rows: Counter[str] = field(default_factory=Counter)
    rules: Counter[str] = field(default_factory=Counter)
    slowest_s: float = 0.0
    slowest: int = -1
    findings: list[tuple[int, str, str]] = field(default_factory=list)


class TooSlow(Exception):
    """A file took longer than `LONGEST_S`."""


def _ring(*_: object) -> None:
    raise TooSlow


def spoiled(number: int, seed: int, known: list[Seed]) -> tuple[Seed, bytes]:
    """File ``number`` of a run: a seed and its content, spoiled."""
    rng = random.Random(f"{seed}/{number}")
    good = known[number % len(known)]
    return good, mutate(rng, good.content, good.head)


def one(db: Database, number: int, seed: int, known: list[Seed], tally: Tally, keep: Path | None = None) -> None:
    """Make, judge and count one file."""
    good, content = spoiled(number, seed, known)
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        path = Path(folder) / good.file
        path.write_bytes(content)
        began = time.perf_counter()
        signal.alarm(LONGEST_S)
        try:
            outcome = judge(db, path, good.dialect)
        except BaseException as error:  # noqa: BLE001  # whatever it is, it is what this script looks for
            if isinstance(error, KeyboardInterrupt):
                raise
            text = "".join(traceback.format_exception(error))
            tally.findings.append((number, f"{good.file}: {type(error).__name__}: {str(error)[:300]}", text))
            if keep:
                keep.mkdir(parents=True, exist_ok=True)
                (keep / f"{number}_{good.file}").write_bytes(content)
        else:
            tally.rows.update(outcome.rows)
            tally.rules.update(outcome.rules)
            tally.set_aside.update(outcome.set_aside)
            refused = sum(outcome.rows.values()) - outcome.rows["readings"]
            tally.whole += not outcome.set_aside and not refused
            tally.in_part += not outcome.set_aside and bool(refused)
        finally:
            signal.alarm(0)
        took = time.perf_counter() - began
    tally.files += 1
    tally.megabytes += len(content) / 1e6
    if took > tally.slowest_s:
        tally.slowest_s, tally.slowest = took, number


def inbox(numbers: range, seed: int, known: list[Seed], tally: Tally) -> None:
    """The files of ``numbers`` together in the inbox of one fleet, taken twice."""
    with tempfile.TemporaryDirectory(prefix="fuzz-") as folder:
        fleet = Path(folder)
        sources = {good.file.split("_")[0]: (good.glob, good.dialect.name) for good in known}
        pumps = "".join(f"{pump},{zone.split('/')[1]}\n" for pump, zone in ZONES.items())
        sites = "".join(f"{zone.split('/')[1]},Made-up,{zone},80\n" for zone in sorted(set(ZONES.values())))
        files = {f"dialects/{name}.toml": text for name, text in OWN.items()}
        files |= {
            "pumps.csv": f"pump_id,site_id\n{pumps}",
            "sites.csv": f"site_id,site_name,zone,pool_volume_m3\n{sites}",
        }
        write_fleet(fleet, files, sources)
        for number in numbers:
            good, content = spoiled(number, seed, known)
            (fleet / "inbox" / f"{number}_{good.file}").write_bytes(content)
        signal.alarm(LONGEST_S * 3)
        try:
            taken_twice(fleet)
        except BaseException as error:  # noqa: BLE001  # as above
            if isinstance(error, KeyboardInterrupt):
                raise
            text = "".join(traceback.format_exception(error))
            tally.findings.append((numbers[0], f"inbox of {numbers}: {type(error).__name__}: {str(error)[:300]}", text))
        finally:
            signal.alarm(0)


def run(numbers: range, seed: int, keep: Path | None = None, told: bool = False) -> Tally:
    """Judge the files of ``numbers``; ``told`` prints how far it is."""
    signal.signal(signal.SIGALRM, _ring)
    tally, known = Tally(), seeds()
    with Database(threads=1) as db:
        for number in numbers:
            one(db, number, seed, known, tally, keep)
            if (number + 1) % BATCH == 0:
                inbox(range(number + 1 - BATCH, number + 1), seed, known, tally)
            if told and tally.files % 500 == 0:
                print(f"{tally.files} files, {len(tally.findings)} findings", flush=True)
    return tally


def report(tally: Tally, took_s: float) -> None:
    """Print what was found, and the rates."""
    print(
        f"{tally.files} spoiled files, {tally.megabytes:.1f} MB, in {took_s:.0f} s: {tally.files / took_s:.1f} files/s"
    )
    aside = sum(tally.set_aside.values())
    print(f"read whole {tally.whole}, in part {tally.in_part}, exports set aside {aside}")
    for title, counts in (("set aside", tally.set_aside), ("rows", tally.rows), ("rules", tally.rules)):
        print(f"  {title}: " + ", ".join(f"{name} {count}" for name, count in sorted(counts.items())))
    print(f"slowest: number {tally.slowest}, {tally.slowest_s:.2f} s")
    kinds = Counter(text.split(": ", 1)[1][:60] for _, text, _ in tally.findings)
    print(f"findings: {len(tally.findings)}")
    for kind, count in kinds.most_common():
        number, text, trace = next(item for item in tally.findings if item[1].split(": ", 1)[1][:60] == kind)
        print(f"\n{count} times, first number {number}: {text}\n{trace[-2500:]}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--count", type=int, default=10_000)
    parser.add_argument("--first", type=int, default=0, help="number of the first file, to share a run out")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", type=int, help="judge this one file")
    parser.add_argument("--keep", type=Path, help="folder for the files of findings")
    chosen = parser.parse_args()
    numbers = (
        range(chosen.first, chosen.first + chosen.count) if chosen.only is None else range(chosen.only, chosen.only + 1)
    )
    began = time.perf_counter()
    tally = run(numbers, chosen.seed, chosen.keep, told=True)
    report(tally, time.perf_counter() - began)
    sys.exit(1 if tally.findings else 0)


if __name__ == "__main__":
    main()
