"""The weekly review as a folder: the fleet's page, a page for each site, the tables as CSV.

Belongs here: what is written where, all of it or nothing. What the pages say is in `fleet_page` and `site_page`.
"""

from __future__ import annotations

import shutil
from collections.abc import Iterable
from pathlib import Path

import polars as pl

from pumpledger.reports.carpets import Carpets
from pumpledger.reports.csv_tables import write_tables
from pumpledger.reports.data import ReviewData
from pumpledger.reports.fleet_page import fleet_html
from pumpledger.reports.keying_card import FOLDER, KeyingCards
from pumpledger.reports.route_sheets import route_sheets_html
from pumpledger.reports.send_back import write_send_back
from pumpledger.reports.site_page import SitePages
from pumpledger.reports.verdict import summary_lines
from pumpledger.workspace import replace_folder

__all__ = ["summary_lines", "write_review"]


def write_review(folder: Path, data: ReviewData, refused: Iterable[pl.DataFrame] = ()) -> Path:
    """Write ``reports/<week>/`` inside the fleet ``folder`` and return it.

    ``refused`` are the refused rows of ``data.exports``, frame by frame, for ``quarantine.csv``.

    Everything goes into a sibling first and is renamed when it is whole, so a review is never half there. An earlier
    review of the week is replaced. The same data gives the same bytes.
    """
    reports = folder / "reports"
    target, fresh = reports / data.week, reports / f".{data.week}.new"
    if fresh.exists():
        shutil.rmtree(fresh)
    (fresh / "sites").mkdir(parents=True)
    carpets = Carpets(data)
    _write(fresh / "index.html", fleet_html(data, carpets))
    for name, html in SitePages(data, carpets).pages():
        _write(fresh / "sites" / name, html)
    (fresh / FOLDER).mkdir()
    for name, html in KeyingCards(data).pages():
        _write(fresh / FOLDER / name, html)
    _write(fresh / "routes.html", route_sheets_html(data))
    write_tables(fresh, data)
    write_send_back(fresh / "quarantine.csv", refused)
    replace_folder(fresh, target)
    return target


def _write(path: Path, text: str) -> None:
    path.write_bytes(text.encode("utf-8"))
