"""A bar chart as asset metadata: an SVG inside Markdown, which the Dagster UI shows.

Belongs here: pictures for the UI only. Those of the review are in `reports`.
"""

from __future__ import annotations

import base64
from html import escape

import dagster as dg

_ROW, _LABEL, _BAR = 20, 150, 320


def bar_chart(title: str, values: dict[str, float]) -> dg.MarkdownMetadataValue:
    """Horizontal bars of ``values`` with their numbers; negative values draw no bar."""
    top = max([abs(value) for value in values.values()] or [0]) or 1
    rows = []
    for number, (name, value) in enumerate(values.items()):
        y = _ROW * (number + 1)
        width = max(value, 0) / top * _BAR
        rows.append(
            f'<text x="{_LABEL - 6}" y="{y + 14}" text-anchor="end">{escape(str(name))}</text>'
            f'<rect x="{_LABEL}" y="{y + 3}" width="{width:.1f}" height="{_ROW - 6}" fill="#3f6f63"/>'
            f'<text x="{_LABEL + width + 5:.1f}" y="{y + 14}">{value:,.0f}</text>'
        )
    height = _ROW * (len(values) + 2)
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{_LABEL + _BAR + 90}" height="{height}" '
        'font-family="sans-serif" font-size="12"><rect width="100%" height="100%" fill="#ffffff"/>'
        f'<text x="{_LABEL}" y="14" font-weight="bold">{escape(title)}</text>{"".join(rows)}</svg>'
    )
    return dg.MetadataValue.md(f"![{title}](data:image/svg+xml;base64,{base64.b64encode(svg.encode()).decode()})")
