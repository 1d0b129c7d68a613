"""The list of what a reviewer asks for, before anything else: met, missing or doubtful, and where it is mended.

Belongs here: the requirements, each a small function of what is known. A missing one makes the claim not ready; a
doubtful one is said and left to the reviewer.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta

import polars as pl

from pumpledger.claims.applied import Facts, ineligible
from pumpledger.claims.data import READY, ProgrammeResult, Totals
from pumpledger.claims.papers import FILE as PAPERS_FILE
from pumpledger.claims.papers import address_of, alike
from pumpledger.claims.past import Line
from pumpledger.claims.programme_data import Programme
from pumpledger.claims.sufficiency import thin_months
from pumpledger.claims.uncertainty import MOST_68

MET, MISSING, DOUBTFUL = "met", "missing", "doubtful"
YEAR = 365
MOST_SHORT_SHARE = 0.1
"""More days than this filtered too little, and the service was not kept: a starting value, no source."""
NOT_SUPPLIED = "programme parameters not supplied"


@dataclass(frozen=True, slots=True)
class Known:
    """What the requirements are held against."""

    programme: Programme | None
    results: tuple[ProgrammeResult, ...]
    facts: Facts
    papers: pl.DataFrame
    totals: Totals
    days: pl.DataFrame
    months: pl.DataFrame
    exclusions: pl.DataFrame
    balance: pl.DataFrame
    doubts: tuple[str, ...]
    missing_weeks: tuple[str, ...]
    stale_weeks: tuple[str, ...]
    earlier: tuple[Line, ...]
    fleet_units: str
    prepared_by: str
    reviewed_by: str
    first_day: date
    last_day: date
    season: str


Row = tuple[str, str, str, str]
"""requirement, state, sentence, fix"""


def ready_list(known: Known) -> pl.DataFrame:
    """`data.READY`, in the order in which a reviewer reads."""
    rows = [row for requirement in REQUIREMENTS for row in requirement(known)]
    return READY.conform(
        pl.DataFrame([(place, *row) for place, row in enumerate(rows, start=1)], schema=READY.schema, orient="row")
    )


def _programme(k: Known) -> Iterator[Row]:
    name = "programme parameters"
    if k.programme is None:
        yield name, MISSING, f"{NOT_SUPPLIED}: only the accounts are given", "programmes/<name>.toml and --programme"
        return
    p = k.programme
    yield name, MET, f"{p.document}, {p.edition}, {p.section}, retrieved {p.retrieved}", ""
    for result in k.results[:1]:
        state = MET if result.value is not None else MISSING
        yield (
            "programme result",
            state,
            result.sentence,
            "" if state == MET else f"{p.file}, {PAPERS_FILE} or sites.csv",
        )
        if result.capped:
            yield "cap", DOUBTFUL, f"the result is {result.capped}", p.file
    for state, sentence in ineligible(p, k.facts):
        yield "eligibility", state, sentence, f"{PAPERS_FILE}, pumps.csv or sites.csv"
    if p.eligible and not ineligible(p, k.facts):
        yield "eligibility", MET, "every condition of the programme's file holds", ""


def _papers(k: Known) -> Iterator[Row]:
    asked = dict(k.programme.documents) if k.programme else {}
    for column, wanted in {"serial": "as on the plate", "invoice": "number or file"}.items():
        asked.setdefault(column, wanted)
    one_a_site = ("site_address", "account_address")
    for column in [name for name in asked if name not in ("installed_on", *one_a_site)]:
        lacking = _lacking(k, column)
        name = column.replace("_", " ")
        if lacking:
            yield name, MISSING, f"not entered for {' and '.join(lacking)}: {asked[column]}", f"{PAPERS_FILE}, {column}"
        else:
            yield name, MET, f"entered for every pump: {asked[column]}", ""


def _lacking(k: Known, column: str) -> list[str]:
    held = dict(k.papers.select("pump_id", column).iter_rows())
    return [str(pump["pump_id"]) for pump in k.facts.pumps if held.get(str(pump["pump_id"])) in (None, "")]


def _installed(k: Known) -> Iterator[Row]:
    name, fix = "installation day", f"{PAPERS_FILE}, installed_on"
    lacking = _lacking(k, "installed_on")
    if lacking:
        yield name, MISSING, f"not entered for {' and '.join(lacking)}", fix
        return
    days = k.papers["installed_on"].drop_nulls().to_list()
    latest, earliest = max(days), min(days)
    first = k.programme.install_from if k.programme else None
    last = k.programme.install_until if k.programme else None
    if latest > k.first_day:
        yield name, MISSING, f"{latest} lies after the first day of the claim, {k.first_day}", fix + " or --from"
    elif (first and earliest < first) or (last and latest > last):
        yield name, MISSING, f"{earliest} to {latest} lies outside of the programme's {first} to {last}", fix
    else:
        yield name, MET, f"{latest}", ""


def _filed(k: Known) -> Iterator[Row]:
    """Nothing here knows what day it is: the last day for filing is said, and a period that ends after it is late."""
    if k.programme is None or k.programme.file_within_days is None:
        return
    name, within = "filed in time", k.programme.file_within_days
    days = k.papers["installed_on"].drop_nulls().to_list()
    if k.programme.file_after == "last day":
        begun = k.last_day
    elif days and not _lacking(k, "installed_on"):
        begun = min(days)
    else:
        yield (
            name,
            DOUBTFUL,
            f"within {within} days of an installation that is not entered",
            f"{PAPERS_FILE}, installed_on",
        )
        return
    until = begun + timedelta(days=within)
    if k.last_day > until:
        said = f"the programme takes it until {until}, {within} days after {begun}, and the claim ends later"
        yield name, MISSING, said, "--to"
    else:
        yield name, MET, f"file it by {until}, {within} days after {begun}", ""


def _address(k: Known) -> Iterator[Row]:
    name, fix = "address match", f"{PAPERS_FILE}, site_address and account_address"
    site, account = (address_of(k.papers, column) for column in ("site_address", "account_address"))
    if not site or not account:
        yield name, MISSING, "the address of the site or of the utility account is not entered", fix
    elif alike(site, account):
        yield name, MET, "site and utility account have one address", ""
    else:
        yield name, DOUBTFUL, "the address of the site is not that of the utility account", fix


def _baseline(k: Known) -> Iterator[Row]:
    name, fix = "baseline evidence", "pumps.csv, baseline_evidence and baseline_source"
    evidence = {str(pump["pump_id"]): pump.get("baseline_evidence") for pump in k.facts.pumps}
    taken = k.programme.baseline_evidence if k.programme else ()
    lacking = [pump for pump, kind in evidence.items() if not kind]
    refused = [f"{pump} ({kind})" for pump, kind in evidence.items() if kind and taken and kind not in taken]
    sources = [str(pump["pump_id"]) for pump in k.facts.pumps if not pump.get("baseline_source")]
    if k.programme is not None and k.programme.option == "deemed":
        yield name, MET, "the programme's tables stand for the former pump", ""
    elif lacking:
        yield name, MISSING, f"no baseline with its evidence for {' and '.join(lacking)}", fix
    elif refused:
        yield name, MISSING, f"the programme takes {', '.join(taken)}; not taken: {', '.join(refused)}", fix
    elif sources:
        yield name, MISSING, f"the record behind it is not named for {' and '.join(sources)}", fix
    elif _lacking(k, "baseline_record"):
        yield (
            name,
            DOUBTFUL,
            "named, but no photo, bill or log of the former pump is on file",
            f"{PAPERS_FILE}, baseline_record",
        )
    else:
        yield name, MET, ", ".join(sorted({str(kind) for kind in evidence.values()})), ""


def _reviews(k: Known) -> Iterator[Row]:
    name = "reviews"
    if k.missing_weeks:
        yield name, MISSING, f"no review of {', '.join(k.missing_weeks)}", "pumpledger review FLEET"
    elif k.stale_weeks:
        yield name, MISSING, f"the review of {', '.join(k.stale_weeks)} is out of date", "pumpledger review FLEET"
    else:
        yield name, MET, "every week of the period is reviewed and up to date", ""


def _days(k: Known) -> Iterator[Row]:
    state = MET if k.totals.sufficient else MISSING
    yield (
        "days that count",
        state,
        k.totals.sufficiency,
        "" if k.totals.sufficient else "exports in inbox/, or the period",
    )
    thin = [k.months["month"][place] for place in thin_months(k.months["coverage"].to_list())]
    if thin:
        said = f"{', '.join(thin)}: the month, or one beside it, is observed for 90 % or less"
        yield "months", DOUBTFUL, said, "exports in inbox/"
    else:
        yield "months", MET, "every month is observed for more than 90 %", ""


def _balance(k: Known) -> Iterator[Row]:
    name = "energy balance"
    counted = k.balance.join(k.days.filter(pl.col("state") == "counted").select("day_local"), on="day_local")
    by = dict(counted.group_by("verdict").len().iter_rows())
    compared = by.get("pass", 0) + by.get("warns", 0) + by.get("disqualifies", 0)
    if by.get("disqualifies"):
        said = f"logged power and counter disagree on {by['disqualifies']} counted days"
        yield name, MISSING, said, "the meter, or its scale in the dialect"
    elif not compared:
        yield name, DOUBTFUL, "no day has both logged power and an energy counter to compare", "an export with both"
    elif by.get("warns"):
        yield (
            name,
            DOUBTFUL,
            f"logged power and counter differ on {by['warns']} of {compared} days, within limits",
            "the meter",
        )
    else:
        yield name, MET, f"logged power and counter agree on all {compared} days that have both", ""


def _service(k: Known) -> Iterator[Row]:
    name = "service kept"
    short = k.exclusions.filter(pl.col("kind") == "filtered too little")["day_local"].n_unique()
    counted = k.days.filter(pl.col("state") == "counted")
    unshown = counted.filter(pl.col("service") != "shown").height
    fix = "sites.csv, required_turnovers; a flow reading in visits.csv; or the plan"
    if short:
        said = f"filtered less than required on {short} of {k.totals.days} days, which are left out"
        yield name, MISSING if short > MOST_SHORT_SHARE * k.totals.days else DOUBTFUL, said, fix
    elif unshown:
        yield (
            name,
            DOUBTFUL,
            f"on {unshown} counted days the low end of the estimate does not show the required service",
            fix,
        )
    else:
        yield name, MET, "the required volume is reached on every counted day, at the low end too", ""


def _double(k: Known) -> Iterator[Row]:
    if k.earlier:
        said = "; ".join(
            f"{line.claim_id} of {line.programme}, {line.first_day} to {line.last_day}" for line in k.earlier
        )
        yield (
            "claimed once",
            MISSING,
            f"days of this period were claimed before: {said}",
            "--from and --to, or claims.csv",
        )
    else:
        yield "claimed once", MET, "no day of this period was claimed before in claims.csv", ""


def _units(k: Known) -> Iterator[Row]:
    if k.doubts:
        yield "data in doubt", MISSING, "; ".join(k.doubts), "pumpledger verdict FLEET"
    else:
        yield "data in doubt", MET, "no doubt stands against the readings", ""
    if k.programme is not None and k.programme.units != k.fleet_units:
        said = f"the programme is in {k.programme.units} units, the fleet in {k.fleet_units}: values are converted"
        yield "units", DOUBTFUL, said, "fleet.toml, units"
    else:
        yield "units", MET, f"{k.fleet_units} throughout; energy in kWh, power in kW, days and clock local", ""


def _saving(k: Known) -> Iterator[Row]:
    t = k.totals
    if t.raw is None or t.raw.mid <= 0:
        yield (
            "saving",
            MISSING,
            "nothing was saved against the baseline, or it cannot be told",
            "the findings of the reviews",
        )
        return
    if t.raw.mid > t.baseline_kwh or t.energy_kwh < 0:
        yield "saving", MISSING, "more is saved than the baseline used: a measured energy below 0", "the meter's sign"
    share = t.uncertainty_68
    if share is None or share >= MOST_68:
        said = (
            f"the saving may be off by {share:.0%} of itself at 68 % confidence, {MOST_68:.0%} at most is usual"
            if share
            else "not known"
        )
        yield "uncertainty", DOUBTFUL, said, "better evidence of the baseline; " + t.largest_term
    else:
        yield "uncertainty", MET, f"\u00b1{share:.1%} of the saving at 68 % confidence, less than {MOST_68:.0%}", ""


def _people(k: Known) -> Iterator[Row]:
    if k.programme is not None and not k.programme.reviewer_not_preparer:
        return
    name, fix = "two people", "--prepared-by and --reviewed-by"
    if not k.prepared_by or not k.reviewed_by:
        yield name, MISSING, "who prepared and who reviewed the claim is not given", fix
    elif alike(k.prepared_by, k.reviewed_by):
        yield name, MISSING, "the reviewer is the preparer", fix
    else:
        yield name, MET, "preparer and reviewer are two", ""


def _season(k: Known) -> Iterator[Row]:
    if k.totals.days < YEAR:
        said = f"{k.totals.days} days are part of a year: nothing is scaled to a year"
        yield "part of a year", MET, said, ""
    if k.season == "closed":
        yield "season", DOUBTFUL, "the site is entered as closed for the season", "sites.csv, season"
    life = k.programme.measure_life_years if k.programme else None
    if life is not None and k.programme is not None:
        yield "life of the measure", MET, f"{life:g} years, {k.programme.file}", ""


REQUIREMENTS: tuple[Callable[[Known], Iterator[Row]], ...] = (
    _programme,
    _double,
    _reviews,
    _days,
    _saving,
    _baseline,
    _service,
    _balance,
    _units,
    _papers,
    _installed,
    _filed,
    _address,
    _people,
    _season,
)
