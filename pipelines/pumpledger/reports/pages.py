"""How a template becomes one self-contained file: styles and script inside, a content policy that allows nothing else.

Belongs here: the template environment and what every page shares. What the pages say is in `fleet_page` and
`site_page`.
"""

from __future__ import annotations

import base64
import hashlib
import re
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template
from markupsafe import Markup

from pumpledger.reports import wording
from pumpledger.reports.cautions import CAUTIONS
from pumpledger.reports.svg_carpet import HATCH

_TEMPLATES = Path(__file__).parent / "templates"
_DEVICE = re.compile(r"CON|PRN|AUX|NUL|COM\d|LPT\d")
"""Names Windows keeps for devices, whatever the ending (Microsoft, "Naming files, paths, and namespaces" [MEM])."""


@cache
def template(name: str) -> Template:
    """The compiled template ``name``; everything printed is escaped unless it is markup made here."""
    environment = Environment(
        loader=FileSystemLoader(_TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters.update(
        kwh=wording.kwh,
        number=wording.number,
        percent=wording.percent,
        weekday=wording.weekday,
        clock=wording.clock,
        severity=lambda name: wording.SEVERITIES.get(name, name),
        mark=lambda name: wording.SEVERITY_MARKS.get(name, ""),
        css=lambda name: re.sub(r"[^a-z]", "-", str(name).lower()),
    )
    # Markup from files of this package, never from data.
    environment.globals.update(
        styles=Markup(_text("style.css")),
        script=Markup(_text("sort.js")),
        policy=_policy(_text("sort.js")),
        hatch=Markup(HATCH),
        cautions=CAUTIONS,
        dash=wording.DASH,
        interval=wording.span,
    )
    parts = environment.get_template("parts.html.j2").module
    # The same on every page, so written once.
    environment.globals.update(
        legend_above=parts.legend(False),
        legend_over=parts.legend(True),
        cautions_html=parts.cautions_list(),
    )
    return environment.get_template(name)


def site_file(site_id: str) -> str:
    """File name of a site's page: the code, or a tame form with a digest where it holds other characters.

    Small letters and the names of devices get the digest too: folders are copied to machines where ``h1`` and ``H1``
    are one file, and ``NUL.html`` is none.
    """
    tame = re.sub(r"[^A-Za-z0-9_-]", "_", site_id)
    if tame == site_id == site_id.upper() and not _DEVICE.fullmatch(tame):
        return f"{tame}.html"
    return f"{tame}-{hashlib.sha256(site_id.encode()).hexdigest()[:8]}.html"


def _policy(script: str) -> str:
    digest = base64.b64encode(hashlib.sha256(script.encode()).digest()).decode()
    rules = ("default-src 'none'", "style-src 'unsafe-inline'", f"script-src 'sha256-{digest}'", "base-uri 'none'")
    return "; ".join((*rules, "form-action 'none'"))


@cache
def _text(name: str) -> str:
    return (_TEMPLATES / name).read_text(encoding="utf-8")
