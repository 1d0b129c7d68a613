"""A proposal in words, the same on the keying card, on a site's page and in the terminal.

Belongs here: phrases made of a row of the table ``proposals``. Layout does not belong here.
"""

from __future__ import annotations

from pumpledger.reports import wording
from pumpledger.reports.wording import NO_BREAK

Row = dict[str, object]


def cost_words(row: Row, currency: str) -> str:
    """``1.23 USD a day``; energy where there is no tariff."""
    return f"{_amount(row['cost_day'], row, currency)} a day" + ("" if row["priced"] else ", no tariff on record")


def proof_words(row: Row, currency: str) -> str:
    """How far the plan can be from the cheapest one, as proven."""
    if row["gap"] == 0:
        return "Proven: no plan that keeps to all of this costs less."
    # Rounded up: the words never promise more than the proof.
    share = max(-(-float(row["gap"]) * 1000 // 1) / 10, 0.1)
    return (
        f"Proven: no plan that keeps to all of this costs less than {_amount(row['bound_day'], row, currency)} a day, so "
        f"that at most {wording.number(share, 1)}{NO_BREAK}% of its cost could still be saved."
    )


def saving_words(row: Row, currency: str) -> str:
    """Against the plan on record; the range follows the bounds of flow and power."""
    if row["saving_kwh_mid"] is None:
        return "What it saves cannot be told: the plan on record, or the power at its speeds, is not known."
    parts = [_change(row, "saving_kwh", lambda value: f"{wording.number(value, 2)}{NO_BREAK}kWh")]
    if row["saving_money_mid"] is not None:
        parts.insert(0, _change(row, "saving_money", lambda value: wording.money(value, currency)))
    return f"Against the plan on record it {' and '.join(parts)} a day."


def water_words(row: Row) -> str:
    """Turnovers by the low flow bound, and by the middle one."""
    low, mid, high = (row[f"turnovers_{end}"] for end in ("lo", "mid", "hi"))
    if low is None:
        return "turnovers are not known"
    spread = f"; likely {wording.number(mid, 2)}, at most {wording.number(high, 2)}" if mid and high else ""
    return f"at least {wording.number(low, 2)} turnovers a day by the low flow estimate{spread}"


def energy_words(row: Row) -> str:
    """Energy of a day with its range where the power's bounds are known."""
    low, mid, high = (row[f"energy_kwh_{end}"] for end in ("lo", "mid", "hi"))
    spread = f" ({wording.span(low, high, 1)})" if low is not None and high is not None else ""
    return f"{wording.number(mid, 1)}{NO_BREAK}kWh a day{spread}"


def why_words(row: Row) -> list[str]:
    """What led to the plan, what it cures, what holds it where it is, what is cheaper, what was left alone: one sentence
    each."""
    found, cured, binding = (_listed(row[name]) for name in ("found", "cured", "binding"))
    return [
        *([f"Found here: {', '.join(found)}."] if found else []),
        *([f"The plan on record breaks, and this one keeps: {', '.join(cured)}."] if cured else []),
        *([f"What keeps it from being cheaper: {', '.join(binding)}."] if binding else []),
        *([f"The cheapest of all has more rows to key: {row['cheaper']}."] if row["cheaper"] else []),
        *left_words(row),
    ]


def left_words(row: Row) -> list[str]:
    """What was left as it is, one sentence each."""
    return [f"Left as it is: {note}." for note in _listed(row["notes"])]


def margin_words(row: Row, volume_m3: float | None, currency: str) -> str:
    """What a little more water would cost, after the marginal cost of the proof; empty where it is not told."""
    price = row["next_m3_cost"]
    if price is None or not price > 0 or not volume_m3:
        return ""
    return f"A tenth of a turnover more would cost about {_amount(price * volume_m3 / 10, row, currency)} a day."


def state_words(row: Row) -> str:
    """Why there is nothing to key in; empty where there is."""
    reason = str(row["reason"]).rstrip(".")
    if row["state"] in ("kept", "clash"):
        return f"{reason[0].upper()}{reason[1:]}."
    return f"No plan is proposed: {reason}." if row["state"] == "withheld" else ""


def effect_words(row: Row) -> str:
    """What became of a keyed plan: expected against what the believed days show."""
    expected = _expected(row, "expected")
    if row["outcome"] == "too few days":
        return f"Expected {expected}. {wording.count(int(row['days']), 'believed day')} since then: too few to tell."
    said = str(row["outcome"])[0].upper() + str(row["outcome"])[1:]
    return f"Expected {expected}; over {wording.count(int(row['days']), 'believed day')} {_expected(row, 'realised')}. {said}."


def _expected(row: Row, kind: str) -> str:
    energy, water = (
        wording.span(row[f"{kind}_{name}_lo"], row[f"{kind}_{name}_hi"], decimals)
        if row[f"{kind}_{name}_lo"] is not None and row[f"{kind}_{name}_hi"] is not None
        else wording.number(row[f"{kind}_{name}_mid"], decimals)
        for name, decimals in (("kwh", 1), ("turnovers", 2))
    )
    return f"{energy}{NO_BREAK}kWh and {water} turnovers a day"


def _change(row: Row, name: str, say: object) -> str:
    low, mid, high = (row[f"{name}_{end}"] for end in ("lo", "mid", "hi"))
    word = "saves" if mid >= 0 else "costs" if name == "saving_money" else "uses"
    text = f"{word} {say(abs(mid))}{'' if mid >= 0 else ' more'}"  # type: ignore[operator]
    if low is None or high is None:
        return text
    ends = wording.span(low, high, 2) if mid >= 0 else wording.span(-high, -low, 2)
    return f"{text} ({ends})"


def _amount(value: object, row: Row, currency: str) -> str:
    return wording.money(value, currency) if row["priced"] else f"{wording.number(value, 2)}{NO_BREAK}kWh"  # type: ignore[arg-type]


def _listed(text: object) -> list[str]:
    return [part for part in str(text or "").split("; ") if part]
