"""The fleet's page: what each of its sections prints, ready for the template.

Belongs here: choosing, ordering and wording rows. Sums are in `verdict`, drawing in `svg_*`, layout in the template.
"""

from __future__ import annotations

import polars as pl
from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.carpets import Carpets
from pumpledger.reports.cautions import DEFINITIONS
from pumpledger.reports.data import ReviewData, rows_by
from pumpledger.reports.data_section import source_doubts, verdict_section
from pumpledger.reports.followup_section import changes, followed
from pumpledger.reports.pages import site_file, template
from pumpledger.reports.replaced import replaced_section
from pumpledger.reports.send_back import SENT_BACK
from pumpledger.reports.svg_bars import interval_bar, scale_top
from pumpledger.reports.svg_carpet import FLEET
from pumpledger.reports.verdict import (
    Verdict,
    energy_sentence,
    fleet_verdict,
    saving_sentence,
    site_days,
    split_by_budget,
)

MOST_CARPETS = 120  # a page of a thousand carpets cannot be read nor mailed; the others are on their own pages
Row = dict[str, object]


def fleet_html(data: ReviewData, carpets: Carpets) -> str:
    """The whole page ``index.html``."""
    verdict = fleet_verdict(data)
    names = {site_id: name for site_id, name in data.site.select("site_id", "site_name").iter_rows()}
    actions = [action_row(row, data.currency) for row in data.actions.iter_rows(named=True)]
    chosen, rest = split_by_budget(actions, data.site.height, data.actions_per_100_sites)
    weeks = {row["site_id"]: row for row in data.site_weeks.iter_rows(named=True)}
    return template("fleet.html.j2").render(
        data=data,
        names=names,
        link=lambda site_id: f"sites/{site_file(site_id)}" if site_id in names else "",
        dates=wording.day_range(data.first_day, data.last_day),
        verdict=verdict,
        figures=_figures(verdict, data.currency),
        energy_sentence=energy_sentence(verdict),
        saving_sentence=saving_sentence(verdict, data.currency),
        chosen=chosen,
        rest=rest,
        changes=changes(data, weeks),
        doubted=[_doubt(row) for row in data.site_weeks.sort("site_id").iter_rows(named=True) if not row["believable"]],
        source_doubts=source_doubts(data),
        verdicts=verdict_section(data),
        replaced=replaced_section(data),
        exports=_exports(data),
        sent_back=sent_back(data),
        refused=data.refused_counts.sort("file", "fate", "rule", "reason").rows(named=True),
        failed=data.checks.filter(~pl.col("success"))
        .sort(["critical", "suite", "meaning"], descending=[True, False, False])
        .rows(named=True),
        conservation=_conservation(data),
        cards=_cards(data, carpets, names),
        most_carpets=MOST_CARPETS,
        turnovers=_turnovers(data, weeks, names),
        energies=_energies(data, weeks, names),
        findings=[_finding(row) for row in in_order(data.findings).iter_rows(named=True)],
        rules=_rules(data),
        followed=followed(data),
        definitions=DEFINITIONS,
    )


def in_order(findings: pl.DataFrame) -> pl.DataFrame:
    """Findings by site, its headline first."""
    return findings.sort("site_id", "rank", "rule_id", "component", nulls_last=True)


def action_row(row: Row, currency: str) -> Row:
    """An action with its numbers in words."""
    return {
        **row,
        "benefit": wording.benefit(row["benefit_kwh_week"], row["benefit_money_week"], currency),
        "sure": wording.likelihood(row["probability"]),
        "minutes": wording.number(row["work_min"]),
        "since": wording.weekday(row["first_day"]) if row["first_day"] else wording.DASH,
    }


def _figures(verdict: Verdict, currency: str) -> list[tuple[str, str, str]]:
    """Label, figure, note."""
    sites = f"of {wording.number(verdict.sites)} sites"
    rows = [
        ("Reporting", wording.number(verdict.reporting), sites),
        ("Believable", wording.number(verdict.believable), sites),
        ("Need someone", wording.number(verdict.needing_sites), sites),
    ]
    if verdict.energy:
        note = f"kWh, {wording.span(verdict.energy.lo, verdict.energy.hi)}"
        rows.append(("Energy this week", wording.kwh(verdict.energy.mid), note))
    else:
        rows.append(("Energy this week", "unknown", "no source"))
    if verdict.compared_kwh is not None and verdict.compared_best_kwh is not None:
        over = verdict.compared_kwh - verdict.compared_best_kwh
        note = f"kWh on {wording.count(verdict.compared_days, 'site-day')}"
        rows.append(("Above own best plans" if over >= 0 else "Below own best plans", wording.kwh(abs(over)), note))
    else:
        rows.append(("Above own best plans", "unknown", "no plan to compare with"))
    for label, saved, days in (
        ("Saved at equal volume", verdict.equal, verdict.equal_days),
        ("Saved, raw", verdict.raw, verdict.raw_days),
    ):
        note = (
            f"kWh, {wording.span(saved.lo, saved.hi)}; {wording.count(days, 'site-day')}"
            if saved
            else "no site-day counted"
        )
        rows.append((label, wording.kwh(saved.mid) if saved else "cannot tell", note))
    if verdict.saved_money is not None:
        note = f"{currency}, on {wording.count(verdict.money_days, 'site-day')} with a tariff"
        rows.append(("Worth", wording.number(verdict.saved_money, 2), note))
    return rows


