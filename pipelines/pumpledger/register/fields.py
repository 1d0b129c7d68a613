"""Every field of the register's CSV files: unit, meaning, whether it is needed, what it may hold. The one place for it.

Belongs here: the declaration. Reading and checking stands in `load.py`; the README's table of fields is printed from
here. A quantity with two suffixes may be given in either; inside it is held in the first.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["text", "id", "number", "count", "months", "day", "clock", "yes_no", "choice", "zone"]


@dataclass(frozen=True, slots=True)
class Field:
    """One column. ``unit`` is the unit held inside; ``other_units`` may stand in the file instead, by column suffix."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""
    other_units: tuple[str, ...] = ()
    required: bool = False
    least: float | None = None
    most: float | None = None
    choices: tuple[str, ...] = ()
    default: object = None

    @property
    def column(self) -> str:
        """Column name inside: with the unit as suffix."""
        return f"{self.name}_{self.unit}" if self.unit else self.name

    @property
    def columns(self) -> dict[str, str]:
        """Column names the file may use, each with its unit."""
        units = (self.unit, *self.other_units)
        return {f"{self.name}_{unit}" if unit else self.name: unit for unit in units}


def _flow(name: str, meaning: str, required: bool = False) -> Field:
    return Field(name, "number", meaning, "m3h", ("gpm",), required, least=0.05, most=400)


def _head(name: str, meaning: str, least: float, required: bool = False) -> Field:
    return Field(name, "number", meaning, "m", ("ft",), required, least=least, most=60)


def _speed(name: str, meaning: str, required: bool = False) -> Field:
    return Field(name, "number", meaning, "rpm", (), required, least=100, most=3600)


SITES = (
    Field("site_id", "id", "the site's own short code", required=True),
    Field("site_name", "text", "name for people", required=True),
    Field("route", "text", "service route", default=""),
    Field("stop", "count", "order of the stop within the route", least=1, most=9999),
    Field("zone", "zone", "IANA time zone of the pool; the fleet's where empty"),
    Field("pool_volume", "number", "water in pool and pipes", "m3", ("gal",), True, least=0.5, most=20000),
    Field(
        "pool_class",
        "choice",
        "who bathes: a public pool never gets advice to filter less",
        choices=("residential", "public"),
        default="residential",
    ),
    Field(
        "required_turnovers",
        "number",
        "pool volumes to filter in a local day; empty: turnover is shown and not judged",
        least=0.05,
        most=48,
    ),
    Field(
        "required_turnovers_by_month",
        "months",
        "the same for each month, January first, in place of required_turnovers; a week goes by the month of its last day",
        least=0.05,
        most=48,
    ),
    Field(
        "promised_kwh_year",
        "number",
        "saving that was promised, at equal service [kWh a year]; empty: the savings are held against none",
        least=1,
        most=500000,
    ),
    Field("tariff", "text", "name of a file in tariffs/, without .toml or .json; empty: no money is computed"),
    Field(
        "tariff_block",
        "count",
        "block of the month's kWh that the household's last kWh falls in, by its bill, 1 the first; empty: a tariff "
        "with blocks gives no money",
        least=1,
        most=20,
    ),
    Field("weather", "text", "name of a file in weather/, without .csv"),
    Field("freeze_risk", "yes_no", "pipes that can freeze hold water in winter", default=False),
    Field("season", "choice", "closed sites are expected to be silent", choices=("open", "closed"), default="open"),
    _flow("filter_limit", "highest flow the filter is rated for; empty: unknown, and no advice to raise a speed"),
    _flow(
        "suction_limit",
        "highest flow the suction fittings are rated for; empty: unknown, and no advice to raise a speed",
    ),
    Field(
        "jurisdiction",
        "choice",
        "place whose published rules a proposed plan keeps to as well; empty: no rule of a place is looked at",
        choices=("California", "Montana", "Pima County", "Utah", "Wisconsin"),
    ),
    Field(
        "runs_all_day",
        "yes_no",
        "the water is filtered without a pause, as rules ask of many public pools; empty: not known, and a public pool "
        "whose plan in force has no pause keeps none",
    ),
    Field(
        "skimming_hours_per_day",
        "number",
        "hours a day at skimming_speed or faster that keep the surface clean; empty: none are asked",
        least=0.25,
        most=24,
    ),
    _speed("skimming_speed", "speed from which the skimmers draw well here"),
    Field("solar_start", "clock", "wall clock HH:MM from which solar panels are to have water; empty: no such hours"),
    Field("solar_stop", "clock", "wall clock HH:MM at which they no longer are"),
    _speed("solar_speed", "lowest speed that brings water through the panels"),
    Field("quiet_start", "clock", "wall clock HH:MM from which it is to be quiet; empty: no such hours"),
    Field("quiet_stop", "clock", "wall clock HH:MM at which it no longer is"),
    _speed("quiet_speed", "highest speed in these hours; empty: off"),
    Field(
        "longest_pause_hours",
        "number",
        "hours the water may stand at most; empty: any pause will do",
        least=0.25,
        most=24,
    ),
)

