"""From files to a proposal: the steps in order.

Belongs here: the order. Each step is the file of its name; printing is `render.py`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

from pumpledger.intake.bounded import plain_size
from pumpledger.proposal import date_order, marks
from pumpledger.proposal.claim import Claim, Proposal
from pumpledger.proposal.file_names import file_name_claims
from pumpledger.proposal.identity import PumpColumn, find_pump_column
from pumpledger.proposal.judgement import weaker
from pumpledger.proposal.known_codes import KnownCodes
from pumpledger.proposal.label import gap_claim, label_claim
from pumpledger.proposal.label_hints import label_hints
from pumpledger.proposal.other_carriers import espi_proposal, is_espi, is_parquet, parquet_table
from pumpledger.proposal.quantities import Quantities, Values, judge_columns, judge_wide
from pumpledger.proposal.sample import FILES_MOST, TOTAL_BYTES, Sample, take
from pumpledger.proposal.settle import as_sure_as_the_header, declarable, marks_of, measured_cells, spelled_out
from pumpledger.proposal.shape import shape_of
from pumpledger.proposal.stamps import NO_OFFSET, TimeFormat
from pumpledger.proposal.steps import Steps, count_steps
from pumpledger.proposal.table import Table, pooled, series_of
from pumpledger.proposal.text import agreed_encoding, read_lines
from pumpledger.proposal.time_columns import TimeColumns, find_time
from pumpledger.proposal.wide import WideColumns, find_wide
from pumpledger.proposal.zone import zone_claim


@dataclass(frozen=True, slots=True)
class _Time:
    """The time as far as it is told: instants by row (as written, or UTC), steps, and the claims on ``[time]``."""

    times: list[datetime | None]
    form: TimeFormat | None
    steps: Steps | None
    claims: list[Claim]


def propose(paths: list[Path], known: KnownCodes | None = None, total_bytes: int = TOTAL_BYTES) -> Proposal:
    """A dialect for the exports in ``paths``, which are taken to be of one source; ``known`` are a register's codes.

    Raises:
        Unreadable: a file cannot be opened or unpacked.
        NoProposal: a file is no table, or the files are not of one shape.
    """
    known = known or KnownCodes()
    samples = take(paths, total_bytes)
    if all(is_espi(sample) for sample in samples):
        return espi_proposal(samples, known)
    if all(is_parquet(sample) for sample in samples):
        table, carrier, file_claims = parquet_table(samples), "parquet", []
    else:
        table, file_claims = _text_table(samples)
        carrier = "text"
    claims, notes = _claims(table, [sample.inner for sample in samples], known, file_claims)
    return Proposal(
        [sample.name for sample in samples],
        [sample.inner for sample in samples],
        f"the first {table.rows:,} rows" if carrier == "parquet" else _extent_read(samples, table),
        _about(claims),
        carrier,
        claims,
        notes,
    )


def _text_table(samples: list[Sample]) -> tuple[Table, list[Claim]]:
    shapes, ends, encodings = {}, {}, {}
    for sample in samples:
        lines, encodings[sample.name] = read_lines(sample)
        shapes[sample.name] = shape_of(lines, sample.name)
        ends[sample.name] = lines.ends
    table = pooled(shapes, ends)
    merged: dict[str, Claim] = {}
    for shape in shapes.values():
        for claim in shape.claims:
            held = merged.get(claim.key)
            merged[claim.key] = claim if held is None else _weakest(held, claim)
    return table, [agreed_encoding(encodings), *merged.values()]


def _weakest(one: Claim, other: Claim) -> Claim:
    """Of two files' claims on the same line, the less sure; of two footers, what both begin with."""
    if one.key == "file.footer" and one.value != other.value:
        return one
    return other if weaker(one.sureness, other.sureness) != one.sureness else one


def _claims(
    table: Table, inner: list[str], known: KnownCodes, file_claims: list[Claim]
) -> tuple[list[Claim], list[str]]:
    found = find_time(table)
    texts = found.texts if found else [""] * table.rows
    positions = (*found.positions, *([found.partner] if found.partner is not None else [])) if found else ()
    pump = find_pump_column(table, positions, texts, known)
    wide = None if pump else find_wide(table, positions, known)
    keys = table.columns[pump.at] if pump else [""] * table.rows
    series = series_of(table, keys)
    taken = [*positions, *([pump.at] if pump else [])]
    text = bool(file_claims)
    decided, mark_claims = marks.decide(measured_cells(table, taken))
    time = _time(table, found, series, known)
    interval = time.steps.interval_s if time.steps else None
    certain = not text or not any(claim.asked for claim in mark_claims)
    values = Values(table, decided, certain, time.times, series, interval)
    quantities = judge_wide(values, wide) if wide else judge_columns(values, taken)
    if text:
        file_claims = [*file_claims, *declarable(marks_of(table, quantities.columns, mark_claims), file_claims)]
    label = _label(found, time, quantities, values, wide is not None)
    gap = gap_claim(time.steps, label) if time.steps else _gap_unknown()
    claims = [
        *_in_order(file_claims),
        *time.claims,
        label,
        *([time.steps.claim] if time.steps and label.value != "change_of_state" else []),
        gap,
        *_pump_claims(pump, wide, inner, known),
        *quantities.claims,
    ]
    return as_sure_as_the_header(spelled_out(claims, table)), quantities.notes


