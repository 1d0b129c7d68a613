"""Words that stand on every review: cautions, checks at the pad, definitions.

Belongs here: fixed text. The cautions are the usual ones, from common practice and memory unless a source is named;
they defer to local codes and licensed practice, and none of them says that anything is safe.
"""

from __future__ import annotations

CAUTIONS: tuple[tuple[str, str], ...] = (
    (
        "Electricity",
        "Switch off, lock out and prove dead before opening a pump, a controller or a junction box. Bonding and "
        "ground-fault protection stay in place and are tested as the local code says. Work on fixed wiring is for a "
        "licensed electrician.",
    ),
    (
        "Suction",
        "Never raise a flow above the rating marked on the suction fittings or above the filter's. Where a rating is "
        "not on record, no advice here raises a speed above what is keyed in. Missing, broken or expired covers: "
        "close the pool until they are replaced.",
    ),
    (
        "Chemicals",
        "A chlorinator or a dosing pump must not run without flow: gas can collect and burst the cell or the pipe. "
        "Check the interlock with the pump, not a flow switch alone. Handle chemicals as their labels and local "
        "rules say.",
    ),
    (
        "Heaters and boosters",
        "Each has its own least flow, on its plate. A lower speed can starve it: check at the pad before keying in. "
        "A booster runs only while the filtration pump runs.",
    ),
    (
        "Freezing",
        "Logs can show that a pump stood still in frost; they cannot show that pipes are protected. Check freeze "
        "protection on site before every cold night. It ends when the power fails: know how the site is drained.",
    ),
    (
        "Public pools",
        "Turnover and hours of a public pool are set by the health code and its inspector. Nothing here is a reason "
        "to filter less.",
    ),
)

PAD_CHECKS: tuple[str, ...] = (
    "Clock of the controller against your own, hour and AM or PM",
    "Filter pressure, clean and now; baskets",
    "Rating marked on each suction fitting, and its date",
    "Heater, chlorinator and water features: they work at the new speed",
    "Water moves at the lowest speed: returns and skimmer",
    "Freeze protection still set up as the register says",
)

DEFINITIONS: tuple[tuple[str, str], ...] = (
    (
        "Valid day",
        "At least 90 % of the local day's minutes have a known speed, and no gap is longer than two hours. A local "
        "day has 23, 24 or 25 hours.",
    ),
    (
        "Believed day",
        "A valid day of a pump against which no data verdict stands, such as a wrong unit or a wrong name.",
    ),
    ("Believable site", "Every pump of the site has at least five believed days in the week."),
    (
        "Unknown",
        "No reading, or a gap longer than the export's limit. Unknown time is hatched. It is never counted as off, "
        "and it saves nothing.",
    ),
    (
        "Turnovers a day",
        "Filtered volume of a local day divided by the pool's volume. Unless a flow meter is on record the flow is "
        "estimated from speed, so the turnover is an estimate as well: low to high, with the likeliest value between.",
    ),
    (
        "Simple best plan",
        "The cheapest plan of one run a day at one speed, with a faster part where skimming asks for it, that moves the "
        "required volume by the low flow estimate and keeps to everything on record. It is a suggestion until it is "
        "checked at the pad.",
    ),
    ("Baseline", "A single-speed pump at its recorded power and hours. Where it comes from is in the register."),
    (
        "Saving at equal volume",
        "What the single-speed pump would use to move the same water, less what was used. The raw saving compares "
        "with its recorded hours, and so counts filtering less as a saving. Days on which the pump failed or "
        "filtered less than required are not counted.",
    ),
    (
        "Interval",
        "Low to high of one estimate. Bounds of a sum are added, because meters and curves of one kind err the same "
        "way.",
    ),
    ("How sure", "A starting value for each rule, not yet measured on this fleet."),
    ("Not assessed", "Nothing here states that a site complies with a code."),
)
