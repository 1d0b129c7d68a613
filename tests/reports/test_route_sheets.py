"""Route sheets: which stops stand on them, in which order, and what there is to read and to fill in."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import polars as pl

from pumpledger.reports.data import ReviewData
from pumpledger.reports.route_sheets import NO_ROUTE, route_sheets_html, routes


def on_routes(review: ReviewData, placed: dict[str, tuple[str, int | None]]) -> ReviewData:
    """The review with sites on routes: site -> (route, stop)."""
    of_site = review.site["site_id"]
    site = review.site.with_columns(
        route=pl.Series([placed.get(name, ("", None))[0] for name in of_site]),
        stop=pl.Series([placed.get(name, ("", None))[1] for name in of_site], dtype=pl.Int64),
    )
    return replace(review, site=site)


def test_stops_stand_in_their_order_and_desk_work_on_no_route(review: ReviewData) -> None:
    on_site = review.actions.filter(pl.col("severity") != "data")["site_id"].to_list()
    assert 3 <= len(on_site) < review.actions.height
    placed = {site: ("East", 10 - number) for number, site in enumerate(on_site[:-1])}
    told = routes(on_routes(review, placed))
    assert [route["name"] for route in told] == ["East", NO_ROUTE]
    assert [stop["site"]["site_id"] for stop in told[0]["stops"]] == on_site[:-1][::-1]
    assert [stop["site"]["site_id"] for stop in told[1]["stops"]] == on_site[-1:]
    work = dict(review.actions.select("site_id", "work_min").iter_rows())
    assert told[0]["minutes"] == sum(work[site] for site in on_site[:-1])


def test_a_stop_without_a_number_comes_last(review: ReviewData) -> None:
    on_site = review.actions.filter(pl.col("severity") != "data")["site_id"].to_list()
    placed = {site: ("East", None if number == 0 else number) for number, site in enumerate(on_site)}
    (route,) = routes(on_routes(review, placed))
    assert [stop["site"]["site_id"] for stop in route["stops"]] == [*on_site[1:], on_site[0]]


def test_every_stop_says_what_to_do_and_has_room_to_write(review: ReviewData) -> None:
    html = route_sheets_html(review)
    stops = [stop for route in routes(review) for stop in route["stops"]]
    assert html.count('<article class="stop"') == len(stops) and html.count("Readings at the pad") == len(stops)
    for stop in stops:
        assert stop["action"]["action_id"] in html
    assert "Made-up data" in html and "Caution:" in html and "Electricity" in html
    assert "<script>alert" not in html and "javascript:" not in html  # names of the fleet are text


def test_nothing_to_do_is_said(review: ReviewData) -> None:
    assert "There is nothing to do on site this week." in route_sheets_html(
        replace(review, actions=review.actions.clear())
    )


def test_the_page_lies_beside_the_review_and_is_the_same_twice(written: Path, review: ReviewData) -> None:
    assert (written / "routes.html").read_text(encoding="utf-8") == route_sheets_html(review)
    assert 'href="routes.html"' in (written / "index.html").read_text(encoding="utf-8")
