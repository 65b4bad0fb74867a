"""The page: templates filled in, text escaped, and no heavier than allowed."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache
from importlib.resources import files
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from fem import __version__
from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.units import MINUS
from fem.report.case import asked, case_grids, family_grid
from fem.report.html_table import HtmlTable
from fem.report.provenance import held

MOST_BYTES = 5_000_000
"""A page is no heavier: it is to go by mail."""

POLICY = "; ".join(
    [
        "default-src 'none'",
        "img-src data: blob:",
        "connect-src data: blob:",
        "worker-src blob:",
        "style-src 'unsafe-inline'",
        "script-src 'unsafe-inline'",
    ]
)
"""What the page may load: nothing from anywhere but itself."""


def render(template: str, case: Case, versions: Mapping[str, str], **parts: Any) -> str:
    """Return a template filled in, with what every page has of its case and of the tool."""
    return (
        _environment()
        .get_template(template)
        .render(
            policy=POLICY,
            version=__version__,
            style=Markup(_style()),
            limit=f"{MOST_BYTES / 1e6:g}",
            solved_by=f"tubewright {versions.get('tubewright', '')}".strip(),
            asked=asked(case),
            family=family_grid(case),
            case_grids=case_grids(case),
            held=held(),
            **parts,
        )
    )


def light_enough(pages: Iterable[str]) -> str:
    """Return the first of the pages, each lighter than the one before, that is light enough.

    Raises
    ------
    InputError
        If none is.
    """
    size = 0
    for page in pages:
        size = len(page.encode())
        if size <= MOST_BYTES:
            return page
    raise InputError(
        f"the report would be of {size / 1e6:.1f} MB even without pictures and shapes; at most "
        f"{MOST_BYTES / 1e6:g} MB are allowed: take fewer steps or settings"
    )


def minus(text: object) -> str:
    """Return text with the minus signs of its numbers set as such, and a dash for a cell of none.

    >>> minus("-5.3 mm"), minus("2e-05"), minus("-")
    ('\N{MINUS SIGN}5.3 mm', '2e-05', '\N{EN DASH}')
    """
    if text == "-":
        return "\N{EN DASH}"
    return re.sub(r"(?<![\w.)])-(?=[\d.])", MINUS, str(text))


@cache
def _environment() -> Environment:
    found = Environment(
        loader=PackageLoader("fem.report", "."),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    found.filters["minus"] = minus
    found.globals["html_table"] = HtmlTable
    return found


@cache
def _style() -> str:
    return files("fem.report").joinpath("report.css").read_text(encoding="utf-8")
