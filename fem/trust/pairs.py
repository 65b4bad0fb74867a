"""Both models of a study side by side: a row to each setting and demanded step."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from fem.core.errors import InputError
from fem.quantities import table as quantities

if TYPE_CHECKING:
    import pandas

    from fem.study.study_result import Outcome

BOTH = "both"
FE_ENDED = "FE model ended"
FAST_ENDED = "fast model ended"
STATES = (BOTH, FE_ENDED, FAST_ENDED)
"""What there is at a point: both models, or one that the other did not reach."""

PRESSURE = quantities.pressure.column
BESIDES = [quantities.model.column, quantities.step.column, quantities.demanded.column]

FE, FAST = ".fe", ".fast"
"""Endings of the columns of either model."""


def check_models(outcome: Outcome) -> None:
    """Look if both models took part in a study.

    Raises
    ------
    InputError
        If they did not.
    """
    lacking = [model for model in ("fast", "fe") if outcome.of(model).empty]
    if lacking:
        raise InputError(
            f'study "{outcome.study.title}": it has no curve of the {" and the ".join(lacking)} '
            'model; run it with models = ["fast", "fe"]'
        )


def pairs(outcome: Outcome) -> pandas.DataFrame:
    """Return both models of a study side by side, from the first step after rest on.

    Returns
    -------
    Columns ``case``, those of the fields that vary, ``ordinal`` (number of the demanded step),
    ``pressure_kPa`` (of the FE model, or of the fast one where the FE model has ended), ``state``
    (one of :data:`STATES`), then each column of the step table twice, ending in ``.fe`` and
    ``.fast``, NaN where that model has ended. Where both have ended there is no row.

    Raises
    ------
    InputError
        If a model did not take part, or neither has a step after rest.
    """
    check_models(outcome)
    varied = outcome.table.groupby("case", sort=False)[outcome.varied].first()
    fe, fast = (_steps(outcome, model) for model in ("fe", "fast"))
    table = fe.merge(fast, "outer", left_index=True, right_index=True, suffixes=(FE, FAST))
    if table.empty:
        raise InputError(
            f'study "{outcome.study.title}": neither model reaches a step after rest, so there is '
            "nothing to compare"
        )
    reached = table[[f"{PRESSURE}{FE}", f"{PRESSURE}{FAST}"]].notna().to_numpy()
    state = np.select([reached.all(axis=1), reached[:, 1]], [BOTH, FE_ENDED], FAST_ENDED)
    pressure = table[f"{PRESSURE}{FE}"].fillna(table[f"{PRESSURE}{FAST}"])
    table[PRESSURE], table["state"] = pressure, state
    table = table.reset_index()
    place = table["case"].map({case: number for number, case in enumerate(varied.index)})
    order = np.lexsort([table["ordinal"], place])
    table = varied.reset_index().merge(table.iloc[order], on="case", how="right", sort=False)
    first = ["case", *outcome.varied, "ordinal", PRESSURE, "state"]
    return table[[*first, *table.columns.difference(first, sort=False)]]


def _steps(outcome: Outcome, model: str) -> pandas.DataFrame:
    """Return the demanded steps of a model after rest, by case and number."""
    rows = outcome.of(model).drop_duplicates(["case", "step"])
    rows = rows.drop(columns=[*BESIDES, *outcome.varied])
    rows["ordinal"] = rows.groupby("case", sort=False).cumcount()
    return rows[rows["ordinal"] > 0].set_index(["case", "ordinal"])
