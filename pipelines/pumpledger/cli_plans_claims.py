"""Commands about plans to key in and claims to file; `cli.py` holds the others and takes these in.

Belongs here: options, printing and exit status of these commands, which import what they need when they run.
"""

from __future__ import annotations

import sys
from datetime import datetime
from pathlib import Path

import click

from pumpledger.problems import printable

FLEET = click.argument("fleet", type=click.Path(path_type=Path))


@click.command()
@FLEET
@click.option("--pump", required=True, metavar="P", help="The pump, as in pumps.csv.")
@click.option(
    "--from", "from_day", metavar="YYYY-MM-DD", help="Local day from which it holds; default: since it runs so."
)
def adopt(fleet: Path, pump: str, from_day: str | None) -> None:
    """Put on record what a pump runs: the rows that the newest reviewed days show are added to plans.csv of FLEET."""
    from pumpledger.orchestration.adopting import adopt_plan

    for line in adopt_plan(fleet, pump, from_day):
        click.echo(printable(line))


@click.command()
@FLEET
@click.option("--site", metavar="S", help="This site alone, as in sites.csv. Default: every site.")
@click.option("--turnovers", type=click.FloatRange(0, 20, min_open=True), help="Ask for so many a day instead.")
@click.option("--tariff", metavar="NAME", help="By this tariff of tariffs/ instead.")
@click.option(
    "--quiet", metavar="HH:MM-HH:MM[@RPM]", multiple=True, help="Off, or at most so fast. May be given again."
)
@click.option("--load-hours", "load", metavar="HH:MM-HH:MM", help="When the load runs.")
@click.option("--pause", type=click.FloatRange(0.25, 24), help="Longest pause in hours.")
@click.option("--place", metavar="NAME", help="By the published rules of this place as well.")
@click.option("--periods", type=click.IntRange(1, 3), help="At most so many periods.")
@click.option("--page", type=click.Path(dir_okay=False, path_type=Path), help="Also write cards and pictures here.")
@click.option("--adopt", metavar="YYYY-MM-DD", help="It was keyed in on this local day: put it on record.")
@click.option("--by", default="", metavar="NAME", help="Who keyed it in.")
def propose(fleet: Path, page: Path | None, adopt: str | None, by: str, **asked: object) -> None:
    """The cheapest plan of each pump that keeps to everything asked, with its proof, after FLEET's newest review."""
    from pumpledger.orchestration.what_if import Asked, Proposing

    proposing = Proposing(fleet, Asked(**asked))  # type: ignore[arg-type]
    offers = []
    for offer in proposing.offers():
        offers.append(offer)
        for line in proposing.lines(offer):
            click.echo(printable(line))
    if adopt is not None:
        for line in proposing.adopt(offers, adopt, by):
            click.echo(printable(line))
    else:
        click.echo("A suggestion until it is checked at the pad; local codes and licensed practice decide.")
    if page is not None:
        proposing.write_page(page, offers)
        click.echo(f"Cards: {page}")


@click.command()
@FLEET
@click.option(
    "--programme", default="", metavar="P", help="Utility programme: programmes/P.toml of FLEET, or a shipped one."
)
@click.option("--site", "sites", multiple=True, metavar="S", help="Site to claim for. May be given again.")
@click.option("--all", "every", is_flag=True, help="Every site of the register.")
@click.option("--from", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="First local day.")
@click.option("--to", "last", type=click.DateTime(["%Y-%m-%d"]), metavar="YYYY-MM-DD", help="Last local day.")
@click.option("--prepared-by", default="", metavar="NAME", help="Who prepares the claim; printed on its cover alone.")
@click.option("--reviewed-by", default="", metavar="NAME", help="Who reviews it; another person.")
@click.option("--redacted", is_flag=True, help="A variant without names and exports beside each packet.")
@click.option("--withdraw", metavar="ID", help="The claim is not sent: its days may be claimed by another.")
def claim(fleet: Path, programme: str, sites: tuple[str, ...], every: bool, first: datetime | None,
          last: datetime | None, prepared_by: str, reviewed_by: str, redacted: bool, withdraw: str | None) -> None:  # fmt: skip
    """Make the claim of a site of FLEET for a utility's programme, from reviewed weeks: the list of what a reviewer asks
    for, the totals, and the tables behind them in FLEET/reports/claims."""
    from pumpledger.orchestration.claiming import Asked, make_claims, withdraw_claim

    if withdraw is not None:
        line = withdraw_claim(fleet, withdraw)
        click.echo(printable(f"{line.claim_id} withdrawn ({line.site_id}, {line.first_day} to {line.last_day})"))
        return
    if first is None or last is None:
        raise click.UsageError("--from and --to say which local days are claimed")
    if every == bool(sites):
        raise click.UsageError("name sites with --site, or take all with --all")
    asked = Asked(first.date(), last.date(), sites, programme, prepared_by, reviewed_by)
    with click.progressbar(length=100, label="Writing packets", file=sys.stderr, hidden=not sys.stderr.isatty()) as bar:
        lines = list(make_claims(fleet, asked, redacted, lambda share: bar.update(round(100 * share) - bar.pos)))
    for text in lines:
        click.echo(printable(text))


@click.command()
@click.argument("packet", type=click.Path(exists=True, file_okay=False, path_type=Path))
def verify(packet: Path) -> None:
    """Check a claim's PACKET: every file by its manifest, every figure by working it out anew from the packet's own
    exports, to the watt-hour."""
    from pumpledger.orchestration.verifying import run_verify

    verified = run_verify(packet)
    for line in (*verified.said, *verified.differing, f"The packet {'holds' if verified.holds else 'does NOT hold'}."):
        click.echo(printable(line))
    sys.exit(0 if verified.holds else 1)


COMMANDS = (adopt, propose, claim, verify)
