"""What a claim's document says, section by section.

Belongs here: the order of sections and their words. Every number comes from `ClaimData`. Names and addresses stand on the
cover alone; a redacted document has none. Tables of results stand in `packet_tables.py`.
"""

from __future__ import annotations

from pumpledger.claims import packet_tables as tables
from pumpledger.claims.blocks import Block, bullets, note, number, para, percent, sentence, terms
from pumpledger.claims.data import ClaimData, Interval
from pumpledger.claims.pictures import day_calendar, energy_by_day, energy_by_month

REDACTED = "Redacted: names, addresses, notes and the exports as received are left out."
_MAKER = "pumpledger"


def document(claim: ClaimData, redacted: bool = False) -> dict[str, object]:
    """The document as the templates take it: cover, headline, sections of blocks.

    Args:
        redacted: the claim has been through `redacted.redacted_claim`; the document says so.
    """
    period = f"{claim.first_day} to {claim.last_day}"
    return {
        "title": f"Savings claim {claim.claim_id}",
        "kicker": "Measured savings of a variable-speed pool pump",
        "author": _MAKER,
        "keywords": ["savings", "measurement and verification", claim.claim_id],
        "paper": "us-letter" if claim.units == "us" else "a4",
        "running_head": f"Claim {claim.claim_id} \u00b7 site {claim.site['site_id']} \u00b7 {period}"
        + (" \u00b7 redacted" if redacted else ""),
        "footer": ("Made-up data \u00b7 " if claim.made_up else "") + f"all days in {claim.zone}",
        "ready": claim.is_ready,
        "made_up": claim.made_up,
        "status": _status(claim),
        "cover": _cover(claim, period, redacted),
        "headline": _headline(claim),
        "cover_blocks": [bullets(sentence(text) for text in claim.labels)] + ([note(REDACTED)] if redacted else []),
        "sections": [{"title": title, "blocks": blocks} for title, blocks in _sections(claim, redacted)],
    }


def _status(claim: ClaimData) -> str:
    if claim.is_ready:
        return "READY for review: every requirement of section 1 is met, or in doubt and said to be so."
    missing = claim.ready.filter(claim.ready["state"] == "missing")["requirement"].to_list()
    return f"NOT READY. Missing: {', '.join(dict.fromkeys(missing))}. Section 1 says where each is mended."


def _cover(claim: ClaimData, period: str, redacted: bool) -> list[list[str]]:
    rows = [["Site", str(claim.site["site_id"])]]
    if not redacted:
        rows += [[name.replace("_", " ").capitalize(), value] for name, value in sorted(claim.private.items()) if value]
    rows += [
        ["Period", f"{period}, {number(claim.totals.days)} days"],
        ["Programme", _programme(claim)],
        ["Option", f"Option {claim.option}. {sentence(claim.option_reason)}"],
        ["Fleet", claim.fleet_name],
    ]
    return rows


def _programme(claim: ClaimData) -> str:
    found = claim.programme
    if found is None:
        return "Programme parameters not supplied: no programme claim is made. These are the accounts alone."
    invented = " (made up)" if found.made_up else ""
    return (
        f"{found.name}{invented}: {found.document}, edition {found.edition}, section {found.section}, "
        f"retrieved {found.retrieved}"
    )


def _headline(claim: ClaimData) -> dict[str, object]:
    """Both savings beside each other, and how much of the period is known."""
    totals = claim.totals
    savings = [
        _saving(f"Saving at equal volume, {number(totals.equal_days)} days", totals.equal),
        _saving(f"Raw saving, {number(totals.counted_days)} days", totals.raw),
    ]
    return {"savings": savings, "completeness": tables.sufficiency(claim)}


def _saving(label: str, found: Interval | None) -> dict[str, str]:
    if found is None:
        return {"label": label, "value": "Cannot be told", "range": ""}
    span = f"{number(found.lo, 1)} to {number(found.hi, 1)} kWh with 90 % confidence"
    return {"label": label, "value": f"{number(found.mid, 1)} kWh", "range": span}


def _sections(claim: ClaimData, redacted: bool) -> list[tuple[str, list[Block]]]:
    found = [
        ("Ready for review?", _ready(claim)),
        ("Site and equipment", [*tables.equipment(claim)]),
        ("Boundary, option and meter", _boundary(claim)),
        ("Baseline", _baseline(claim)),
        ("Results", _results(claim)),
        ("Uncertainty", _uncertainty(claim)),
        ("Completeness and exclusions", _completeness(claim)),
        ("Power and hours by speed", [tables.power_by_speed(claim), tables.hours_by_speed(claim)]),
        ("Energy balance", _balance(claim)),
        ("Schedule as found and as left", tables.plans(claim)),
        ("Visits and changes", _visits(claim, redacted)),
        ("Method", _method(claim)),
        ("Cautions", [bullets(claim.cautions)] if claim.cautions else [para("None on record.")]),
        ("Exports and versions", _evidence(claim, redacted)),
        ("Signatures", _signatures(claim)),
        ("Annex: days", [tables.days(claim)]),
    ]
    return [(f"{place}  {title}", blocks) for place, (title, blocks) in enumerate(found, 1)]


