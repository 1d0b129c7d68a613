"""The command line. Commands import what they need when they run, so that ``--help`` answers at once.

Belongs here: options, printing, exit status: 0 all ran, 1 a whole file or site was set aside, 2 the fleet cannot run.
"""

from __future__ import annotations

import gc
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from pumpledger.cli_plans_claims import COMMANDS, FLEET
from pumpledger.problems import FleetError, Problem, printable

if TYPE_CHECKING:
    from pumpledger.intake.progress import Progress

_WORTH_A_BAR = 20_000_000
"""Less than this is read before a bar could be looked at [bytes]."""

_OBJECTS_BETWEEN_LOOKS = 200_000
"""Imports and pages make millions of objects that stay; looking them all through every 700 takes a second of a run."""


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(package_name="pumpledger")
def commands() -> None:
    """What the pumps of a fleet of pools really did, week by week: turnover, kWh, savings, and which sites need
    someone."""


@commands.command()
@FLEET
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
    with _bar() as progress:
        outcome = run_review(fleet, week, progress)
    _echo_problems(outcome.problems)
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
@FLEET
@click.option(
    "--csv",
    type=click.Path(dir_okay=False, path_type=Path),
    help="Write every row that would be refused to this file, outside of FLEET.",
)
def check(fleet: Path, csv: Path | None) -> None:
    """Say what a review of FLEET would find in its register and new exports. Writes nothing into FLEET."""
    from pumpledger.orchestration.check import check_lines, run_check

    if csv is not None and csv.resolve().is_relative_to(fleet.resolve()):
        raise click.BadParameter("a check writes nothing into the fleet; name a file elsewhere", param_hint="--csv")
    if csv is not None and not csv.resolve().parent.is_dir():
        raise click.BadParameter(f"there is no folder {csv.parent}", param_hint="--csv")
    with _bar() as progress:
        checked = run_check(fleet, csv, progress)
    _echo_problems(checked.problems)
    for line in check_lines(checked, fleet):
        click.echo(printable(line))
    if csv is not None:
        click.echo(f"Refused rows, {checked.written:,}: {csv}")
    sys.exit(1 if checked.set_aside else 0)


@commands.command()
@click.argument("folder", type=click.Path(path_type=Path))
@click.option("--sites", default=28, show_default=True, type=click.IntRange(24, 5000), help="Number of sites.")
@click.option("--weeks", default=2, show_default=True, type=click.IntRange(1, 60), help="Number of ISO weeks.")
@click.option("--seed", default=7, show_default=True, type=int, help="The same seed gives the same bytes.")
@click.option("--stated-errors", is_flag=True, help="Meters and records err as much as the review says they may.")
@click.option(
    "--faults",
    default="block",
    show_default=True,
    type=click.Choice(["block", "all"]),
    help="block: the 28 kinds of site of the demo, again and again; all: every fault it knows, hard to see, two or "
    "three at a site, and healthy sites that look ill.",
)
def demo(folder: Path, sites: int, weeks: int, seed: int, stated_errors: bool, faults: str) -> None:
    """Write a made-up fleet folder to FOLDER, with the truth about it in FOLDER/truth."""
    from pumpledger.simulator.fleet import LEAST_HARD_WEEKS, make_fleet

    if faults == "all" and weeks < LEAST_HARD_WEEKS:
        raise click.BadParameter(f"all faults need at least {LEAST_HARD_WEEKS} weeks", param_hint="--weeks")
    if folder.exists() and any(folder.iterdir()):
        raise click.ClickException(f"{folder} is not empty; name a new folder")
    make_fleet(folder, sites, weeks, seed, stated_errors, faults)
    click.echo(f"Made-up fleet of {sites} sites over {weeks} weeks: {folder}\nNext: pumpledger review {folder}")


@commands.command()
@click.argument("fleets", nargs=-1, required=True, metavar="FLEET...", type=click.Path(path_type=Path))
def score(fleets: tuple[Path, ...]) -> None:
    """Hold the reviewed weeks of made-up FLEETs against their truth: how often intervals hold it, and, over all of
    them, how well each fault is found."""
    from pumpledger.scoring.evidence import read_evidence
    from pumpledger.scoring.lines import score_lines
    from pumpledger.scoring.mode_lines import mode_lines
    from pumpledger.scoring.score import score_fleet

    for fleet in fleets:
        for line in score_lines(score_fleet(fleet)):
            click.echo(printable(line))
    for line in mode_lines(read_evidence([*fleets])):
        click.echo(printable(line))


