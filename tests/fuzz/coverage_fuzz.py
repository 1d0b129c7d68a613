"""Coverage-guided fuzzing of the readers, by atheris (libFuzzer): it keeps what reaches code not reached before.

    .venv/bin/pip install atheris
    .venv/bin/python tests/fuzz/coverage_fuzz.py --target export --seconds 600 --corpus FOLDER

Targets: `export` is a whole file through the intake, held against its bytes as in `mutate_exports.py`; `records` splits
lines; `carrier` unpacks; `espi` reads Green Button XML; `dialect` reads a dialect file. Findings end the run with a
traceback, and the input is kept as crash-*; run the target with that file as last argument to see it again. Not
collected by pytest, and atheris is no dependency: its wheels exist for some versions of Python and Linux alone (3.0.0
installs on Python 3.11).
"""

from __future__ import annotations

import argparse
import io
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]

try:
    import atheris
except ImportError:
    sys.exit("atheris is not installed: .venv/bin/pip install atheris (wheels exist for some Pythons on Linux alone)")

with atheris.instrument_imports(include=["pumpledger.intake"]):
    from pumpledger.intake import carriers, dialect_file, espi, rows
    from pumpledger.intake.stage import stage  # noqa: F401  # and with it all that an export runs through

from pumpledger.engine.database import Database  # noqa: E402
from pumpledger.intake.files import examine  # noqa: E402
from pumpledger.intake.unreadable import Unreadable  # noqa: E402
from tests.fuzz.corpus import OWN, Seed, seeds  # noqa: E402
from tests.fuzz.judge import Finding, judge  # noqa: E402
from tests.fuzz.mutations import PIECES  # noqa: E402

SEEDS = seeds()
TEXTS = [seed for seed in SEEDS if seed.dialect.carrier == "text" and not seed.file.endswith(("gz", "zst", "zip"))]
FOLDER = Path(tempfile.mkdtemp(prefix="cover-"))
MOST = 1 << 16
"""Longest input [bytes]."""


def _choice(data: bytes, among: list[Seed]) -> tuple[Seed, Path]:
    """The first byte says which seed's dialect and file name; the rest is the file."""
    seed = among[data[0] % len(among)] if data else among[0]
    path = FOLDER / seed.file
    path.write_bytes(data[1:])
    return seed, path


def export() -> Callable[[bytes], None]:
    db = Database(threads=1)

    def one(data: bytes) -> None:
        seed, path = _choice(data, SEEDS)
        judge(db, path, seed.dialect)

    return one


def records(data: bytes) -> None:
    """Every physical line is told once, in order, whatever the encoding."""
    seed, path = _choice(data, TEXTS)
    try:
        (member,) = carriers.members(path)
        told = list(rows.records(examine(path, member), seed.dialect))
    except (Unreadable, ValueError):  # ValueError: not one member, so an archive
        return
    if member.packed:
        return
    if [record.line for record in told] != list(range(1, len(told) + 1)):
        raise Finding("lines are not told in order")
    ends = 2 if seed.dialect.encoding == "utf-16" else 1
    if ends == 1 and len(told) != len(data[1:].split(b"\n")) - data[1:].endswith(b"\n") - (not data[1:]):
        raise Finding(f"{len(told)} lines told")


def carrier(data: bytes) -> None:
    path = FOLDER / "week.bin"
    path.write_bytes(data)
    try:
        for member in carriers.members(path):
            with member.open() as stream:
                while stream.read(1 << 16):
                    pass
    except Unreadable:
        return


def green_button(data: bytes) -> None:
    try:
        for reading in espi.espi_readings(io.BytesIO(data)):
            if reading.fault is None and reading.energy_wh is None and reading.power_w is None:
                raise Finding("a reading without value and without fault")
    except espi.EspiError:
        return


def dialect(data: bytes) -> None:
    problems: list = []
    text = data.decode("utf-8", "replace")
    found = dialect_file.parse_dialect(text, "own", "own.toml", problems)
    if (found is None) != bool(problems):
        raise Finding(f"a dialect {'with' if found else 'without'} problems {problems}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--target", choices=["export", "records", "carrier", "espi", "dialect"], default="export")
    parser.add_argument("--seconds", type=int, default=600)
    parser.add_argument("--corpus", type=Path, default=FOLDER / "corpus", help="kept and grown from run to run")
    parser.add_argument("inputs", nargs="*", help="run these files alone")
    chosen = parser.parse_args()
    target, start = {
        "export": (export, [bytes([n]) + seed.content for n, seed in enumerate(SEEDS)]),
        "records": (lambda: records, [bytes([n]) + seed.content for n, seed in enumerate(TEXTS)]),
        "carrier": (lambda: carrier, [seed.content for seed in SEEDS if seed.file.endswith(("gz", "zst", "zip"))]),
        "espi": (lambda: green_button, [seed.content for seed in SEEDS if seed.dialect.carrier == "espi"]),
        "dialect": (lambda: dialect, [text.encode() for text in OWN.values()]),
    }[chosen.target]
    chosen.corpus.mkdir(parents=True, exist_ok=True)
    for number, content in enumerate(start):
        (chosen.corpus / f"seed-{number:02}").write_bytes(content)
    words = FOLDER / "words"
    spelt = ("".join(f"\\x{mark:02x}" for mark in piece) for piece in PIECES)
    words.write_text("".join(f'"{word}"\n' for word in spelt), encoding="ascii")
    options = [
        f"-max_total_time={chosen.seconds}",
        f"-max_len={MOST}",
        f"-dict={words}",
        "-timeout=60",
        "-print_final_stats=1",
    ]
    atheris.Setup([sys.argv[0], *options, *(chosen.inputs or [str(chosen.corpus)])], target())
    atheris.Fuzz()


if __name__ == "__main__":
    main()
