"""The command line. Commands import what they need when they run, so that ``--help`` answers at once.

Belongs here: options, printing, exit status: 0 all ran, 1 a whole file or site was set aside, 2 the fleet cannot run.
"""

from __future__ import annotations

import sys
from pathlib import Path

import click

_FLEET = click.argument("fleet", type=click.Path(path_type=Path))


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pumpledger")
def commands() -> None:
    """What the pumps of a fleet of pools really did, week by week: turnover, kWh, savings, and which sites need
    someone."""


@commands.command()
@_FLEET
@click.option(
    "--week",
    metavar="YYYY-Www",
    help="Build this ISO week alone, such as 2026-W45. Default: every week that is out of date.",
)
def review(fleet: Path, week: str | None) -> None:
    """Take every export in FLEET/inbox and write the weekly review to FLEET/reports."""
    from pumpledger.orchestration.run import run_review
    from pumpledger.profile.calendar import week_days

    if week is not None:
        try:
            week_days(week)
        except ValueError:
            raise click.BadParameter(f"{week!r} is not an ISO week such as 2026-W45", param_hint="--week") from None
    outcome = run_review(fleet, week)
    for problem in outcome.problems:
        mark = "set aside" if problem.severity == "disqualifies" else "note"
        click.echo(f"{mark}: {problem}", err=True)
    sums = outcome.sums
    fates = " + ".join(f"{sums[fate]:,} {fate}" for fate in ("readings", "duplicates", "quarantine", "rejects"))
    click.echo(f"Rows: {sums['data_rows']:,} = {fates}")
    if not outcome.taken and not outcome.built:
        click.echo("Nothing new: no export, register entry or rule has changed since the last run; no work was done.")
    else:
        click.echo(f"Taken {len(outcome.taken)} files; built {', '.join(outcome.built) or 'no week'}.")
    for name in outcome.waiting:
        click.echo(
            f"Week {name} holds less than a day of readings and waits for more; --week {name} builds it all the same."
        )
    if outcome.page is None:
        click.echo("There is no week to review yet: put exports in inbox/ (README, 'The fleet folder').")
    else:
        click.echo(f"Review of {outcome.week}: {outcome.page}")
        for line in outcome.summary:
            click.echo(line)
    sys.exit(1 if outcome.set_aside else 0)


@commands.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--sites", default=28, show_default=True, type=click.IntRange(24, 5000), help="Number of sites.")
@click.option("--weeks", default=2, show_default=True, type=click.IntRange(2, 60), help="Number of ISO weeks.")
@click.option("--seed", default=7, show_default=True, type=int, help="The same seed gives the same bytes.")
def demo(folder: Path, sites: int, weeks: int, seed: int) -> None:
    """Write a made-up fleet folder to FOLDER, with the truth about it in FOLDER/truth."""
    from pumpledger.simulator.fleet import make_fleet

    if folder.exists() and any(folder.iterdir()):
        raise click.ClickException(f"{folder} is not empty; name a new folder")
    make_fleet(folder, sites, weeks, seed)
    click.echo(f"Made-up fleet of {sites} sites over {weeks} weeks: {folder}\nNext: pumpledger review {folder}")


@commands.command()
def fields() -> None:
    """Print every field of the register's files: column, unit, meaning, whether it is needed."""
    from pumpledger.register.field_guide import guide

    click.echo(guide(), nl=False)


@commands.command()
@_FLEET
@click.option("--port", default=3000, show_default=True, type=click.IntRange(1, 65535), help="Port on this machine.")
def ui(fleet: Path, port: int) -> None:
    """Open the assets of FLEET in the Dagster UI, with the sensor on its inbox and the weekly schedule."""
    import os

    from pumpledger.orchestration.resource import FOLDER_VARIABLE
    from pumpledger.orchestration.run import prepare_home
    from pumpledger.register.load import load_register
    from pumpledger.workspace import Workspace

    load_register(fleet)
    prepare_home(Workspace(fleet))
    os.environ[FOLDER_VARIABLE] = str(fleet.resolve())
    program = str(Path(sys.executable).with_name("dagster"))
    os.execv(
        program, [program, "dev", "-m", "pumpledger.orchestration.definitions", "-h", "127.0.0.1", "-p", str(port)]
    )


def main() -> None:
    """Entry point: what a user can mend comes as a message, never as a traceback."""
    from pumpledger.problems import FleetError

    try:
        commands()
    except FleetError as error:
        for problem in error.problems:
            click.echo(f"cannot run: {problem}", err=True)
        sys.exit(2)
