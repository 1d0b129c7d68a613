"""Days worked out on paper: exports in, daily accounts and savings out. The expected numbers are arithmetic that stands
here.

Sources: facts of shared check values 3h, 3i, 5f (plain arithmetic on invented inputs); day lengths from the IANA time
zone database.
"""

from __future__ import annotations

from datetime import date
from pathlib import Path

import pytest

from tests.fleet_folder import METER_HEADER, day_of, meter_rows, run_steps, saving_of, spans_of, write_fleet

GALLON_M3 = 0.003785411784  # exact: 231 cubic inches


@pytest.fixture(scope="module")
def session(tmp_path_factory: pytest.TempPathFactory):
    folder: Path = tmp_path_factory.mktemp("hand")
    day = "2026-10-30T"
    two_speeds = [  # 3i: 10 min at 80 gpm and 1.80 kW, 10 h at 30 gpm and 0.18 kW
        (day + "00:00:00", 0, 0, 0),
        (day + "06:00:00", 0, 0, 0),
        (day + "08:00:00", 2850, 1.80, 80),
        (day + "08:10:00", 1200, 0.18, 30),
        (day + "14:00:00", 1200, 0.18, 30),
        (day + "18:10:00", 0, 0, 0),
        ("2026-10-31T00:00:00", 0, 0, 0),
    ]
    day_and_hour = [  # 3h and 5f: 16 h at 32 gpm and 0.22 kW, 1 h at 65 gpm and 1.2 kW
        (day + "00:00:00", 0, 0, 0),
        (day + "06:00:00", 1100, 0.22, 32),
        (day + "12:00:00", 1100, 0.22, 32),
        (day + "18:00:00", 1100, 0.22, 32),
        (day + "22:00:00", 2400, 1.2, 65),
        (day + "23:00:00", 0, 0, 0),
        ("2026-10-31T00:00:00", 0, 0, 0),
    ]
    long_day = [
        ("2026-11-01T00:00:00", 1500, 0.1, 20),
        ("2026-11-01T06:00:00", 1500, 0.1, 20),
        ("2026-11-01T12:00:00", 1500, 0.1, 20),
        ("2026-11-01T18:00:00", 1500, 0.1, 20),
        ("2026-11-02T00:00:00", 1500, 0.1, 20),
        ("2026-11-02T01:00:00", 1500, 0.1, 20),
    ]
    short_day = [
        ("2026-03-08T00:00:00", 1500, 0.1, 20),
        ("2026-03-08T06:00:00", 1500, 0.1, 20),
        ("2026-03-08T12:00:00", 1500, 0.1, 20),
        ("2026-03-08T18:00:00", 1500, 0.1, 20),
        ("2026-03-08T23:00:00", 1500, 0.1, 20),
    ]
    text = METER_HEADER + meter_rows("P1", two_speeds, "-0700") + meter_rows("P2", day_and_hour, "-0700")
    text += meter_rows("P1", long_day, "-0700") + meter_rows("P1", short_day, "-0800")
    write_fleet(
        folder,
        {
            "inbox/meter_1.csv": text,
            "sites.csv": "site_id,site_name,pool_volume_gal,required_turnovers\nH1,Made-up One,20000,0.5\nH2,Made-up Two,20000,1.0\n",
            "pumps.csv": "pump_id,site_id,baseline_power_kw,baseline_hours_per_day,baseline_flow_gpm,baseline_evidence\n"
            "P1,H1,,,,\nP2,H2,1.75,8,80,measured\n",
        },
    )
    return run_steps(folder, "2026-W10", "2026-W44")[0]


def test_two_speeds_give_18_800_gallons_and_2_100_kwh(session) -> None:
    day = day_of(session, "2026-W44", "P1", date(2026, 10, 30))
    assert day["energy_kwh_mid"] == pytest.approx(1.80 * 10 / 60 + 0.18 * 10, abs=1e-6)
    assert day["energy_kwh_mid"] == pytest.approx(2.100, abs=1e-6)
    assert day["volume_m3_mid"] == pytest.approx((80 * 10 + 30 * 600) * GALLON_M3, rel=1e-9)
    assert day["turnovers_mid"] == pytest.approx(0.9400, abs=1e-6)
    assert (day["coverage"], day["valid"], day["run_min"], day["starts"]) == (1.0, True, 610, 1)
    assert (day["energy_source"], day["volume_source"]) == ("metered power", "metered")


def test_averaging_the_rows_would_give_another_energy(session) -> None:
    naive_kwh = (1.80 + 0.18 + 0) / 3 * (10 + 10 / 60)  # 3j: the mean of the three rows over the running time
    assert abs(naive_kwh - day_of(session, "2026-W44", "P1", date(2026, 10, 30))["energy_kwh_mid"]) > 1


def test_sixteen_hours_and_one_give_1_731_turnovers(session) -> None:
    day = day_of(session, "2026-W44", "P2", date(2026, 10, 30))
    assert day["volume_m3_mid"] == pytest.approx(34_620 * GALLON_M3, rel=1e-9)
    assert day["turnovers_mid"] == pytest.approx(1.7310, abs=1e-6)
    assert day["energy_kwh_mid"] == pytest.approx(0.22 * 16 + 1.2 * 1, abs=1e-6)


def test_raw_and_equal_volume_savings(session) -> None:
    saving = saving_of(session, "2026-W44", "H2", date(2026, 10, 30))
    assert saving["baseline_kwh"] == pytest.approx(14.00, abs=1e-6)
    assert saving["measured_kwh"] == pytest.approx(4.72, abs=1e-6)
    assert saving["raw_kwh_mid"] == pytest.approx(9.28, abs=1e-6)
    assert saving["raw_kwh_mid"] / saving["baseline_kwh"] == pytest.approx(0.6629, abs=1e-4)
    assert saving["raw_kwh_mid"] * 365 == pytest.approx(3387.2, abs=1e-3)
    # equal volume: 34,620 gal at 80 gpm take 7.2125 h at 1.75 kW
    assert saving["baseline_equal_kwh"] == pytest.approx(34_620 / 80 / 60 * 1.75, rel=1e-9)
    assert saving["equal_kwh_mid"] == pytest.approx(34_620 / 80 / 60 * 1.75 - 4.72, rel=1e-9)
    assert saving["counted"]


@pytest.mark.parametrize(
    ("week", "day", "hours"),
    [("2026-W44", date(2026, 11, 1), 25), ("2026-W10", date(2026, 3, 8), 23)],
)
def test_a_steady_pump_uses_its_power_times_the_true_length_of_the_day(
    session, week: str, day: date, hours: int
) -> None:
    account = day_of(session, week, "P1", day)
    assert account["day_min"] == hours * 60
    assert account["coverage"] == pytest.approx(1.0)
    assert account["energy_kwh_mid"] == pytest.approx(0.1 * hours, abs=1e-9)
    assert spans_of(session, week, "P1", day)["duration_min"].sum() == hours * 60


def test_a_day_without_readings_is_unknown_not_zero(session) -> None:
    day = day_of(session, "2026-W44", "P1", date(2026, 10, 27))
    assert (day["coverage"], day["valid"], day["longest_gap_min"]) == (0, False, 1440)
    spans = spans_of(session, "2026-W44", "P1", date(2026, 10, 27))
    assert spans["kind"].to_list() == ["unknown"]
    assert spans["energy_kwh"].to_list() == [None]
    assert saving_of(session, "2026-W44", "H2", date(2026, 10, 27))["counted"] is False
