"""The packet's README: what each file is, how to check it, what a check does not show.

Belongs here: fixed words, and the claim's name and verdict.
"""

from __future__ import annotations

from pumpledger.claims.data import ClaimData

_FILES = """\
claim.pdf       the claim as a document (PDF/UA-1)
claim.xlsx      the same numbers as a workbook; totals are live formulas over the days
claim.json      every figure that the claim publishes, to its last digit
clean/          the tables and the intervals behind them as CSV and Parquet;
                clean/data_dictionary.csv says what each column is and in which unit"""

_WHOLE = """\
exports/        the exports as they were received, untouched
configuration/  register rows, tariffs, weather, dialects, decisions and programme file
order_of_arrival.json  the order in which the exports were read
request.json    what was asked for: site, days, programme, preparer and reviewer

The exports are whole files. They may hold rows of other sites; hand them on with care.
Names and addresses stand on the cover of claim.pdf, in request.json and in configuration/,
which holds them for this site alone; of other sites it has technical columns without names.

To check the packet, on any machine that has pumpledger:

    pumpledger verify FOLDER

where FOLDER is the folder with bagit.txt in it. It compares every file with the manifest,
reads the exports anew, works out every figure and compares it to the watt-hour, and makes
the documents anew. Any tool for BagIt (RFC 8493), or sha256sum -c manifest-sha256.txt,
checks the files alone."""

_REDACTED = """\
configuration/  the site's register rows without names, tariffs, weather, dialects

This variant is redacted: names, addresses and notes are left out, and so are the exports as
received. Its figures can therefore not be worked out anew from it alone; the full packet
can. `pumpledger verify FOLDER`, or sha256sum -c manifest-sha256.txt, checks the files."""


def readme(claim: ClaimData, redacted: bool) -> str:
    """The text of data/README.txt."""
    first = "This data is made up.\n\n" if claim.made_up else ""
    return (
        f"{first}Claim {claim.claim_id}: {claim.verdict}\n"
        f"Site {claim.site['site_id']}, {claim.first_day} to {claim.last_day}, local days of {claim.zone}\n\n"
        f"{_FILES}\n{_REDACTED if redacted else _WHOLE}\n\n"
        "A SHA-256 shows whether a file was changed since it was packed. It does not show that what\n"
        "the logger wrote was true. Nothing here states that anything complies with a code.\n"
    )
