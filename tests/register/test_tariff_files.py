"""Tariff files: seasons, holidays, blocks, the open rate form, and what is said of a file that cannot be used."""

from __future__ import annotations

import json
from datetime import date

import polars as pl
import pytest
from register_folder import Folder

SEASONS = """
block_limits_kwh = [300]
holidays = [2026-11-26, "2026-12-25"]
[[band]]
name = "summer"
months = [5, 6, 7, 8, 9, 10]
days = "all"
price_per_kwh = [0.30, 0.45]
[[band]]
name = "winter"
months = [11, 12, 1, 2, 3, 4]
days = "all"
price_per_kwh = [0.20, 0.25]
"""


def sites(folder: Folder, **blocks: int) -> Folder:
    return folder.write(
        "sites.csv",
        "site_id,site_name,zone,pool_volume_m3,tariff,tariff_block,weather\n"
        f"S-1,First Pool,,80,evening,{blocks.get('first', '')},hill\n"
        f"S-2,Second Pool,America/Phoenix,60,evening,{blocks.get('second', '')},hill\n",
    )


def said(folder: Folder) -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for problem in folder.load().problems:
        found.setdefault(problem.name, []).append(problem.sentence)
    return found


def test_a_plain_file_has_no_season_and_no_block(folder: Folder) -> None:
    register = folder.load()
    assert register.tariff_band["month"].to_list() == [None] * 4
    assert register.tariff_holiday.is_empty() and register.site["tariff"].to_list() == ["evening", "evening"]


def test_blocks_are_priced_by_what_the_register_states(folder: Folder) -> None:
    register = sites(folder.write("tariffs/evening.toml", SEASONS), first=2, second=1).load()
    assert register.site["tariff"].to_list() == ["evening, block 2", "evening, block 1"]
    july = register.tariff_band.filter((pl.col("month") == 7) & (pl.col("day_kind") == "weekday"))
    assert dict(july.select("tariff", "price_per_kwh").iter_rows()) == {
        "evening, block 1": 0.30,
        "evening, block 2": 0.45,
    }
    assert register.tariff_holiday.filter(pl.col("tariff") == "evening, block 2").rows() == [
        ("evening, block 2", date(2026, 11, 26), "weekend"),
        ("evening, block 2", date(2026, 12, 25), "weekend"),
    ]


def test_a_tariff_with_blocks_and_none_stated_gives_no_money(folder: Folder) -> None:
    """What one more kWh costs depends on the household's other use, which no pump export tells."""
    folder = sites(folder.write("tariffs/evening.toml", SEASONS), second=3)
    assert folder.load().site["tariff"].to_list() == [None, None]
    found = said(folder)
    assert "until then no money is computed" in found["tariff_block_missing"][0]
    assert found["tariff_block_unknown"] == ["site S-2: tariff 'evening' has 2 block(s), not 3; no money is computed"]


def test_holidays_may_have_bands_of_their_own(folder: Folder) -> None:
    text = 'holidays = ["2026-11-26"]\n[[band]]\ndays = "all"\nprice_per_kwh = 0.3\n'
    assert said(folder.write("tariffs/evening.toml", text)) == {}
    own = text + '[[band]]\ndays = "holiday"\nstop = "20:00"\nprice_per_kwh = 0.1\n'
    assert said(folder.write("tariffs/evening.toml", own))["tariff_cover"] == [
        "holiday from 20:00 to 24:00 is not covered by a band; no money is computed by this file"
    ]
    whole = own + '[[band]]\ndays = "holiday"\nstart = "20:00"\nprice_per_kwh = 0.2\n'
    register = folder.write("tariffs/evening.toml", whole).load()
    assert register.tariff_holiday["day_kind"].to_list() == ["holiday"]


