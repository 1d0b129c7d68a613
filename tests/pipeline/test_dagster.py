"""The assets as Dagster sees them: one object for UI, command line and tests; checks, metadata, sensors, schedule."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path

import dagster as dg
import pytest

from pumpledger.orchestration.assets import WEEK_ASSETS, WEEKS, exports
from pumpledger.orchestration.automation import inbox_sensor, monday_morning, stale_week_sensor
from pumpledger.orchestration.definitions import build_definitions, defs
from pumpledger.orchestration.resource import FOLDER_VARIABLE, Fleet
from pumpledger.orchestration.run import prepare_home, run_review
from pumpledger.orchestration.session import Session
from pumpledger.workspace import Workspace, write_whole
from tests.fleet_folder import write_fleet
from tests.pipeline.test_command_line import two_days


def test_the_flow_is_one_asset_an_arrow_partitioned_by_week_only() -> None:
    graph = defs.resolve_asset_graph()
    names = {key.to_user_string() for key in graph.get_all_asset_keys()}
    assert names == {
        "exports",
        "verdicts",
        "spans",
        "daily",
        "savings",
        "schedule",
        "efficiency",
        "findings",
        "proposals",
        "review",
    }
    for name in names - {"exports"}:
        assert graph.get(dg.AssetKey(name)).partitions_def.name == "iso_week"
    assert graph.get(dg.AssetKey("exports")).partitions_def is None
    checks = {(key.asset_key.to_user_string(), key.name) for key in graph.asset_check_keys}
    assert checks == {
        ("exports", "conservation"),
        ("exports", "file_profile"),
        ("daily", "site_days"),
        ("daily", "daily"),
        ("savings", "savings"),
    }


def test_the_command_lines_runs_show_in_the_instance(reviewed, monkeypatch: pytest.MonkeyPatch) -> None:
    folder: Path = reviewed[0]
    prepare_home(Workspace(folder))
    with dg.DagsterInstance.get() as instance:
        assert set(instance.get_dynamic_partitions("iso_week")) == {"2026-W44", "2026-W45"}
        assert len(instance.get_runs()) == 3
        assert not instance.telemetry_enabled
        for name in (
            "verdicts",
            "spans",
            "daily",
            "savings",
            "schedule",
            "efficiency",
            "findings",
            "proposals",
            "review",
        ):
            event = instance.get_latest_materialization_event(dg.AssetKey(name))
            metadata = event.asset_materialization.metadata
            assert metadata["dagster/row_count"].value > 0
            assert any("data:image/svg+xml" in str(value.value) for value in metadata.values())


def test_sensors_and_schedule_ask_for_runs(reviewed, monkeypatch: pytest.MonkeyPatch) -> None:
    folder: Path = reviewed[0]
    monkeypatch.setenv(FOLDER_VARIABLE, str(folder))
    with dg.DagsterInstance.ephemeral() as instance:
        first = inbox_sensor(dg.build_sensor_context(instance=instance))
        assert len(first.run_requests) == 1
        assert inbox_sensor(dg.build_sensor_context(instance=instance, cursor=first.cursor)).skip_reason is not None
        assert stale_week_sensor(dg.build_sensor_context(instance=instance)).skip_reason is not None
        (folder / "reports" / "2026-W44" / "index.html").rename(folder / "reports" / "2026-W44" / "gone.html")
        stale = stale_week_sensor(dg.build_sensor_context(instance=instance))
        (folder / "reports" / "2026-W44" / "gone.html").rename(folder / "reports" / "2026-W44" / "index.html")
        assert [request.partition_key for request in stale.run_requests] == ["2026-W44"]
        assert isinstance(
            monday_morning(
                dg.build_schedule_context(instance=instance, scheduled_execution_time=datetime(2026, 11, 9, 6))
            ),
            dg.RunRequest,
        )


def test_a_fleet_can_be_swapped_in(reviewed) -> None:
    swapped = build_definitions(Fleet(Session(reviewed[0])))
    assert isinstance(swapped.resources["fleet"], Fleet)


def test_a_review_is_up_to_date_whoever_asks(tmp_path: Path) -> None:
    """A file that cannot be read stands in the newest review; the sensor, which took no export, must see the same."""
    folder = write_fleet(tmp_path, {"inbox/meter_1.csv": two_days(), "inbox/other_1.csv": "a,b\n1,2\n"})
    outcome = run_review(folder)
    assert outcome.built == ["2026-W44"] and outcome.set_aside
    assert Session(folder).stale_weeks() == []
    assert "other_1.csv" in (folder / "reports" / "2026-W44" / "index.html").read_text(encoding="utf-8")
    other = Session(folder)
    write_whole(other.report("2026-W44"), b"")
    with dg.DagsterInstance.ephemeral() as instance:
        instance.add_dynamic_partitions(WEEKS.name, ["2026-W44"])
        chosen = dg.AssetSelection.assets(*WEEK_ASSETS)
        resources = {"fleet": Fleet(other)}
        dg.materialize(
            [exports, *WEEK_ASSETS], selection=chosen, instance=instance, resources=resources, partition_key="2026-W44"
        )
    assert "other_1.csv" in other.report("2026-W44").read_text(encoding="utf-8")
    assert run_review(folder).built == []