def _doubt(row: Row) -> Row:
    return {**row, "doubt": row["doubt"] or ("no reading this week" if not row["reporting"] else "no reason given")}


def _exports(data: ReviewData) -> dict[str, object]:
    fates = ("data_rows", "readings", "duplicates", "quarantine", "rejects")
    troubled = (
        (pl.col("status") != "read")
        | (pl.col("duplicates").fill_null(0) > 0)
        | (pl.col("quarantine").fill_null(0) > 0)
        | (pl.col("rejects").fill_null(0) > 0)
    )
    return {
        "troubled": data.exports.filter(troubled).sort("sequence").rows(named=True),
        "clean": data.exports.filter(~troubled).sort("sequence").rows(named=True),
        "totals": {fate: data.exports[fate].sum() for fate in fates},
        "files": data.exports.height,
    }


def sent_back(data: ReviewData) -> int:
    """Rows of ``quarantine.csv``; of a withdrawn export nothing needs mending."""
    counting = data.exports.filter(pl.col("status") != "withdrawn")
    return int(counting.select(pl.sum_horizontal(pl.col(*SENT_BACK).sum())).item() or 0)


def _conservation(data: ReviewData) -> dict[str, object] | None:
    if "data_rows" not in data.conservation:
        return None
    fates = {name: amount for name, amount in data.conservation.items() if name != "data_rows"}
    return {
        "data_rows": data.conservation["data_rows"],
        "fates": fates,
        "holds": data.conservation["data_rows"] == sum(fates.values()),
    }


def _cards(data: ReviewData, carpets: Carpets, names: dict[str, str]) -> list[Row]:
    """One card a site, in the order of the action list, then by site code."""
    pumps = rows_by(data.pump.sort("site_id", "pump_id"), "site_id")
    rank = {row["site_id"]: row for row in data.actions.sort("rank", descending=True).iter_rows(named=True)}
    last = data.actions.height + 1
    ordered = sorted(names, key=lambda site_id: (rank[site_id]["rank"] if site_id in rank else last, site_id))
    cards = []
    for place, site_id in enumerate(ordered[:MOST_CARPETS]):
        drawn = []
        for pump in pumps.get(site_id, []):
            pump_id = pump["pump_id"]
            twin = f"w{place}-{len(drawn)}"
            label = f"Speed carpet of {names[site_id]}, pump {pump_id}, {data.week}. The text below says the same."
            svg = carpets.svg(site_id, pump_id, data.week_days, FLEET, label, twin)
            words = carpets.words(site_id, pump_id, data.week_days)
            drawn.append({"pump_id": pump_id, "svg": Markup(svg), "twin": twin, "words": words})
        action = rank.get(site_id)
        cards.append({"site_id": site_id, "pumps": drawn, "action": action})
    return cards


def turnover_word(low: float | None, high: float | None, required: float | None, doubt: str = "") -> str:
    """How an estimate stands to the requirement. An interval that holds the requirement decides nothing."""
    if low is None or high is None:
        return f"cannot tell: {doubt or 'no flow source or no believed day'}"
    if required is None:
        return "not judged: no requirement entered"
    if high < required:
        return "below"
    return "at or above" if low >= required else "cannot tell: spans the requirement"


def _turnovers(data: ReviewData, weeks: dict[str, Row], names: dict[str, str]) -> list[Row]:
    rows = [weeks[site_id] for site_id in sorted(names) if site_id in weeks]
    top = scale_top([value for row in rows for value in (row["turnovers_hi"], row["required_turnovers"])])
    sources = {
        site_id: ("metered" if set(found) == {"metered"} else "estimated from speed")
        for site_id, found in data.daily.filter(pl.col("turnovers_mid").is_not_null())
        .group_by("site_id")
        .agg(pl.col("volume_source").unique())
        .iter_rows()
    }
    shown = []
    for row in rows:
        low, middle, high, required = (
            row[name] for name in ("turnovers_lo", "turnovers_mid", "turnovers_hi", "required_turnovers")
        )
        text = wording.span(low, high, 2)
        bar = interval_bar(low, middle, high, top, f"Turnovers a day: {text}", requirement=required)
        shown.append(
            {
                "site_id": row["site_id"],
                "bar": Markup(bar),
                "text": text,
                "middle": middle,
                "required": required,
                "word": turnover_word(low, high, required, row["doubt"])
                if row["believable"]
                else f"cannot tell: {_doubt(row)['doubt']}",
                "source": sources.get(row["site_id"], "no flow source") if low is not None else "",
            }
        )
    return shown