def test_a_month_without_bands_is_named(folder: Folder) -> None:
    text = SEASONS.replace("[11, 12, 1, 2, 3, 4]", "[11, 12, 1, 2, 4]")
    assert said(sites(folder.write("tariffs/evening.toml", text), first=1, second=1))["tariff_cover"] == [
        f"{kind} in March from 00:00 to 24:00 is not covered by a band; no money is computed by this file"
        for kind in ("weekday", "weekend")
    ]


def test_all_faults_of_a_file_at_once(folder: Folder) -> None:
    text = (
        'holidays = "Christmas"\nblock_limits_kwh = [300, 200]\nholyday = 1\n'
        '[[band]]\nmonth = [1]\nprice_per_kwh = [0.1, 0.2]\n[[band]]\nmonths = [13]\nprice_per_kwh = "0.1"\n'
    )
    found = said(folder.write("tariffs/evening.toml", text))
    assert {"tariff_holidays", "tariff_blocks", "tariff_key", "tariff_months", "tariff_price"} <= set(found)
    assert found["tariff_key"] == [
        "the key 'holyday' is not known; did you mean holidays?",
        "band 1: the key 'month' is not known; did you mean months?",
    ]
    assert folder.load().tariff_band.is_empty()


def rate(**more: object) -> dict[str, object]:
    """A made-up rate in the open form: summer afternoons dear, winter flat, two blocks in summer off-peak."""
    summer = [[0] * 16 + [1] * 5 + [0] * 3 for _ in range(6)]
    winter = [[2] * 24 for _ in range(6)]
    weekday = winter[:4] + summer + winter[4:]
    return {
        "label": "made up",
        "energyratestructure": [
            [{"rate": 0.25, "adj": 0.01, "unit": "kWh"}],
            [{"rate": 0.40, "adj": 0.02, "unit": "kWh"}],
            [{"rate": 0.18}],
        ],
        "energyweekdayschedule": weekday,
        "energyweekendschedule": [[2 if month in (0, 1, 2, 3, 10, 11) else 0] * 24 for month in range(12)],
    } | more


def test_open_rate_form_hour_by_hour(folder: Folder) -> None:
    """Price of an hour = rate + adj at [month - 1][hour], weekday Monday to Friday: as public code reads the form
    (facts 7.3). Every hour of every month is looked up straight in the file."""
    content = rate()
    folder.remove("tariffs/evening.toml").write("tariffs/evening.json", json.dumps({"items": [content]}))
    bands = folder.load().tariff_band
    assert said(folder) == {}
    for kind in ("weekday", "weekend"):
        for month in range(12):
            for hour in range(24):
                block = content["energyratestructure"][content[f"energy{kind}schedule"][month][hour]][0]
                found = bands.filter(
                    (pl.col("day_kind") == kind)
                    & (pl.col("month") == month + 1)
                    & (pl.col("start_min") <= hour * 60)
                    & (pl.col("stop_min") > hour * 60)
                )
                assert found["price_per_kwh"].to_list() == [block["rate"] + block.get("adj", 0)]
                assert found["peak"].to_list() == [kind == "weekday" and 4 <= month < 10 and 16 <= hour < 21]


def test_open_rate_form_with_blocks(folder: Folder) -> None:
    structure = rate()["energyratestructure"]
    structure[0] = [{"rate": 0.25, "max": 400}, {"rate": 0.35}]
    text = json.dumps(rate(energyratestructure=structure, flatdemandstructure=[[{"rate": 9}]]))
    register = sites(
        folder.remove("tariffs/evening.toml").write("tariffs/evening.json", text), first=2, second=1
    ).load()
    dear = register.tariff_band.filter(pl.col("tariff") == "evening, block 2")["price_per_kwh"].unique().sort()
    assert dear.to_list() == pytest.approx([0.18, 0.35, 0.42])  # a period of one block costs the same in every block
    assert [p.sentence for p in register.problems] == ["flatdemandstructure: demand charges are not computed"]


