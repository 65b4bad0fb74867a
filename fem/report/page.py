"""The page: templates filled in, text escaped, file size limited."""

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
from fem.report.case import case_tables, family_table, problem_sentences
from fem.report.html_table import HtmlTable
from fem.report.provenance import validation_summary

MAX_BYTES = 5_000_000
"""Maximum size of a page (bytes), so that it can be sent by e-mail."""

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
"""Content-Security-Policy: the page loads nothing from elsewhere."""


def render(template: str, case: Case, versions: Mapping[str, str], **parts: Any) -> str:
    """Return a template filled in, with the parts that every page has of its case and the tool."""
    return (
        _environment()
        .get_template(template)
        .render(
            policy=POLICY,
            version=__version__,
            style=Markup(_style()),
            limit=f"{MAX_BYTES / 1e6:g}",
            solved_by=f"tubewright {versions.get('tubewright', '')}".strip(),
            problem=problem_sentences(case),
            family=family_table(case),
            case_tables=case_tables(case),
            validation=validation_summary(),
            **parts,
        )
    )


def first_within_limit(pages: Iterable[str]) -> str:
    """Return the first page that is within the size limit; each is smaller than the one before.

    Raises
    ------
    InputError
        If none is.
    """
    size = 0
    for page in pages:
        size = len(page.encode())
        if size <= MAX_BYTES:
            return page
    raise InputError(
        f"the report has {size / 1e6:.1f} MB even without pictures and shapes; at most "
        f"{MAX_BYTES / 1e6:g} MB are allowed: use fewer steps or settings"
    )


def minus(text: object) -> str:
    """Return text with true minus signs in numbers, and a dash for an empty cell.

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