PUMPS = (
    Field("pump_id", "id", "the pump's code, as it stands in exports", required=True),
    Field("site_id", "id", "site it filters", required=True),
    Field(
        "curve",
        "text",
        "name of a curve in pump_curves.csv; empty: no turnover without a flow meter or flows commissioned at two speeds",
    ),
    Field(
        "full_speed",
        "number",
        "speed that the curve and the single-speed baseline belong to",
        "rpm",
        (),
        least=600,
        most=3600,
        default=3450.0,
    ),
    _head("static_head", "height the water is lifted, such as panels on a roof or a raised spa; empty: none", 0),
    _flow("design_flow", "one known point of the system curve: flow, where no visit measured one"),
    _head("design_head", "total head at design_flow, static head included", 0.1),
    Field(
        "pipe_size",
        "choice",
        "nominal plumbing size: where nothing was read, the trade's system curve for it, an assumption; empty: none",
        choices=("1.5 in", "2 in", "2.5 in"),
    ),
    Field("nameplate_power", "number", "wire power at full_speed by the nameplate", "w", ("kw",), least=20, most=6000),
    _speed("nameplate_low_speed", "a second, lower speed of the nameplate"),
    Field("nameplate_low_power", "number", "wire power there", "w", ("kw",), least=5, most=6000),
    Field(
        "wire_to_water",
        "number",
        "stated efficiency, hydraulic power / wire power near full speed, as a share; used where no power is known",
        least=0.05,
        most=0.85,
    ),
    _speed("priming_speed", "speed keyed in for priming; empty: no priming"),
    Field("priming", "number", "length of priming at each start", "min", (), least=0, most=10),
    Field(
        "freeze_setpoint",
        "number",
        "air temperature at which freeze protection starts the pump; empty: not set up",
        "c",
        ("f",),
        least=-10,
        most=15,
    ),
    _speed("freeze_speed", "speed keyed in for freeze protection"),
    Field(
        "aux_load",
        "choice",
        "auxiliary load that needs flow",
        choices=("none", "heater", "chlorinator", "booster"),
        default="none",
    ),
    _speed("aux_min_speed", "lowest speed at which the auxiliary load may be energised"),
    Field(
        "aux_hours_per_day",
        "number",
        "hours a day that a chlorinator needs at or above aux_min_speed, by its size and the pool; empty: not judged",
        least=0.1,
        most=24,
    ),
    Field(
        "aux_start", "clock", "wall clock HH:MM from which the auxiliary load is to run; empty: its hours lie anywhere"
    ),
    Field("aux_stop", "clock", "wall clock HH:MM at which it no longer is"),
    Field("controller_periods", "count", "periods a day that the controller holds", least=1, most=3, default=3),
    Field("over_midnight", "yes_no", "one period may run across midnight in this controller", default=True),
    Field("baseline_power", "number", "wire power of the former single-speed pump", "w", ("kw",), least=50, most=6000),
    Field("baseline_hours_per_day", "number", "hours a day it ran", least=0.1, most=24),
    _flow("baseline_flow", "its flow; empty: full speed on this pump's own curve and system"),
    Field(
        "baseline_evidence",
        "choice",
        "where the baseline comes from",
        choices=("measured", "nameplate", "owner record", "stipulated"),
    ),
    Field(
        "baseline_source", "text", "the record behind it: who read it and when, or the programme's document and page"
    ),
    Field(
        "baseline_start",
        "clock",
        "wall clock HH:MM at which the single-speed pump began to run; empty: no saving in the tariff's peak is given",
    ),
)