def _energies(data: ReviewData, weeks: dict[str, Row], names: dict[str, str]) -> list[Row]:
    """Energy of a mean believed day against the baseline of a mean counted day and the best plan's day."""
    in_week = data.daily.filter(pl.col("day_local").is_between(data.first_day, data.last_day))
    believed = site_days(in_week).filter(pl.col("believed") & pl.col("energy_kwh_mid").is_not_null())
    means = {
        row["site_id"]: row
        for row in believed.group_by("site_id", maintain_order=True)
        .agg(pl.col("energy_kwh_lo", "energy_kwh_mid", "energy_kwh_hi").mean(), pl.len().alias("days"))
        .iter_rows(named=True)
    }
    rows = []
    for site_id in sorted(names):
        week, mean = weeks.get(site_id, {}), means.get(site_id, {})
        baseline, counted, best = week.get("baseline_kwh"), week.get("counted_days"), week.get("best_plan_kwh")
        rows.append(
            {
                "site_id": site_id,
                "week": week,
                "days": mean.get("days", 0),
                "low": mean.get("energy_kwh_lo"),
                "middle": mean.get("energy_kwh_mid"),
                "high": mean.get("energy_kwh_hi"),
                "baseline": baseline / counted if baseline is not None and counted else None,
                "best": best / 7 if best is not None else None,
            }
        )
    top = scale_top([row[name] for row in rows for name in ("high", "baseline", "best")])
    for row in rows:
        row["text"] = wording.span(row["low"], row["high"], 1)
        row["bar"] = Markup(
            interval_bar(
                row["low"],
                row["middle"],
                row["high"],
                top,
                f"kWh a day: {row['text']}",
                baseline=row["baseline"],
                best=row["best"],
            )
        )
        week = row["week"]
        row["saved"] = wording.span(week.get("equal_kwh_lo"), week.get("equal_kwh_hi"))
        row["raw"] = wording.span(week.get("raw_kwh_lo"), week.get("raw_kwh_hi"))
    return rows


def _finding(row: Row) -> Row:
    return {
        **row,
        "compared": compared(row),
        "since": wording.weekday(row["first_day"]) if row["first_day"] else wording.DASH,
    }


def compared(row: Row) -> str:
    """``0.62 against 1 turnovers a day``; an en dash where nothing was compared."""
    if row["measured"] is None:
        return wording.DASH
    against = f" against {_plain(row['threshold'])}" if row["threshold"] is not None else ""
    return f"{_plain(row['measured'])}{against} {row['unit'] or ''}".strip()


def _plain(value: float) -> str:
    return wording.number(value, 0 if float(value).is_integer() or abs(value) >= 1000 else 2 if abs(value) < 10 else 1)


def _rules(data: ReviewData) -> list[Row]:
    """One row a rule, its thresholds in one cell, with how often it was found and how often it could not tell."""
    tally = {
        rule_id: (found, untold)
        for rule_id, found, untold in data.findings.group_by("rule_id")
        .agg(
            (pl.col("verdict") == "found").sum().alias("found"),
            (pl.col("verdict") == "cannot tell").sum().alias("untold"),
        )
        .iter_rows()
    }
    known: dict[str, Row] = {}
    for row in data.rules.iter_rows(named=True):
        rule = known.setdefault(row["rule_id"], {**row, "parameters": []})
        if row["parameter"]:
            rule["parameters"].append(
                f"{row['parameter'].replace('_', ' ')} {_plain(row['value'])} {row['unit'] or ''}".strip()
            )
    first = (
        in_order(data.findings)
        .sort("rule_id", maintain_order=True)
        .unique("rule_id", keep="first", maintain_order=True)
    )
    for row in first.iter_rows(named=True):
        if row["rule_id"] not in known:
            limit = (
                [f"threshold {_plain(row['threshold'])} {row['unit'] or ''}".strip()]
                if row["threshold"] is not None
                else []
            )
            known[row["rule_id"]] = {**row, "parameters": limit}
    outcomes = {row["rule_id"]: row for row in data.rule_outcomes.iter_rows(named=True)}
    return [
        {
            **rule,
            "found": tally.get(rule_id, (0, 0))[0],
            "untold": tally.get(rule_id, (0, 0))[1],
            "outcome": _outcome(outcomes.get(rule_id)),
        }
        for rule_id, rule in sorted(known.items(), key=lambda item: _catalogue_place(item[0]))
    ]


def _outcome(row: Row | None) -> str:
    """How often a rule proved right, from what people found on site."""
    if row is None:
        return ""
    right = row["verified"] + row["returned"]
    return f"right {right} of {right + row['rejected']}; taken as {row['precision']:.0%}"


def _catalogue_place(rule_id: str) -> tuple[str, int, str]:
    """A2 before A10."""
    digits = rule_id[1:]
    return rule_id[:1], int(digits) if digits.isdigit() else 0, rule_id
