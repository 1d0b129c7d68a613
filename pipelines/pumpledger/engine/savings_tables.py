"""Tables of the savings: the day against its baseline, the same by tariff band, and what is left out of the totals.

Belongs here: names and types, as in `tables.py`, which lists these with its own in ``ALL``.
"""

from __future__ import annotations

from pumpledger.engine.schema import Table

DAY_BANDS = Table(
    "day_bands",
    "one pump's energy of a local day in one tariff band",
    ("pump_id", "day_local", "band", "price_per_kwh", "peak"),
    {
        "site_id": ("text", "site"),
        "pump_id": ("text", "pump"),
        "day_local": ("day", "local day"),
        "day_kind": ("text", "weekday, weekend or holiday, as the tariff bills the day"),
        "band": ("text", "name of the band in the tariff file"),
        "price_per_kwh": ("real", "price [currency per kWh]"),
        "peak": ("bool", "part of the tariff's peak"),
        "window_min": ("real", "length of the band in this day [min]"),
        "energy_kwh": ("real", "energy in the band, of what is known [kWh]"),
    },
)

SAVINGS = Table(
    "savings",
    "one site's local day against its single-speed baseline",
    ("site_id", "day_local"),
    {
        "site_id": ("text", "site"),
        "day_local": ("day", "local day"),
        "counted": ("bool", "enters totals"),
        "reason": ("text", "why it does not; empty when counted"),
        "coverage": ("real", "smallest coverage of the site's pumps"),
        "measured_kwh": ("real", "wire energy of the day, all pumps [kWh]"),
        "baseline_kwh": ("real", "single-speed pump at its recorded hours [kWh]"),
        "baseline_equal_kwh": ("real", "single-speed pump moving the same volume [kWh]; null no volume"),
        "raw_kwh_lo": ("real", "baseline less measured, low [kWh]"),
        "raw_kwh_mid": ("real", "baseline less measured [kWh]"),
        "raw_kwh_hi": ("real", "baseline less measured, high [kWh]"),
        "equal_kwh_lo": ("real", "equal-volume baseline less measured, low [kWh]"),
        "equal_kwh_mid": ("real", "equal-volume baseline less measured [kWh]"),
        "equal_kwh_hi": ("real", "equal-volume baseline less measured, high [kWh]"),
        "equal_money_mid": ("real", "equal-volume saving, each band at its price [currency]; null no tariff"),
        "source": ("text", "where baseline and measured energy come from"),
        "raw_share_mid": ("real", "raw saving / baseline"),
        "equal_share_mid": ("real", "equal-volume saving / equal-volume baseline"),
        "raw_money_lo": ("real", "raw saving, each band at its price, low [currency]; null no tariff"),
        "raw_money_mid": ("real", "raw saving, each band at its price [currency]"),
        "raw_money_hi": ("real", "raw saving, each band at its price, high [currency]"),
        "equal_money_lo": ("real", "equal-volume saving, each band at its price, low [currency]"),
        "equal_money_hi": ("real", "equal-volume saving, each band at its price, high [currency]"),
        "money_method": (
            "text",
            "by whose hours the baseline is priced: the single-speed pump's or the present pump's",
        ),
        "measured_peak_kw": ("real", "mean power of the pumps over the tariff's peak [kW]; null no peak this day"),
        "baseline_peak_kw": ("real", "mean power of the single-speed pump over it [kW]; null start not recorded"),
        "peak_kw_saved": ("real", "baseline_peak_kw less measured_peak_kw [kW]"),
        "co2_kg_mid": ("real", "equal-volume saving by the fleet's factor [kg]; null no factor with a source"),
        "service": ("text", "shown: required volume reached at the low bound too; not shown; or cannot tell"),
    },
)

SAVINGS_BANDS = Table(
    "savings_bands",
    "one site's local day against its baseline in one tariff band",
    ("site_id", "day_local", "band", "price_per_kwh", "peak"),
    {
        "site_id": ("text", "site"),
        "day_local": ("day", "local day"),
        "day_kind": ("text", "weekday, weekend or holiday, as the tariff bills the day"),
        "band": ("text", "name of the band in the tariff file"),
        "price_per_kwh": ("real", "price [currency per kWh]"),
        "peak": ("bool", "part of the tariff's peak"),
        "window_min": ("real", "length of the band in this day [min]"),
        "measured_kwh": ("real", "wire energy in the band, all pumps [kWh]"),
        "baseline_kwh": ("real", "single-speed pump at its recorded hours, in the band [kWh]"),
        "baseline_equal_kwh": ("real", "single-speed pump moving the same volume, in the band [kWh]"),
        "raw_kwh": ("real", "baseline less measured [kWh]"),
        "equal_kwh": ("real", "equal-volume baseline less measured [kWh]"),
        "raw_money": ("real", "raw_kwh at the band's price [currency]"),
        "equal_money": ("real", "equal_kwh at the band's price [currency]"),
        "method": ("text", "by whose hours the baseline is laid on the bands"),
    },
)

EXCLUSIONS = Table(
    "exclusions",
    "one reason why a site's local day does not enter the savings",
    ("site_id", "day_local", "place"),
    {
        "site_id": ("text", "site"),
        "day_local": ("day", "local day"),
        "place": ("int", "order of the reasons; the first is the one in savings"),
        "kind": ("text", "stood still, ran dry, lost coverage, filtered too little, ..., in two or three words"),
        "reason": ("text", "the reason in a sentence"),
        "minutes": ("real", "minutes behind it: standing, dry, unknown, or short of service [min]; null not of time"),
        "excluded_min": ("real", "minutes that leave the savings with it: the whole day [min]"),
    },
)

SAVINGS_TABLES = (DAY_BANDS, SAVINGS, SAVINGS_BANDS, EXCLUSIONS)