PLANS = (
    Field("pump_id", "id", "pump", required=True),
    Field(
        "valid_from",
        "day",
        "local day from which this plan is keyed in, YYYY-MM-DD; all rows of one day are one plan",
        required=True,
    ),
    Field("period", "count", "1, 2 or 3", required=True, least=1, most=3),
    Field("speed", "number", "speed", "rpm", (), True, least=600, most=3450),
    Field("start", "clock", "wall clock HH:MM", required=True),
    Field(
        "stop", "clock", "wall clock HH:MM; 24:00 is midnight; earlier than start runs across midnight", required=True
    ),
)

PUMP_CURVES = (
    Field("curve", "text", "name of the curve", required=True),
    Field("speed", "number", "speed it was drawn at", "rpm", (), True, least=600, most=3600),
    Field(
        "flow",
        "number",
        "flow; head falls as flow rises, at least three points, the first at no flow",
        "m3h",
        ("gpm",),
        True,
        least=0,
        most=400,
    ),
    Field("head", "number", "total head", "m", ("ft",), True, least=0, most=80),
)

VISITS = (
    Field("site_id", "id", "site", required=True),
    Field("pump_id", "id", "pump that was read or worked on"),
    Field("day_local", "day", "local day, YYYY-MM-DD", required=True),
    Field(
        "work",
        "choice",
        "what was done; an agreed exception is work too",
        required=True,
        choices=(
            "commissioning",
            "check",
            "cleaning",
            "keying",
            "backwash",
            "vacuum",
            "agreed override",
            "repair",
            "closing",
            "opening",
        ),
    ),
    _speed("speed", "speed at which flow or power was read"),
    _flow("flow", "flow read there"),
    Field("power", "number", "wire power read there", "w", ("kw",), least=1, most=6000),
    Field(
        "return_pressure",
        "number",
        "gauge after the pump, on the filter inlet, read at that speed",
        "kpa",
        ("psi", "bar"),
        least=0,
        most=500,
    ),
    Field(
        "suction_vacuum",
        "number",
        "vacuum gauge before the pump, read at that speed",
        "kpa",
        ("inhg",),
        least=0,
        most=95,
    ),
    Field("note", "text", "free text"),
)

WEATHER = (
    Field("time_utc", "text", "ISO 8601 with Z", required=True),
    Field("air_temperature", "number", "air temperature", "c", ("f",), True, least=-50, most=60),
)

PAPERS = (
    Field("pump_id", "id", "pump that a claim is made for", required=True),
    Field("make", "text", "maker, as on the plate"),
    Field("model", "text", "model, as on the plate"),
    Field("serial", "text", "serial number, as on the plate"),
    Field("invoice", "text", "number or file of the invoice"),
    Field("installed_on", "day", "local day of installation, YYYY-MM-DD"),
    Field("warranty_years", "number", "warranty [years]", least=0, most=30),
    Field("label_rating", "number", "rating on the energy label, by the programme's scheme", least=0, most=20),
    Field("site_address", "text", "where the pump stands; one row of a site is enough; printed on the cover alone"),
    Field("account_address", "text", "address of the utility account; one row of a site is enough; likewise"),
    Field("baseline_record", "text", "photo, bill or log that shows the former pump's power and hours"),
    Field("meter", "text", "what measures the energy, and where"),
    Field("meter_class", "text", "its stated accuracy or class"),
    Field("meter_calibrated_on", "day", "day of its last calibration, YYYY-MM-DD"),
    Field(
        "baseline_days",
        "count",
        "days for which the former pump itself was metered; empty: it was not",
        least=1,
        most=3660,
    ),
    Field(
        "baseline_cv",
        "number",
        "scatter of those days: CV(RMSE) of the daily kWh, as a share",
        least=0,
        most=5,
    ),
    Field("baseline_autocorrelation", "number", "of their residuals from one day to the next", least=-0.99, most=0.99),
)
"""What a claim asks for and no review needs, so that a fault here costs a claim and no review."""

FILES: dict[str, tuple[Field, ...]] = {
    "sites.csv": SITES,
    "pumps.csv": PUMPS,
    "plans.csv": PLANS,
    "pump_curves.csv": PUMP_CURVES,
    "visits.csv": VISITS,
    "weather/*.csv": WEATHER,
    "claim_papers.csv": PAPERS,
}


def inside_columns(fields: tuple[Field, ...]) -> dict[str, str]:
    """Columns of the table held inside, ``name -> kind``; clock times become minutes since midnight (``start_min``)."""
    return {f"{field.name}_min" if field.kind == "clock" else field.column: field.kind for field in fields}