@pytest.mark.parametrize(
    ("change", "name", "part"),
    [
        ({"energyratestructure": [[{"adj": 0.1}]] * 3}, "tariff_price", "period 0, block 1"),
        ({"energyratestructure": []}, "tariff_empty", "list of periods"),
        ({"energyratestructure": [[{"rate": 0.2, "unit": "kWh daily"}]] * 3}, "tariff_unit", "'kWh daily'"),
        ({"energyratestructure": [[{"rate": 0.2}, {"rate": 0.3}]] * 3}, "tariff_blocks", "rises from block to block"),
        ({"energyratestructure": [[{"rate": 25}]] * 3}, "", ""),
        ({"energyratestructure": [[{"rate": 31.0, "adj": 30}]] * 3}, "tariff_price", "-5 to 50"),
        ({"energyweekdayschedule": [[0] * 23] * 12}, "tariff_cover", "month 1: the hours from 23:00 are not covered"),
        ({"energyweekdayschedule": [[0] * 12 + [7] + [0] * 11] * 12}, "tariff_cover", "from 12:00 are not covered"),
        ({"energyweekendschedule": [[0] * 24] * 11}, "tariff_cover", "12 rows"),
        ({"energyweekendschedule": None}, "tariff_cover", "12 rows"),
        ({"energyweekendschedule": [[0] * 25] * 12}, "tariff_cover", "has 25 hours"),
    ],
)
def test_open_rate_form_faults(folder: Folder, change: dict[str, object], name: str, part: str) -> None:
    folder.remove("tariffs/evening.toml").write("tariffs/evening.json", json.dumps(rate(**change)))
    found = said(folder)
    if not name:
        assert not [key for key in found if key.startswith("tariff_")]
        return
    assert part in found[name][0]
    assert folder.load().tariff_band.is_empty() and folder.load().site["tariff"].to_list() == [None, None]


@pytest.mark.parametrize("text", ["", "[", "[]", "3", '{"items": []}', '{"items": [1]}', "[" * 100_000])
def test_hostile_json(folder: Folder, text: str) -> None:
    folder.remove("tariffs/evening.toml").write("tariffs/evening.json", text)
    assert {"tariff_unreadable", "tariff_items"} & set(said(folder))


def test_one_name_in_both_forms(folder: Folder) -> None:
    folder.write("tariffs/evening.json", json.dumps(rate()))
    assert len(said(folder)["tariff_twice"]) == 2 and folder.load().tariff_band.is_empty()


@pytest.mark.parametrize(
    ("lines", "name", "factor"),
    [
        ("", "", None),
        ('co2_kg_per_kwh = 0.25\nco2_source = "made-up grid table, 2026"\n', "", 0.25),
        ("co2_kg_per_kwh = 0.25\n", "co2_source", None),
        ('co2_kg_per_kwh = 0.25\nco2_source = "  "\n', "co2_source", None),
        ('co2_source = "a table"\n', "co2_factor", None),
        ('co2_kg_per_kwh = "0.25"\nco2_source = "a table"\n', "co2_factor", None),
        ('co2_kg_per_kwh = 250\nco2_source = "a table, in g"\n', "co2_factor", None),
    ],
)
def test_co2_only_with_its_source(folder: Folder, lines: str, name: str, factor: float | None) -> None:
    register = folder.swap("fleet.toml", 'units = "metric"\n', f'units = "metric"\n{lines}').load()
    assert register.fleet.co2_kg_per_kwh == factor
    assert [p.name for p in register.problems] == ([name] if name else [])


def test_the_start_of_the_single_speed_pump_is_a_clock(folder: Folder) -> None:
    folder.write("pumps.csv", "pump_id,site_id,baseline_start,baseline_source\nP-1,S-1,09:30,bill of 2019\nP-2,S-2,,\n")
    register = folder.load()
    assert register.pump["baseline_start_min"].to_list() == [570, None]
    assert register.pump["baseline_source"].to_list() == ["bill of 2019", None]
