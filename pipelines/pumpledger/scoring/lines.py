"""The score in plain lines for the terminal.

Belongs here: words and rounding. The numbers come from `score.py`.
"""

from __future__ import annotations

from pumpledger.scoring.coverage import AIM_HI, AIM_LO, Coverage, Off
from pumpledger.scoring.score import ENERGY_AIM, VOLUME_AIM, Score, Total

_MOST_NAMED = 12


def score_lines(score: Score) -> list[str]:
    """What `pumpledger score` prints."""
    aim = f"aim {AIM_LO:.0%} to {AIM_HI:.0%}; in brackets what chance alone moves"
    easy = "its meters and records hardly err, so that nearly all must; demo --stated-errors puts it to the test"
    lines = [
        f"Made-up fleet of {score.sites:,} sites, weeks {', '.join(score.weeks)}, against its truth.",
        f"{score.pump_days:,} pump-days, of which {score.believed_days:,} believed; "
        f"{score.counted_days:,} site-days counted in savings.",
        f"The 90 % interval of a day holds the truth ({aim if score.erring else easy}):",
        _held("volume", score.volume, "pumps", score.erring),
        *(_held(f"  by {name}", part, "pumps") for name, part in score.volume_by_source.items()),
        _held("savings at equal volume", score.equal, "sites", score.erring),
        _held("savings, raw", score.raw, "sites", score.erring),
        _held("energy", score.energy, "pumps", score.erring),
        *(_held(f"  by {name}", part, "pumps") for name, part in score.energy_by_source.items()),
        "The fleet's sums of a week, each one number that nine of ten should hold:",
        *(_total(total) for total in score.totals),
        "How far the middle value lies off on a believed day:",
        _off("kWh where power is logged, against the same meter without a hole", score.logged_scale, ENERGY_AIM),
        _off("  of these, days without an unknown minute", score.logged_whole, ENERGY_AIM),
        _off("  and against the truth, so that the meter's own error counts", score.logged_truth, ENERGY_AIM),
        _off("volume where a commissioned point exists", score.commissioned, VOLUME_AIM),
        f"Findings: {score.faults - len(score.missed):,} of {score.faults:,} seeded faults found; "
        f"{len(score.false):,} findings at sites without one.",
    ]
    if score.missed:
        lines.append(f"  missed: {_named(score.missed)}")
    if score.false:
        lines.append(f"  false: {_named(score.false)}")
    return lines


def _held(name: str, held: Coverage | None, units: str, judged: bool = False) -> str:
    if held is None:
        return f"  {name}: no day to compare"
    where = f", {'within' if AIM_LO <= held.share <= AIM_HI else 'outside'} the aim" if judged else ""
    below = held.days - held.inside - held.above
    return (
        f"  {name}: {held.share:.1%} of {held.days:,} days at {held.units:,} {units} "
        f"(+-{held.chance:.1%}){where}; truth below {below:,}, above {held.above:,}; "
        f"middle off by {held.mean_off:+.2%} on the mean"
    )


def _total(total: Total) -> str:
    held = "holds" if total.held else "misses"
    return (
        f"  {total.week} {total.quantity}: {total.lo_kwh:,.0f} to {total.hi_kwh:,.0f} kWh {held} the truth of "
        f"{total.true_kwh:,.0f}"
    )


def _off(name: str, off: Off | None, limit: float) -> str:
    if off is None:
        return f"  {name}: no day to compare"
    return (
        f"  {name}: median {off.median:.2%}, {off.within:.1%} of {off.days:,} days within {limit:.1%}, "
        f"largest {off.largest:.2%} ({off.where})"
    )


def _named(names: tuple[str, ...]) -> str:
    more = f" and {len(names) - _MOST_NAMED:,} more" if len(names) > _MOST_NAMED else ""
    return ", ".join(names[:_MOST_NAMED]) + more