_FILE_ORDER = ("encoding", "delimiter", "quote", "decimal", "thousands", "names", "preamble_lines", "footer")


def _in_order(claims: list[Claim]) -> list[Claim]:
    return sorted(claims, key=lambda claim: _FILE_ORDER.index(claim.key.split(".")[1]))


def _time(table: Table, found: TimeColumns | None, series: list[list[int]], known: KnownCodes) -> _Time:
    if found is None:
        told = "no column holds dates and clock times of one form that a dialect can declare"
        keys = ("time.column", "time.format", "time.zone")
        return _Time([None] * table.rows, None, None, [Claim(key, None, "cannot tell", told) for key in keys])
    typed = found.positions[0] if found.positions[0] in table.typed_times else None
    form, claim = date_order.decide(found.texts, found.formats, series)
    if typed is not None:
        claim = Claim("time.format", "timestamp", "sure", "the column is typed as time")
    if form is None:
        zone = Claim("time.zone", None, "cannot tell", "site, utc, a fixed offset such as -07:00, or an IANA zone")
        zones = {each.zone for each in found.formats}
        if zones <= {"utc", "offset"} and len(zones) == 1:
            zone = Claim("time.zone", zones.pop(), "sure", "each stamp says it")
        return _Time([None] * table.rows, None, None, [*found.claims, claim, zone])
    read: dict[str, datetime | None] = {text: form.read(text) for text in set(found.texts)}
    times = [read[text] for text in found.texts]
    if typed is None and _twelve_hours(form, times, series):
        told = "the hours run from 1 to 12 and nothing says before or after noon; export with AM and PM, or 24 hours"
        claim = Claim("time.format", None, "cannot tell", told)
    steps = count_steps(times, series)
    names = [table.names[at] for at in found.positions]
    zone = zone_claim(
        form, names if table.headed else [], table.preamble, times, [] if claim.asked else series, steps.interval_s,
        list(known.zones),
        typed_utc=typed is not None and table.typed_times[typed],
    )  # fmt: skip
    return _Time(times, form, steps, [*found.claims, claim, zone])


def _twelve_hours(form: TimeFormat, times: list[datetime | None], series: list[list[int]]) -> bool:
    """Whether a 24-hour reading never passes 12 nor reaches 0, and leaps from 12 to 1 twice a day."""
    hours = {time.hour for time in times if time is not None}
    if "%H" not in form.text or form.zone != NO_OFFSET or not hours <= set(range(1, 13)):
        return False
    read = [[time for row in rows if (time := times[row]) is not None] for rows in series]
    steps = [after - before for known in read for before, after in pairwise(known)]
    return any(timedelta(hours=10) <= abs(step) < timedelta(hours=12) for step in steps)


def _label(found: TimeColumns | None, time: _Time, quantities: Quantities, values: Values, wide: bool) -> Claim:
    if found is None or time.form is None or time.steps is None:
        told = "instant, interval_beginning, interval_ending or change_of_state: told when the time can be read"
        return Claim("time.label", None, "cannot tell", told)
    return label_claim(time.steps, label_hints(found, time.form, time.steps, quantities, values, wide))


def _gap_unknown() -> Claim:
    return Claim("time.gap_limit_s", None, "cannot tell", "seconds of silence after which time is unknown")


def _pump_claims(pump: PumpColumn | None, wide: WideColumns | None, inner: list[str], known: KnownCodes) -> list[Claim]:
    if pump:
        return pump.claims
    return wide.claims if wide else file_name_claims(inner, known)


def _extent_read(samples: list[Sample], table: Table) -> str:
    whole = all(sample.whole for sample in samples)
    read = sum(len(piece.data) for sample in samples for piece in sample.stretches)
    files = f"the first {FILES_MOST} files, " if len(samples) == FILES_MOST else ""
    return f"{files}{table.rows:,} rows, " + (
        "every byte" if whole else f"a sample of {plain_size(read)} from head, middle and tail"
    )


def _about(claims: list[Claim]) -> str:
    """One sentence for ``about``."""
    value = {claim.key: claim.value for claim in claims if not claim.asked}
    quantities = [key.split(".")[1].replace("_", " ") for key in value if key.startswith("quantity.")]
    every = f" every {value['time.interval_s']} s" if "time.interval_s" in value else ""
    if value.get("time.label") == "change_of_state":
        every = " at each change of state"
    what = " and ".join([", ".join(quantities[:-1]), quantities[-1]] if len(quantities) > 1 else quantities) or "Values"
    return f"{what.capitalize()}{every}; proposed from sample files."
