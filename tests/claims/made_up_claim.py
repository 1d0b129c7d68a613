"""An invented claim, made of plain arithmetic on invented numbers, for the tests of its documents."""

from __future__ import annotations

from datetime import date, datetime, timedelta

import polars as pl

from pumpledger.claims import data
from pumpledger.claims.data import ClaimData, Interval, Totals
from pumpledger.engine.tables import SPANS

FIRST, LAST = date(2026, 10, 19), date(2026, 11, 22)
STRUCK = {date(2026, 10, 24): "stood still", date(2026, 11, 11): "filtered too little"}
SILENT = {date(2026, 11, 3), date(2026, 11, 4)}
MADE_UP_NAME = "14 Invented Crescent"


def frame(table: data.Table, rows: list[dict]) -> pl.DataFrame:
    full = [{**dict.fromkeys(table.columns), **row} for row in rows]
    return table.conform(pl.DataFrame(full, schema=table.schema))


def days() -> pl.DataFrame:
    rows = []
    day = FIRST
    while day <= LAST:
        at = (day - FIRST).days
        length = 1500.0 if day == date(2026, 11, 1) else 1440.0
        row = {"day_local": day, "week": f"2026-W{day.isocalendar().week}", "day_min": length, "service": "shown"}
        if day in SILENT:
            rows.append({**row, "state": "not reviewed", "reason": "no reading"})
        else:
            used, old, equal = 4.1 + 0.0137 * at, 10.9, 8.2 + 0.021 * at
            reason = STRUCK.get(day, "")
            rows.append(
                {
                    **row,
                    "state": "left out" if reason else "counted",
                    "reason": reason,
                    "observed_min": length - 11,
                    "coverage": (length - 11) / length,
                    "run_min": 800.0,
                    "measured_kwh": used,
                    "energy_kwh_lo": used * 0.98,
                    "energy_kwh_mid": used,
                    "energy_kwh_hi": used * 1.02,
                    "energy_source": "metered power",
                    "computed_volume_m3": 80.0,
                    "volume_m3_lo": 74.0,
                    "volume_m3_hi": 86.0,
                    "volume_source": "curve",
                    "stipulated_baseline_kwh": old,
                    "baseline_kwh": old,
                    "baseline_equal_kwh": equal,
                    "raw_kwh_lo": old - used - 1,
                    "raw_kwh_mid": old - used,
                    "raw_kwh_hi": old - used + 1,
                    "equal_kwh_lo": equal - used - 1.5,
                    "equal_kwh_mid": equal - used,
                    "equal_kwh_hi": equal - used + 1.5,
                    "raw_money_lo": (old - used - 1) * 0.31,
                    "raw_money_mid": (old - used) * 0.31,
                    "raw_money_hi": (old - used + 1) * 0.31,
                    "equal_money_lo": (equal - used - 1.5) * 0.31,
                    "equal_money_mid": (equal - used) * 0.31,
                    "equal_money_hi": (equal - used + 1.5) * 0.31,
                }
            )
        day += timedelta(days=1)
    return frame(data.CLAIM_DAYS, rows)


def interval(counted: pl.DataFrame, name: str) -> Interval:
    return Interval(*(sum(counted[f"{name}_{end}"].to_list()) for end in ("lo", "mid", "hi")))


