"""The fleet folder as a Dagster resource: a session under the fleet's lock.

Belongs here: how an asset gets at its fleet. The command line hands its own session in; the UI makes one per run from
``PUMPLEDGER_FLEET``.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import dagster as dg

from pumpledger.engine.disk import DiskGuard
from pumpledger.orchestration.session import Session
from pumpledger.problems import FleetError, Problem

FOLDER_VARIABLE = "PUMPLEDGER_FLEET"


class Fleet:
    """One fleet folder for the length of a run."""

    def __init__(self, session: Session) -> None:
        self._session = session

    @contextmanager
    def locked(self) -> Iterator[Session]:
        """The session, while no other run touches the folder; waits for one that does."""
        workspace = self._session.workspace
        with DiskGuard(workspace.folder), workspace.lock(wait=True):
            yield self._session


def folder_from_environment() -> Path:
    """The fleet folder that `pumpledger ui` set.

    Raises:
        FleetError: the variable is not set.
    """
    folder = os.environ.get(FOLDER_VARIABLE)
    if not folder:
        raise FleetError(
            Problem("fleet_not_named", f"set {FOLDER_VARIABLE} to a fleet folder, or start with `pumpledger ui FLEET`")
        )
    return Path(folder)


@dg.resource(description="The fleet folder named by PUMPLEDGER_FLEET")
def fleet_from_environment(_: dg.InitResourceContext) -> Fleet:
    return Fleet(Session(folder_from_environment()))