def _ready(claim: ClaimData) -> list[Block]:
    return [
        note(_status(claim), "good" if claim.is_ready else "alarm"),
        tables.ready(claim),
        para("Nothing here states that a site, a pump or a claim complies with a code or a programme's rules."),
    ]


def _boundary(claim: ClaimData) -> list[Block]:
    return [
        para(f"Option {claim.option} of the measurement protocol. {sentence(claim.option_reason)}"),
        para(
            "Boundary: the wire of the site's filtration pumps. Nothing else in the house is measured, and no effect on "
            "anything else is claimed."
        ),
        para(
            f"Meter: stated accuracy {percent(claim.meter_accuracy)} of the reading. Time: local days of {claim.zone}, of "
            "23, 24 or 25 hours; readings are kept in UTC."
        ),
    ]


def _baseline(claim: ClaimData) -> list[Block]:
    made: list[Block] = [
        para(
            "The baseline is the former single-speed pump at its recorded power and hours. What of it was measured and "
            "what is taken from a record stands in separate columns."
        ),
        tables.baseline(claim),
        tables.stipulated(claim),
    ]
    if claim.programme is not None and claim.programme.baseline_rule:
        made.append(para(f"Rule of the programme: {sentence(claim.programme.baseline_rule)}"))
    return made


def _results(claim: ClaimData) -> list[Block]:
    pictures = [energy_by_day(claim.days), energy_by_month(claim.months)]
    made: list[Block] = [
        note(tables.sufficiency(claim), "good" if claim.totals.sufficient else "alarm"),
        tables.totals(claim),
        para(
            "The raw saving counts filtering less as a saving; the saving at equal volume does not: it compares with what "
            "the former pump would have used to move the same water. Both stand here together. Flow that is not metered is "
            "estimated from speed, and the volume with it. Unknown time saves nothing."
        ),
        *(picture for picture in pictures if picture),
        tables.months(claim),
        *tables.programme_results(claim),
    ]
    return made


def _uncertainty(claim: ClaimData) -> list[Block]:
    totals = claim.totals
    largest = f"The largest term is: {totals.largest_term}." if totals.largest_term else "No term can be told."
    return [
        note(largest),
        para(sentence(totals.uncertainty_method)),
        tables.confidence(claim),
        tables.uncertainty(claim),
        para("A term of the meter does not shrink with more days."),
    ]


def _completeness(claim: ClaimData) -> list[Block]:
    made: list[Block] = [day_calendar(claim.days), tables.exclusions(claim)]
    if claim.missing_weeks:
        made.insert(0, note(f"Weeks without a review: {', '.join(claim.missing_weeks)}.", "alarm"))
    return made


def _balance(claim: ClaimData) -> list[Block]:
    return [
        para(
            "Energy by logged power against the pump's own energy counter over the same time. A day on which the two "
            "differ too much is left out."
        ),
        tables.balance(claim),
    ]


def _visits(claim: ClaimData, redacted: bool) -> list[Block]:
    made: list[Block] = [tables.visits(claim)]
    if not redacted:
        made.append(para("Notes of visits may hold names; they stand in the register beside this document alone."))
    return made


def _method(claim: ClaimData) -> list[Block]:
    return [
        tables.formulas(claim),
        tables.parameters(claim),
        para(
            "Real time is integrated: a reading counts for as long as it holds, never by the number of rows. A part of a year "
            "is not scaled to a year."
        ),
        terms(
            [
                ("Measured", "read by a meter or a logger."),
                ("Stipulated", "taken from a record, a nameplate or a programme's document, and named as such."),
                ("Computed", "worked out from the two by the formulas above."),
            ]
        ),
    ]


def _evidence(claim: ClaimData, redacted: bool) -> list[Block]:
    how = (
        "The exports as received are left out of this variant, so that its numbers cannot be worked out anew from it alone."
        if redacted
        else "The exports lie beside this document, untouched. The command pumpledger verify, given the packet's folder, checks every "
        "file, works all numbers out anew from them and compares them to the watt-hour."
    )
    return [
        tables.exports(claim),
        para(how),
        para(
            "A SHA-256 shows whether a file was changed since it was packed. It does not show that what the logger wrote "
            "was true."
        ),
        tables.versions(claim),
    ]


def _signatures(claim: ClaimData) -> list[Block]:
    return [
        para("Preparer and reviewer are two people. A signature stands for what the signer has seen."),
        {"kind": "signatures", "who": ["Technician", "Preparer", "Reviewer", "Owner's consent"]},
    ]
