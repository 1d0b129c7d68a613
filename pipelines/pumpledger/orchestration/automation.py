"""What starts runs without a person: a sensor on the inbox, a sensor on weeks that are out of date, a weekly schedule.

Belongs here: when. What runs are the assets.
"""

from __future__ import annotations

import hashlib

import dagster as dg

from pumpledger.orchestration.assets import WEEK_ASSETS, WEEKS, exports
from pumpledger.orchestration.resource import folder_from_environment
from pumpledger.orchestration.session import Session

take_exports = dg.define_asset_job(
    "take_exports", selection=dg.AssetSelection.assets(exports), executor_def=dg.in_process_executor
)
review_week = dg.define_asset_job(
    "review_week",
    selection=dg.AssetSelection.assets(*WEEK_ASSETS),
    partitions_def=WEEKS,
    executor_def=dg.in_process_executor,
)


@dg.sensor(job=take_exports, minimum_interval_seconds=60, default_status=dg.DefaultSensorStatus.RUNNING)
def inbox_sensor(context: dg.SensorEvaluationContext) -> dg.SensorResult:
    """A run when a file of the inbox is new or has changed."""
    files = Session(folder_from_environment()).workspace.inbox_files()
    state = hashlib.sha256(
        "\n".join(f"{path.name} {path.stat().st_size} {path.stat().st_mtime_ns}" for path in files).encode()
    ).hexdigest()
    if state == context.cursor:
        return dg.SensorResult(skip_reason="nothing new in the inbox")
    return dg.SensorResult(run_requests=[dg.RunRequest(run_key=state)], cursor=state)


@dg.sensor(job=review_week, minimum_interval_seconds=60, default_status=dg.DefaultSensorStatus.RUNNING)
def stale_week_sensor(context: dg.SensorEvaluationContext) -> dg.SensorResult:
    """A run for each week whose readings, register or rules have changed since its review."""
    session = Session(folder_from_environment())
    stale = session.stale_weeks()
    if not stale:
        return dg.SensorResult(skip_reason="every review is up to date")
    return dg.SensorResult(
        run_requests=[
            dg.RunRequest(partition_key=week, run_key=f"{week} {session.fingerprint(week)}") for week in stale
        ],
        dynamic_partitions_requests=[WEEKS.build_add_request(stale)],
    )


@dg.schedule(cron_schedule="0 6 * * MON", job=take_exports, default_status=dg.DefaultScheduleStatus.RUNNING)
def monday_morning(context: dg.ScheduleEvaluationContext) -> dg.RunRequest:
    """Monday at six: whatever lies in the inbox is taken; the sensor on weeks then builds what has changed."""
    return dg.RunRequest(run_key=context.scheduled_execution_time.isoformat())
