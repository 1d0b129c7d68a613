"""The register's fields as text for people: what `pumpledger fields` prints and the README holds.

Belongs here: wording and layout. The fields themselves stand in `fields.py`.
"""

from __future__ import annotations

from pumpledger.register.fields import FILES, Field

_UNITS = {
    "m3": "m³",
    "gal": "US gal",
    "m3h": "m³/h",
    "gpm": "US gal/min",
    "m": "m",
    "ft": "ft",
    "rpm": "rev/min",
    "min": "min",
    "c": "°C",
    "f": "°F",
    "w": "W",
    "kw": "kW",
    "kpa": "kPa",
    "psi": "psi",
    "bar": "bar",
    "inhg": "inHg",
}
_KINDS = {
    "id": "code",
    "yes_no": "yes or no",
    "day": "YYYY-MM-DD",
    "clock": "HH:MM",
    "zone": "IANA zone",
    "text": "text",
    "months": "12 numbers, a space between",
}


def guide() -> str:
    """One Markdown table a file."""
    parts = []
    for name, fields in FILES.items():
        rows = [f"#### {name}", "", "| column | unit or form | meaning | needed |", "|---|---|---|---|"]
        rows += [f"| {_columns(field)} | {_form(field)} | {field.meaning} | {_needed(field)} |" for field in fields]
        parts.append("\n".join(rows))
    return "\n\n".join(parts) + "\n"


def _columns(field: Field) -> str:
    return " or ".join(f"`{column}`" for column in field.columns)


def _form(field: Field) -> str:
    if field.choices:
        return ", ".join(field.choices)
    if field.kind not in ("number", "count"):
        bounds = f", {field.least:g} to {field.most:g}" if field.least is not None and field.most is not None else ""
        return _KINDS[field.kind] + bounds
    form = " or ".join(_UNITS[unit] for unit in field.columns.values() if unit) or (
        "whole number" if field.kind == "count" else "number"
    )
    if field.least is None or field.most is None:
        return form
    return f"{form}, {field.least:g} to {field.most:g}{f' {_UNITS[field.unit]}' if len(field.columns) > 1 else ''}"


def _needed(field: Field) -> str:
    if field.required:
        return "yes"
    if field.default in (None, ""):
        return "no"
    shown = (
        {False: "no", True: "yes"}[field.default]
        if isinstance(field.default, bool)
        else f"{field.default:g}"
        if isinstance(field.default, float)
        else field.default
    )
    return f"no: {shown}"
