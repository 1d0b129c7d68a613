"""The command as a user runs it: exit status, messages that name file and line, never a traceback."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.command import run
from tests.demo_fleet import copy_of_demo
from tests.fleet_folder import METER_HEADER, meter_rows, write_fleet


def two_days(pump: str = "P1") -> str:
    """Two days of a pump that runs from 08:00 to 14:00."""
    rows = []
    for day in ("2026-10-29T", "2026-10-30T"):
        rows += [
            (day + "00:00:00", 0, 0, 0),
            (day + "06:00:00", 0, 0, 0),
            (day + "08:00:00", 2000, 0.5, 40),
            (day + "14:00:00", 0, 0, 0),
            (day + "20:00:00", 0, 0, 0),
        ]
    return METER_HEADER + meter_rows(pump, [*rows, ("2026-10-31T00:00:00", 0, 0, 0)], "-0700")


def test_the_end_is_the_page_and_ten_lines(reviewed, tmp_path: Path) -> None:
    folder = reviewed[0]
    lines = run("review", folder).stdout.splitlines()
    page = next(number for number, line in enumerate(lines) if line.startswith("Review of 2026-W45: "))
    assert Path(lines[page].split(": ", 1)[1]) == folder / "reports" / "2026-W45" / "index.html"
    summary = lines[page + 1 :]
    assert len(summary) == 10
    text = "\n".join(summary)
    assert "sites reported" in text and "can be believed" in text and "need someone" in text and "kWh" in text
    assert [line[:2] for line in summary[-5:]] == ["1.", "2.", "3.", "4.", "5."]
    assert "Nothing new" in "\n".join(lines)


def test_a_missing_folder_cannot_run(tmp_path: Path) -> None:
    done = run("review", tmp_path / "nowhere")
    assert done.returncode == 2 and "no fleet folder" in done.stderr


def test_a_folder_without_inbox_cannot_run(tmp_path: Path) -> None:
    folder = write_fleet(tmp_path, {})
    (folder / "inbox").rmdir()
    done = run("review", folder)
    assert done.returncode == 2 and "inbox" in done.stderr


def test_an_empty_inbox_says_what_to_do(tmp_path: Path) -> None:
    done = run("review", write_fleet(tmp_path, {}))
    assert done.returncode == 0 and "no week to review" in done.stdout


def test_good_files_run_with_status_0_and_bad_rows_are_counted(tmp_path: Path) -> None:
    text = two_days() + "2026-10-30T15:00:00-0700,P1,99999,0,0\n2026-10-30T15:30:00-0700,P1,fast,0,0\n"
    done = run("review", write_fleet(tmp_path, {"inbox/meter_1.csv": text}))
    assert done.returncode == 0, done.stderr
    assert "13 = 11 readings + 0 duplicates + 1 quarantine + 1 rejects" in done.stdout


@pytest.mark.parametrize(
    ("files", "named"),
    [
        (
            {
                "inbox/other_1.csv": "a,b\n1,2\n",
                "inbox/meter_2.csv": "when;speed\n1;2\n",
                "inbox/meter_3.csv": "",
                "inbox/meter_4.csv": two_days("P9"),
            },
            [
                ("other_1.csv", "[[source]]"),
                ("meter_2.csv", "line 1"),
                ("meter_3.csv", "line 1"),
                ("meter_4.csv", "line 2", "P9", "pumps.csv"),
            ],
        ),
        (
            {
                "sites.csv": (
                    "site_id,site_name,pool_volume_m3\nH1,Made-up One,80\nH2,Made-up Two,much\nH3,Made-up Three,80\n"
                ),
                "pumps.csv": "pump_id,site_id\nP1,H1\nP2,H2\nP3,H3\n",
                "plans.csv": (
                    "pump_id,valid_from,period,speed_rpm,start,stop\n"
                    "P3,2026-01-01,1,2000,08:00,12:00\nP3,2026-01-01,2,1500,11:00,14:00\n"
                ),
            },
            [("sites.csv", "line 3", "pool_volume_m3"), ("plans.csv", "line 3", "overlaps")],
        ),
    ],
    ids=["exports", "register"],
)
def test_whole_files_and_sites_set_aside_give_status_1_and_the_good_data_stays(
    tmp_path: Path, files: dict[str, str], named: list[tuple[str, ...]]
) -> None:
    done = run("review", write_fleet(tmp_path, {"inbox/meter_1.csv": two_days()} | files))
    assert done.returncode == 1, done.stdout + done.stderr
    aside = [line for line in done.stderr.splitlines() if line.startswith("set aside: ")]
    for words in named:
        assert any(all(word in line for word in words) for line in aside), (words, done.stderr)
    assert "Review of 2026-W44" in done.stdout
    assert ",3.0" in (tmp_path / "reports" / "2026-W44" / "daily.csv").read_text()  # 6 h at 0.5 kW


def test_a_demo_of_another_seed_runs(tmp_path: Path) -> None:
    assert run("demo", tmp_path / "fleet", "--sites", 24, "--weeks", 1, "--seed", 3).returncode == 0
    assert run("demo", tmp_path / "fleet").returncode != 0  # never over another fleet
    done = run("review", tmp_path / "fleet")
    assert done.returncode == 0, done.stderr


def test_the_pipeline_never_reads_the_truth(tmp_path: Path, reviewed) -> None:
    assert not (copy_of_demo(tmp_path / "fleet") / "truth").exists()
    assert reviewed[1].page is not None and reviewed[1].page.exists()


def test_a_reading_that_no_curve_fits_is_named_in_the_review(tmp_path: Path) -> None:
    """40 m3/h at 3450 rpm lies beyond the drawn curve: the reading is not used, and the review says so."""
    curve = "curve,speed_rpm,flow_m3h,head_m\nq,3450,0,18\nq,3450,12,15\nq,3450,24,6\n"
    visit = "site_id,pump_id,day_local,work,speed_rpm,flow_m3h\nH1,P1,2026-10-01,commissioning,3450,40\n"
    pumps = "pump_id,site_id,curve\nP1,H1,q\n"
    files = {"pump_curves.csv": curve, "visits.csv": visit, "pumps.csv": pumps, "inbox/meter_1.csv": two_days()}
    assert run("review", write_fleet(tmp_path, files)).returncode == 0
    page = (tmp_path / "reports" / "2026-W44" / "index.html").read_text(encoding="utf-8")
    assert "the reading is not used" in page
