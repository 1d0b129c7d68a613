"""The one `Definitions` object: the UI, the command line and the tests use it, with the fleet swapped."""

from __future__ import annotations

import dagster as dg

from pumpledger.orchestration.assets import WEEK_ASSETS, exports
from pumpledger.orchestration.automation import (
    inbox_sensor,
    monday_morning,
    review_week,
    stale_week_sensor,
    take_exports,
)
from pumpledger.orchestration.resource import Fleet, fleet_from_environment


def build_definitions(fleet: Fleet | dg.ResourceDefinition = fleet_from_environment) -> dg.Definitions:
    """All assets, checks, jobs, sensors and the schedule, on ``fleet``."""
    return dg.Definitions(
        assets=[exports, *WEEK_ASSETS],
        jobs=[take_exports, review_week],
        sensors=[inbox_sensor, stale_week_sensor],
        schedules=[monday_morning],
        resources={"fleet": fleet},
        executor=dg.in_process_executor,
    )


defs = build_definitions()
