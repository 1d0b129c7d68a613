"""Whether 3/5 is the third of May or the fifth of March, told by parts above 12 and by even steps, never by luck.

Belongs here: the choice among formats that all read a column. Which formats those are is `stamps.py`.
"""

from __future__ import annotations

from datetime import datetime, timedelta
from itertools import pairwise

from pumpledger.proposal.claim import Claim, Sureness
from pumpledger.proposal.stamps import TimeFormat, formats_of

_LEAP = timedelta(days=20)
"""Between two rows of one pump: a step beyond this is what a wrong order of day and month makes of the next day."""

_FEW = 2
"""So many days must speak for one order before it is sure."""


def decide(
    texts: list[str], formats: dict[TimeFormat, int], series: list[list[int]]
) -> tuple[TimeFormat | None, Claim]:
    """The format of ``texts`` and the claim on ``time.format``.

    Where it has to be asked because every order leaves the same steps, one of them is given all the same, to count
    steps by; ``None`` where not even that can be done.

    ``formats`` read nearly all of ``texts``, with the number that each fails to read; ``series`` are the rows of each
    pump in file order.
    """
    if len(formats) == 1:
        ((only, faults),) = formats.items()
        sureness: Sureness = "sure" if not only.order or _proved_by(only, texts) >= _FEW else "likely"
        return only, Claim("time.format", only.text, sureness, _proof(only, texts, faults))
    fewest = min(formats.values())
    best = [form for form, faults in formats.items() if faults == fewest]
    if len(best) == 1:
        failed = {text for text in texts for form in formats if form not in best and form.read(text) is None}
        told = f"{len(failed)} stamps such as {min(failed)!r} fit no other order"
        return best[0], Claim("time.format", best[0].text, "sure" if len(failed) >= _FEW else "likely", told)
    if not any(form.order for form in best):  # a month's name that is short and long at once: May
        return best[0], Claim("time.format", best[0].text, "likely", "%b or %B: every month in the sample is May")
    return _by_steps(texts, best, series)


def _proved_by(form: TimeFormat, texts: list[str]) -> int:
    """The number of different stamps that no other order of day, month and year reads."""
    return sum(
        form.read(text) is not None and all(other == form or other.read(text) is None for other in formats_of(text))
        for text in set(texts)
    )


def _proof(form: TimeFormat, texts: list[str], faults: int) -> str:
    unread = f"; {faults} cells are no stamp of this form" if faults else ""
    if form.text.startswith("epoch"):
        return f"whole numbers that count {'milli' if form.text == 'epoch_ms' else ''}seconds since 1970{unread}"
    day_first = {"dmY": "the first part", "dmy": "the first part", "mdY": "the second part", "mdy": "the second part"}
    part = day_first.get(form.order)
    above = f": {part} passes 12" if part else ""
    return f"reads {texts[0]!r} and all others{above}{unread}"


def _by_steps(texts: list[str], best: list[TimeFormat], series: list[list[int]]) -> tuple[TimeFormat | None, Claim]:
    """Reads the rows in each order: the right one goes on evenly past midnight, a wrong one leaps by a month."""
    read = {form: {text: form.read(text) for text in set(texts)} for form in best}
    leaps, days = {}, {}
    for form in best:
        steps = _steps_over_days([[read[form][texts[row]] for row in rows] for rows in series])
        leaps[form] = sum(abs(step) > _LEAP for step in steps)
        days[form] = len(steps)
    least = min(leaps.values())
    even = [form for form in best if leaps[form] == least]
    both = " or ".join(f'"{form.text}"' for form in best)
    if len(even) > 1:
        days_seen = sorted({text.split()[0] for text in texts})
        shown = ", ".join(days_seen[:3])
        return None if least else even[0], Claim(
            "time.format", None, "cannot tell", f"{both}: {shown} read as days in more than one order"
        )
    form = even[0]
    other = max(leaps[rival] for rival in best if rival != form)
    if least and other < 5 * least:
        return None, Claim("time.format", None, "cannot tell", f"{both}: the times leap in every order")
    sureness: Sureness = "sure" if least == 0 and days[form] >= _FEW else "likely"
    told = f"read so, {days[form]} changes of day follow evenly; read otherwise, {other} of them leap by weeks"
    return form, Claim("time.format", form.text, sureness, told)


def _steps_over_days(series: list[list[datetime | None]]) -> list[timedelta]:
    """Steps between neighbouring rows of one pump that lie on different days."""
    steps = []
    for times in series:
        known = [time for time in times if time is not None]
        steps += [after - before for before, after in pairwise(known) if after.date() != before.date()]
    return steps
