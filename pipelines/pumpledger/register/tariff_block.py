"""Which block of a tariff each site pays: what one more kWh of the pump costs depends on what the household uses beside
it, which no pump export tells.

Belongs here: the choice and what is said where it cannot be made. A block is stated in sites.csv (``tariff_block``)
from the household's bill; without it a tariff of several blocks gives no money.
"""

from __future__ import annotations

from pumpledger.problems import Problem

Row = dict[str, object]


def settle_blocks(sites: list[Row], blocks: dict[str, int]) -> tuple[dict[str, tuple[str, int]], list[Problem]]:
    """The tariffs in use, ``name shown -> (file, block)``, and what is withheld. Sets ``tariff`` of each site.

    ``blocks`` is how many blocks each usable tariff has; a tariff of a site that is not among them is taken away, as
    its file is set aside or not there.
    """
    priced = {name: (name, 1) for name, count in blocks.items() if count == 1}
    problems = []
    for row in sites:
        name, block = row["tariff"], row["tariff_block"]
        count = blocks.get(name, 0)
        if name is None:
            continue
        if count == 0:
            row["tariff"] = None  # said already, with the file
        elif block is not None and block > count:
            row["tariff"] = None
            sentence = f"site {row['site_id']}: tariff {name!r} has {count} block(s), not {block}; no money is computed"
            problems.append(_said("tariff_block_unknown", sentence, row))
        elif count > 1 and block is None:
            row["tariff"] = None
            sentence = (
                f"site {row['site_id']}: tariff {name!r} has {count} blocks by the month's kWh; enter in tariff_block "
                "which of them the household's last kWh falls in, by its bill; until then no money is computed"
            )
            problems.append(_said("tariff_block_missing", sentence, row))
        elif count > 1:
            shown = f"{name}, block {block}"
            priced[shown] = (name, int(block))
            row["tariff"] = shown
    return dict(sorted(priced.items())), problems


def _said(name: str, sentence: str, row: Row) -> Problem:
    return Problem(name, sentence, "warns", "sites.csv", row["line"], "tariff_block")