@commands.command()
def fields() -> None:
    """Print every field of the register's files: column, unit, meaning, whether it is needed."""
    from pumpledger.register.field_guide import guide

    click.echo(guide(), nl=False)


@commands.command()
@click.argument("files", nargs=-1, required=True, metavar="FILE...", type=click.Path(path_type=Path))
@click.option("--fleet", type=click.Path(path_type=Path), help="Look for the register's codes in the files, too.")
@click.option("--write", metavar="NAME", help="Also write the proposal to dialects/NAME.toml of --fleet.")
def dialect(files: tuple[Path, ...], fleet: Path | None, write: str | None) -> None:
    """Read exports FILE... of one unknown shape and propose a dialect for them, each line with its evidence."""
    from pumpledger.intake.unreadable import Unreadable
    from pumpledger.proposal.claim import NoProposal
    from pumpledger.proposal.known_codes import codes_of
    from pumpledger.proposal.propose import propose
    from pumpledger.proposal.render import render
    from pumpledger.proposal.write import source_text, write_dialect

    if write is not None and fleet is None:
        raise click.UsageError("--write needs --fleet, the fleet folder to write to")
    try:
        proposal = propose(list(files), codes_of(fleet))
    except (NoProposal, Unreadable) as error:
        click.echo(f"no proposal: {error.problem}", err=True)
        sys.exit(1)
    click.echo(render(proposal), nl=False)
    if write is not None and fleet is not None:
        path = write_dialect(proposal, write, fleet)
        left = f"; {len(proposal.asked)} lines are to be filled in before it reads anything" if proposal.asked else ""
        click.echo(
            f"\nWritten to {path}{left}. Add to fleet.toml:\n\n{source_text(proposal, write)}", nl=False, err=True
        )


@commands.command()
@FLEET
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


@commands.command()
@FLEET
@click.argument("sha")
@click.option("--restore", is_flag=True, help="Let the next review read a withdrawn export again.")
def withdraw(fleet: Path, sha: str, restore: bool) -> None:
    """Take an export out of FLEET's readings again: SHA is its SHA-256, or the first digits of it."""
    from pumpledger.orchestration.withdrawing import restore_export, withdraw_export

    for line in restore_export(fleet, sha) if restore else withdraw_export(fleet, sha):
        click.echo(printable(line))


@contextmanager
def _bar() -> Iterator[Progress]:
    """A bar of the bytes read, drawn once there are enough of them to wait for; none where nobody watches."""
    from pumpledger.intake.progress import Progress

    if not sys.stderr.isatty():
        yield Progress()
        return
    with click.progressbar(length=1, label="Reading exports", file=sys.stderr) as bar:

        class Bar(Progress):
            def changed(self) -> None:
                if self.total >= _WORTH_A_BAR:
                    bar.length = max(1, self.total)
                    bar.update(max(0, self.done - bar.pos))

        yield Bar()


def _echo_problems(problems: list[Problem]) -> None:
    for problem in problems:
        mark = "set aside" if problem.severity == "disqualifies" else "note"
        click.echo(printable(f"{mark}: {problem}"), err=True)


@commands.command()
@click.argument("fleet", type=click.Path(path_type=Path), required=False)
def rules(fleet: Path | None) -> None:
    """List what the review looks for, what each rule needs, and its thresholds: the defaults, or those of FLEET."""
    from pumpledger.orchestration.thresholds import listed, thresholds
    from pumpledger.register.load import load_register

    for line in listed(thresholds(load_register(fleet).fleet.rules if fleet else {})):
        click.echo(line)