def made_up_claim(**changed: object) -> ClaimData:
    """The claim; ``changed`` replaces fields. ``text`` stands in every field that holds text of a register."""
    text = str(changed.pop("text", ""))
    all_days = days()
    counted = all_days.filter(pl.col("state") == "counted")
    totals = Totals(
        days=all_days.height,
        counted_days=counted.height,
        share=counted.height / all_days.height,
        sufficient=False,
        sufficiency="Fewer than the programme asks for." + text,
        measured_kwh=sum(counted["measured_kwh"].to_list()),
        computed_kwh=0.0,
        energy_kwh=sum(counted["energy_kwh_mid"].to_list()),
        baseline_kwh=sum(counted["baseline_kwh"].to_list()),
        raw=interval(counted, "raw_kwh"),
        equal=interval(counted, "equal_kwh"),
        equal_days=counted.height,
        raw_money=interval(counted, "raw_money"),
        equal_money=interval(counted, "equal_money"),
        money_days=counted.height,
        measured_peak_kw=0.21,
        baseline_peak_kw=1.3,
        peak_days=counted.height,
        uncertainty_90=0.159,
        uncertainty_68=0.097,
        equal_uncertainty_90=0.33,
        equal_uncertainty_68=0.2,
        largest_term="baseline" + text,
        uncertainty_method="Half-widths of the accounts, added in quadrature." + text,
    )
    months = [
        {
            "month": month,
            "days": part.height,
            "counted_days": part.filter(pl.col("state") == "counted").height,
            "coverage": 0.97,
            **{
                name: sum(part.filter(pl.col("state") == "counted")[column].to_list())
                for name, column in (
                    ("energy_kwh", "energy_kwh_mid"),
                    ("baseline_kwh", "baseline_kwh"),
                    ("raw_kwh", "raw_kwh_mid"),
                    ("equal_kwh", "equal_kwh_mid"),
                    ("raw_money", "raw_money_mid"),
                    ("equal_money", "equal_money_mid"),
                )
            },
            "equal_days": part.filter(pl.col("state") == "counted").height,
        }
        for (month,), part in all_days.with_columns(month=pl.col("day_local").dt.strftime("%Y-%m")).group_by(
            "month", maintain_order=True
        )
    ]
    fields: dict[str, object] = {
        "claim_id": "none-S-1-20261019-20261122",
        "programme": None,
        "programme_results": (),
        "fleet_name": "Made-up fleet" + text,
        "made_up": True,
        "site": {"site_id": "S-1", "pool_volume_m3": 71.1, "route": "R1" + text, "freeze_risk": True},
        "private": {"site_name": MADE_UP_NAME + text, "account_address": "Invented Town" + text},
        "pumps": pl.DataFrame({"pump_id": ["P-1"], "serial": ["made-up-0001" + text], "full_speed_rpm": [3450.0]}),
        "first_day": FIRST,
        "last_day": LAST,
        "zone": "America/Los_Angeles",
        "units": "metric",
        "currency": "USD",
        "meter_accuracy": 0.02,
        "option": "A",
        "option_reason": "The former pump's hours are stipulated." + text,
        "is_ready": False,
        "ready": frame(
            data.READY,
            [
                {"place": 1, "requirement": "serial number", "state": "met", "sentence": "It is there." + text, "fix": ""},
                {"place": 2, "requirement": "valid days" + text, "state": "missing", "sentence": "31 of 35 days count.",
                 "fix": "inbox/: the exports of 3 and 4 November" + text},
                {"place": 3, "requirement": "energy balance", "state": "doubtful", "sentence": "No counter.", "fix": "inbox/"},
            ],
        ),
        "totals": totals,
        "days": all_days,
        "months": frame(data.CLAIM_MONTHS, months),
        "exclusions": frame(
            data.CLAIM_EXCLUSIONS,
            [
                {"day_local": day, "place": 1, "kind": kind, "reason": f"The pump {kind}." + text, "minutes": 420.0,
                 "excluded_min": 1440.0}
                for day, kind in STRUCK.items()
            ],
        ),
        "power_by_speed": frame(
            data.POWER_BY_SPEED,
            [{"pump_id": "P-1", "speed_rpm": 1500, "days": 31, "run_min": 9000.0, "power_w_median": 240.4,
              "power_w_lo": 238.0, "power_w_hi": 243.1}],
        ),
        "hours_by_speed_month": frame(
            data.HOURS_BY_SPEED_MONTH,
            [{"pump_id": "P-1", "month": "2026-11", "speed_rpm": speed, "hours": 100.5} for speed in (0, 1500, None)],
        ),
        "balance": frame(
            data.CLAIM_BALANCE,
            [{"day_local": FIRST, "pump_id": "P-1", "power_kwh": 4.1, "counter_kwh": 4.11, "difference_kwh": -0.01,
              "difference_share": 0.0024, "verdict": "pass"}],
        ),
        "stipulated": frame(
            data.STIPULATED,
            [{"place": 1, "pump_id": "P-1", "name": "hours of the former pump", "value": 8.0, "unit": "h a day",
              "source": "made-up timer photo" + text, "effect_kwh": 33.8, "effect_share": 0.16}],
        ),
        "uncertainty": frame(
            data.UNCERTAINTY,
            [{"quantity": "raw saving", "place": 1, "term": "baseline", "kind": "independent", "shared": "",
              "below_kwh": 30.0, "above_kwh": 31.0, "half_width_kwh": 30.5}],
        ),
        "plans": frame(
            data.CLAIM_PLANS,
            [
                {"as": kind, "pump_id": "P-1", "valid_from": day, "period": period, "speed_rpm": speed,
                 "start_min": start, "stop_min": stop}
                for kind, day in (("found", date(2026, 5, 1)), ("left", date(2026, 11, 1)))
                for period, speed, start, stop in ((1, 2200.0, 420, 540), (2, 1500.0, 540, 1020), (3, 1000.0, 1320, 120))
            ],
        ),
        "visits": frame(
            data.CLAIM_VISITS,
            [{"day_local": date(2026, 11, 1), "pump_id": "P-1", "work": "keying", "note": "Invented Person was there" + text}],
        ),
        "exports": frame(
            data.CLAIM_EXPORTS,
            [{"sequence": 1, "file": "logger_2026-W43.csv", "sha256": "ab" * 32, "source": "logger" + text,
              "dialect": "means_15min", "data_rows": 3360, "readings": 3355, "first_utc": datetime(2026, 10, 19, 7),
              "last_utc": datetime(2026, 11, 23, 7, 45)}],
        ),
        "method": frame(
            data.METHOD,
            [
                {"place": 1, "formula": "raw saving", "expression": "sum over counted days of baseline − energy",
                 "parameter": "", "value": "", "source": "protocol" + text, "result": totals.raw.mid, "unit": "kWh",
                 "claimed": False},
                {"place": 2, "formula": "raw saving", "expression": "", "parameter": "least coverage", "value": "0.90" + text,
                 "source": "accounts", "unit": "", "claimed": False},
            ],
        ),
        "weeks": tuple(f"2026-W{n}" for n in range(43, 48)),
        "missing_weeks": ("2026-W45",),
        "labels": ("This is part of a year; it is not scaled to a year." + text,),
        "versions": {"pumpledger": "0.1.0", "fleet.toml": "cd" * 32},
        "cautions": ("Electricity: a licensed electrician works on fixed wiring." + text,),
    }  # fmt: skip
    return ClaimData(**{**fields, **changed})


def spans() -> pl.DataFrame:
    """Two invented spans."""
    start = datetime(2026, 10, 19, 7)
    rows = [
        {"site_id": "S-1", "pump_id": "P-1", "day_local": FIRST, "start_utc": start + timedelta(hours=at),
         "end_utc": start + timedelta(hours=at + 1), "duration_min": 60.0, "start_min": 60.0 * at, "kind": "run",
         "cause": "plan period", "speed_rpm": 1500.0, "power_w": 0.1 + at / 3, "energy_kwh": 0.24, "readings": 4}
        for at in range(2)
    ]  # fmt: skip
    return frame(SPANS, rows)
