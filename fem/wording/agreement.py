"""Tables of a comparison with measurements, and of trust in the fast model."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from fem.compare.agreement import ALL
from fem.measurements.columns import PRESSURE
from fem.quantities.column import Measure, named
from fem.wording.run_sections import NAMES
from fem.wording.text_table import TextTable

FORMS = {
    "bias": "+.3g",
    "rms_error": ".3g",
    "greatest_error": "+.3g",
    "greatest_at": ".0f",
    "r2": ".3f",
    "within_95": ".0%",
}
"""Formats of the measures of agreement."""


def agreement_table(summary: Iterable[Mapping[Any, Any]]) -> TextTable:
    """Return the measures of agreement, for all measurements and for each value of a text setting.

    Parameters
    ----------
    summary
        Rows of :func:`fem.compare.agreement.summary`.
    """
    rows = [
        [
            f"{row['measure'].replace('_', ' ')} [{row['unit']}]",
            NAMES[row["model"]],
            "all" if row["group"] == ALL else str(row["value"]),
            str(row["points"]),
            *(_number(row[name], form) for name, form in FORMS.items()),
        ]
        for row in summary
        if row["group"] != PRESSURE.column
    ]
    titles = ["quantity", "model", "rows", "points", "bias", "RMS error", "greatest error"]
    titles += ["at line", "R²", "within 95 % band"]
    return TextTable(
        "Models compared with measurements", titles, rows, text_columns=(0, 1, 2), head_columns=3
    )


def rules_table(rules: Iterable[Mapping[Any, Any]], quantities: Sequence[Measure]) -> TextTable:
    """Return the trust rules, each with its number of points and its greatest errors.

    Parameters
    ----------
    rules
        Rows of :func:`fem.trust.rules.rule_table`.
    quantities
        Quantities with a tolerance.
    """
    rows = [
        [
            row["rule"].replace("<=", "≤").replace(">=", "≥"),
            str(row["points"]),
            str(row["outside"]),
            f"{row['share']:.0%}",
            *(_number(row[f"worst.{quantity.name}"], ".3g") for quantity in quantities),
        ]
        for row in rules
    ]
    worst = [f"greatest error\n{one.name.replace('_', ' ')}, {one.unit}" for one in quantities]
    titles = ["rule", "points", "points outside", "share of study", *worst]
    return TextTable("Where the fast model is accurate enough", titles, rows)


def correction_table(facts: Mapping[str, Any]) -> TextTable:
    """Return the errors of the corrected fast model on curves left out of its fit."""
    kinds = [f"{kind}_{when}" for kind in ("rms", "worst") for when in ("before", "after")]
    rows = [
        [named(column).axis_label, *(f"{errors[kind]:.3g}" for kind in kinds)]
        for column, errors in facts["errors"].items()
    ]
    caption = (
        f"Corrected fast model, fitted to {facts['curves']} FE curves: "
        "errors on curves left out of the fit"
    )
    heads = [f"{kind}\n{how}" for kind in ("RMS error", "greatest error") for how in STATES]
    return TextTable(caption, ["quantity", *heads], rows)


STATES = ("uncorrected", "corrected")
"""States of the fast model that are compared."""


def _number(value: float, form: str) -> str:
    """Return a value as text; a dash if there is none."""
    return "-" if value is None or math.isnan(value) else f"{value:{form}}"