@commands.command()
@FLEET
@click.option("--confirm", metavar="ID", multiple=True, help="It is so: correct the readings. May be given again.")
@click.option("--refuse", metavar="ID", multiple=True, help="The readings are right. May be given again.")
@click.option("--by", metavar="NAME", help="Who decides; needed with --confirm and --refuse.")
@click.option("--note", metavar="TEXT", default="", help="Why.")
def verdict(fleet: Path, confirm: tuple[str, ...], refuse: tuple[str, ...], by: str | None, note: str) -> None:
    """List the doubts about sources and pumps' logs of FLEET, or decide on them once and for all."""
    from datetime import UTC, datetime

    from pumpledger.engine.lake import Lake
    from pumpledger.problems import FleetError, Problem
    from pumpledger.register.csv_log import plain
    from pumpledger.verdicts.listing import decision_lines, list_verdicts
    from pumpledger.verdicts.store import add_decisions, read_decisions
    from pumpledger.workspace import Workspace

    workspace = Workspace(fleet)
    if not (fleet / "fleet.toml").is_file():
        raise FleetError(Problem("fleet_missing", f"there is no fleet folder at {fleet}", file="fleet.toml"))
    lake = Lake(workspace.lake)
    if confirm or refuse:
        if not plain(by or ""):
            raise click.UsageError("--by NAME says who decides")
        with workspace.lock():
            known = list_verdicts(lake, read_decisions(fleet))
            lines = decision_lines(known, [*confirm], [*refuse], by or "", datetime.now(UTC).date(), note)
            add_decisions(fleet, lines)
        for line in lines:
            what = f": {line.remedy}" if line.remedy and line.decision == "confirmed" else ""
            click.echo(plain(f"{line.verdict_id} {line.decision}{what} ({line.source} {line.pump_id})"))
        click.echo("The next review takes it into account and reads again what it must.")
        return
    listed = list_verdicts(lake, read_decisions(fleet))
    if not listed:
        click.echo("There is no doubt about any source.")
    for item in listed:
        holds_back = ", its numbers are held back" if item.blocks else ""
        click.echo(plain(f"{item.verdict_id} {item.state} {item.mode} {item.where}{holds_back}"))
        for text in (item.sentence, item.evidence, item.remedy and f"remedy: {item.remedy}", item.decided):
            if text:
                click.echo(f"    {plain(text)}")
    if any(item.state == "open" for item in listed):
        click.echo(f"Decide once: pumpledger verdict {fleet} --confirm ID --by NAME, or --refuse ID --by NAME")


@commands.command()
@FLEET
@click.argument("actions", nargs=-1, metavar="[ID]...")
@click.option("--acknowledge", "event", flag_value="acknowledged", help="Someone has it.")
@click.option("--shelve", metavar="YYYY-MM-DD", help="Put it off until this day; needs --reason.")
@click.option("--fixed", metavar="YYYY-MM-DD", help="Done on site on this day; the readings must show it.")
@click.option("--reject", "event", flag_value="rejected", help="Nothing was wrong; needs --reason.")
@click.option("--reopen", "event", flag_value="reopened", help="As if nothing had been said.")
@click.option("--by", metavar="NAME", help="Who says so; needed with any of these.")
@click.option("--reason", default="", metavar="TEXT", help="Why.")
@click.option("--csv", "table", type=click.Path(path_type=Path, exists=True, dir_okay=False), metavar="FILE",
              help="Take all this from actions.csv of a review, its last columns filled in.")  # fmt: skip
def action(fleet: Path, actions: tuple[str, ...], event: str | None, shelve: str | None, fixed: str | None,
           by: str | None, reason: str, table: Path | None) -> None:  # fmt: skip
    """List the actions of FLEET's newest review and where each stands, or say what has become of them."""
    from pumpledger.orchestration.following import listed, say, words_of

    if table is None and not actions:
        if event or shelve or fixed:
            raise click.UsageError("name the actions by their IDs; `pumpledger action FLEET` lists them")
        for line in listed(fleet):
            click.echo(printable(line))
        return
    for line in say(fleet, words_of(actions, event, shelve, fixed, by, reason), table):
        click.echo(printable(line))
    click.echo("The next review takes it into account.")


for _command in COMMANDS:
    commands.add_command(_command)


def main() -> None:
    """Entry point: what a user can mend comes as a message, never as a traceback."""
    gc.set_threshold(_OBJECTS_BETWEEN_LOOKS)
    try:
        commands()
    except FleetError as error:
        for problem in error.problems:
            click.echo(printable(f"cannot run: {problem}"), err=True)
        sys.exit(2)
