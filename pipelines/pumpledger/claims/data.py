"""Everything that a claim prints: one site over one period, in SI units, each number with where it comes from.

Belongs here: names, types, units. How it is computed stands in the other modules of this room; how it looks, in
`packet.py`. Measured, stipulated and computed numbers never share a column: a value stands in the one that it is, and
the others of its row are null.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date

import polars as pl

from pumpledger.claims.programme_data import Programme
from pumpledger.engine.schema import Table

READY = Table(
    "ready",
    "one thing that a reviewer asks for",
    ("place",),
    {
        "place": ("int", "order in the list, from 1"),
        "requirement": ("text", "what is asked for, in two to five words"),
        "state": ("text", "met, missing or doubtful; 'missing' alone makes a claim not ready"),
        "sentence": ("text", "what is there or is not"),
        "fix": ("text", "file and column, or command, where it is mended; empty when met"),
    },
)

CLAIM_DAYS = Table(
    "claim_days",
    "one local day of the period, also where nothing is known of it",
    ("day_local",),
    {
        "day_local": ("day", "local day"),
        "week": ("text", "ISO week whose review it is taken from"),
        "state": ("text", "counted, left out, or not reviewed"),
        "reason": ("text", "why it is left out; empty when counted"),
        "day_min": ("real", "length of the local day: 1380, 1440 or 1500 [min]"),
        "observed_min": ("real", "smallest observed time of the site's pumps [min]; null not reviewed"),
        "coverage": ("real", "observed_min / day_min; null not reviewed"),
        "run_min": ("real", "minutes running, the pumps added [min]"),
        "measured_kwh": ("real", "measured: wire energy of the pumps that a meter tells [kWh]; null none"),
        "computed_kwh": (
            "real",
            "computed: wire energy of the pumps by their power curve, in part or in all [kWh]; null none",
        ),
        "energy_kwh_lo": ("real", "wire energy, either way, low [kWh]; null not believed"),
        "energy_kwh_mid": ("real", "wire energy, either way [kWh]; null not believed"),
        "energy_kwh_hi": ("real", "wire energy, either way, high [kWh]; null not believed"),
        "energy_source": ("text", "where the energy comes from"),
        "measured_volume_m3": ("real", "measured: filtered volume by flow meter [m3]; null no meter"),
        "computed_volume_m3": ("real", "computed: filtered volume estimated from speed [m3]; null metered or unknown"),
        "volume_m3_lo": ("real", "filtered volume, low [m3]; null no flow source"),
        "volume_m3_hi": ("real", "filtered volume, high [m3]"),
        "volume_source": ("text", "where the flow comes from"),
        "turnovers_lo": ("real", "pool volumes filtered, low"),
        "turnovers_mid": ("real", "pool volumes filtered"),
        "turnovers_hi": ("real", "pool volumes filtered, high"),
        "measured_baseline_kwh": ("real", "measured: the former pump, metered power at recorded hours [kWh]"),
        "stipulated_baseline_kwh": ("real", "stipulated: the former pump, power and hours by record [kWh]"),
        "baseline_kwh": ("real", "baseline, either way [kWh]; null none recorded"),
        "baseline_equal_kwh": ("real", "computed: the former pump moving the same volume [kWh]; null no volume"),
        "raw_kwh_lo": ("real", "computed: baseline less energy, low [kWh]; null not believed"),
        "raw_kwh_mid": ("real", "computed: baseline less energy [kWh]"),
        "raw_kwh_hi": ("real", "computed: baseline less energy, high [kWh]"),
        "equal_kwh_lo": ("real", "computed: equal-volume baseline less energy, low [kWh]"),
        "equal_kwh_mid": ("real", "computed: equal-volume baseline less energy [kWh]"),
        "equal_kwh_hi": ("real", "computed: equal-volume baseline less energy, high [kWh]"),
        "raw_money_lo": ("real", "computed: raw saving at the tariff, low [currency]; null no tariff"),
        "raw_money_mid": ("real", "computed: raw saving at the tariff [currency]"),
        "raw_money_hi": ("real", "computed: raw saving at the tariff, high [currency]"),
        "equal_money_lo": ("real", "computed: equal-volume saving at the tariff, low [currency]"),
        "equal_money_mid": ("real", "computed: equal-volume saving at the tariff [currency]"),
        "equal_money_hi": ("real", "computed: equal-volume saving at the tariff, high [currency]"),
        "peak": ("text", "in the peak window, not in it, or cannot tell"),
        "measured_peak_kw": ("real", "mean power over the peak window [kW]; null none or cannot tell"),
        "baseline_peak_kw": ("real", "mean power of the former pump over it [kW]"),
        "service": ("text", "shown, not shown, or cannot tell"),
    },
)

CLAIM_MONTHS = Table(
    "claim_months",
    "one calendar month of the period, as far as it lies in it",
    ("month",),
    {
        "month": ("text", "YYYY-MM"),
        "days": ("int", "local days of the period in it"),
        "counted_days": ("int", "of these: enter the totals"),
        "coverage": ("real", "observed minutes / minutes of these days"),
        "energy_kwh": ("real", "wire energy of the counted days [kWh]"),
        "baseline_kwh": ("real", "baseline of the counted days [kWh]"),
        "raw_kwh": ("real", "raw saving of the counted days [kWh]"),
        "equal_kwh": ("real", "equal-volume saving of the counted days [kWh]; null none known"),
        "equal_days": ("int", "counted days behind equal_kwh"),
        "raw_money": ("real", "raw saving of the counted days [currency]; null no tariff"),
        "equal_money": ("real", "equal-volume saving of the counted days [currency]; null no tariff"),
    },
)

CLAIM_EXCLUSIONS = Table(
    "claim_exclusions",
    "one reason why a day is left out",
    ("day_local", "place"),
    {
        "day_local": ("day", "local day"),
        "place": ("int", "order of the day's reasons"),
        "kind": ("text", "the reason in two or three words"),
        "reason": ("text", "the reason in a sentence"),
        "minutes": ("real", "minutes behind it [min]; null not of time"),
        "excluded_min": ("real", "minutes that leave the totals with it [min]"),
    },
)

POWER_BY_SPEED = Table(
    "power_by_speed",
    "one pump at one speed that its log held",
    ("pump_id", "speed_rpm"),
    {
        "pump_id": ("text", "pump"),
        "speed_rpm": ("int", "speed, to 25 rpm [rev/min]"),
        "days": ("int", "days with power at it"),
        "run_min": ("real", "minutes behind it [min]"),
        "power_w_median": ("real", "measured: median over the days of the day's mean power [W]"),
        "power_w_lo": ("real", "the median's 90 % interval by order statistics, low [W]; null fewer than five days"),
        "power_w_hi": ("real", "the same, high [W]"),
    },
)

HOURS_BY_SPEED_MONTH = Table(
    "hours_by_speed_month",
    "one pump at one speed in one calendar month",
    ("pump_id", "month", "speed_rpm"),
    {
        "pump_id": ("text", "pump"),
        "month": ("text", "YYYY-MM"),
        "speed_rpm": ("int", "speed, to 25 rpm [rev/min]; 0 standing; null not known"),
        "hours": ("real", "measured: hours at it [h]"),
    },
)

CLAIM_BALANCE = Table(
    "claim_balance",
    "one pump's local day: energy by logged power against the energy counter",
    ("day_local", "pump_id"),
    {
        "day_local": ("day", "local day"),
        "pump_id": ("text", "pump"),
        "power_kwh": ("real", "integrated logged power over the time that is compared [kWh]; null nothing to compare"),
        "counter_kwh": ("real", "rise of the counter over the same time [kWh]"),
        "difference_kwh": ("real", "power less counter [kWh]"),
        "difference_share": ("real", "the same as a share of the greater"),
        "verdict": ("text", "pass, warns, disqualifies, or cannot tell"),
    },
)

STIPULATED = Table(
    "stipulated",
    "one value that is taken and not measured",
    ("place",),
    {
        "place": ("int", "order, the one that moves the saving most first"),
        "pump_id": ("text", "pump; empty: of the site or the programme"),
        "name": ("text", "what it is"),
        "value": ("real", "the value"),
        "unit": ("text", "its unit"),
        "source": ("text", "the record behind it"),
        "effect_kwh": ("real", "how far 10 % of it, either way, moves the raw saving [kWh]; null it does not enter"),
        "effect_share": ("real", "the same as a share of the raw saving"),
    },
)

UNCERTAINTY = Table(
    "uncertainty",
    "one way in which the period's saving may err",
    ("quantity", "place"),
    {
        "quantity": ("text", "raw saving or equal-volume saving"),
        "place": ("int", "order, widest first"),
        "term": ("text", "meter, other energy, baseline or volume"),
        "kind": ("text", "common: the same way at every site that names it; independent: this site's own"),
        "shared": ("text", "what it shares with other sites; empty independent"),
        "below_kwh": ("real", "90 % half-width below [kWh]"),
        "above_kwh": ("real", "90 % half-width above [kWh]"),
        "half_width_kwh": ("real", "mean of both [kWh]"),
    },
)

CLAIM_PLANS = Table(
    "claim_plans",
    "one period of a plan on record",
    ("as", "pump_id", "valid_from", "period"),
    {
        "as": ("text", "found: in force on the first day; changed: keyed in within the period; left: in force on the last day"),
        "pump_id": ("text", "pump"),
        "valid_from": ("day", "keyed in on"),
        "period": ("int", "1, 2 or 3"),
        "speed_rpm": ("real", "speed [rev/min]"),
        "start_min": ("int", "wall clock [min since midnight]"),
        "stop_min": ("int", "wall clock [min since midnight]"),
    },
)  # fmt: skip

CLAIM_VISITS = Table(
    "claim_visits",
    "one visit row of the site up to the last day",
    ("day_local", "pump_id", "work", "speed_rpm"),
    {
        "day_local": ("day", "local day"),
        "pump_id": ("text", "pump; null the site"),
        "work": ("text", "what was done"),
        "speed_rpm": ("real", "speed at which flow or power was read [rev/min]"),
        "flow_m3h": ("real", "flow read [m3/h]"),
        "power_w": ("real", "wire power read [W]"),
        "note": ("text", "free text, as entered: may hold names, so it is for the cover's annex only"),
    },
)

CLAIM_EXPORTS = Table(
    "claim_exports",
    "one file that the claim's readings came in",
    ("sequence",),
    {
        "sequence": ("int", "order of arrival"),
        "file": ("text", "name as it arrived; inside an archive, archive/member"),
        "sha256": ("text", "SHA-256 of the file as it arrived"),
        "source": ("text", "source of fleet.toml"),
        "dialect": ("text", "dialect it was read by"),
        "data_rows": ("int", "rows that hold data, of all pumps in the file"),
        "readings": ("int", "of these: readings"),
        "first_utc": ("time", "first reading of the file"),
        "last_utc": ("time", "last reading of the file"),
    },
)

METHOD = Table(
    "method",
    "one formula that the claim uses, or one parameter of it",
    ("place",),
    {
        "place": ("int", "order"),
        "formula": ("text", "name of the formula"),
        "expression": ("text", "the formula in words and symbols; empty on a parameter's row"),
        "parameter": ("text", "name of the parameter; empty on the formula's row"),
        "value": ("text", "the value as stated, with its unit"),
        "source": ("text", "where formula or value comes from"),
        "result": ("real", "on the formula's row: what it gives for this claim; null it cannot be computed"),
        "unit": ("text", "unit of the result"),
        "claimed": ("bool", "the programme pays by this formula"),
    },
)


@dataclass(frozen=True, slots=True)
class Interval:
    """A value with its 90 % interval."""

    lo: float
    mid: float
    hi: float


@dataclass(frozen=True, slots=True)
class Totals:
    """Sums over the counted days. None: cannot be told.

    ``share`` is counted_days / days. ``uncertainty_90`` and ``uncertainty_68`` are half-widths of the raw saving as
    shares of it; ``equal_uncertainty_*`` those of the equal-volume saving, which covers ``equal_days``.
    """

    days: int
    counted_days: int
    share: float
    sufficient: bool
    sufficiency: str
    measured_kwh: float
    computed_kwh: float
    energy_kwh: float
    baseline_kwh: float
    raw: Interval | None
    equal: Interval | None
    equal_days: int
    raw_money: Interval | None
    equal_money: Interval | None
    money_days: int
    measured_peak_kw: float | None
    baseline_peak_kw: float | None
    peak_days: int
    uncertainty_90: float | None
    uncertainty_68: float | None
    equal_uncertainty_90: float | None
    equal_uncertainty_68: float | None
    largest_term: str
    uncertainty_method: str


@dataclass(frozen=True, slots=True)
class ProgrammeResult:
    """What the programme's own formula gives: None where a parameter or a measured value is missing, with why.

    ``capped`` says which cap was reached; empty none.
    """

    name: str
    value: float | None
    unit: str
    sentence: str
    capped: str = ""


@dataclass(frozen=True, slots=True)
class ClaimData:
    """One claim. ``site`` and ``pumps`` are rows of the register inside, in SI; ``private`` holds the fields that name
    people or places, for the cover alone (site_name, account_address, site_address and such), and ``site`` holds none.

    ``option`` is A or B of the measurement protocol, with ``option_reason``. ``labels`` are sentences that every
    document of the claim prints. ``versions`` maps program or file -> version or digest. ``cautions`` as in the review.
    """

    claim_id: str
    programme: Programme | None
    programme_results: tuple[ProgrammeResult, ...]
    fleet_name: str
    made_up: bool
    site: dict[str, object]
    private: dict[str, str]
    pumps: pl.DataFrame
    first_day: date
    last_day: date
    zone: str
    units: str
    currency: str
    meter_accuracy: float
    option: str
    option_reason: str
    is_ready: bool
    ready: pl.DataFrame
    totals: Totals
    days: pl.DataFrame
    months: pl.DataFrame
    exclusions: pl.DataFrame
    power_by_speed: pl.DataFrame
    hours_by_speed_month: pl.DataFrame
    balance: pl.DataFrame
    stipulated: pl.DataFrame
    uncertainty: pl.DataFrame
    plans: pl.DataFrame
    visits: pl.DataFrame
    exports: pl.DataFrame
    method: pl.DataFrame
    weeks: tuple[str, ...]
    missing_weeks: tuple[str, ...]
    labels: tuple[str, ...]
    versions: dict[str, str]
    cautions: tuple[str, ...] = field(default=())

    @property
    def verdict(self) -> str:
        """``READY`` or ``NOT READY``."""
        return "READY" if self.is_ready else "NOT READY"


CLAIM_TABLES = (READY, CLAIM_DAYS, CLAIM_MONTHS, CLAIM_EXCLUSIONS, POWER_BY_SPEED, HOURS_BY_SPEED_MONTH, CLAIM_BALANCE,
                STIPULATED, UNCERTAINTY, CLAIM_PLANS, CLAIM_VISITS, CLAIM_EXPORTS, METHOD)  # fmt: skip
"""The frames of `ClaimData` in the order of its fields, each with its columns, units and meanings: the data dictionary."""
