"""Views of one setting of a study: from kept shapes, or from its table."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.results.result import Result
from fem.results.run import Run
from fem.results.termination import REACHED
from fem.scene.result_view import ResultView, result_views, with_shapes
from fem.study.runner import SHAPES
from fem.study.study_result import StudyResult
from fem.wording.run_sections import with_added
from fem.wording.termination import short_reason

NO_SHAPES = "its shapes are not stored"


def setting_views(study_result: StudyResult, folder: Path, case: Case) -> list[ResultView]:
    """Return a view for each model that has a curve of one setting of a study.

    The shapes of the fast model follow from the table. Those of the FE model are read if the study
    kept them; otherwise its view has only rows.

    Parameters
    ----------
    study_result
        The result of the study.
    folder
        Its folder.
    case
        The case of the setting.

    Raises
    ------
    InputError
        If the table has no curve of it, or the kept shapes are damaged.
    """
    runs = [run_of(study_result, case, model) for model in study_result.study.models]
    found = [
        view
        for run in runs
        if run is not None
        for view in _kept(folder / SHAPES / case.key, run) or _from_table(case, run)
    ]
    if not found:
        raise InputError(f"{folder}: the study has no curve of this setting")
    return found


def run_of(study_result: StudyResult, case: Case, model: str) -> Run | None:
    """Return the run of one curve without its shapes; None if it has no row."""
    table = study_result.table
    mine = table[(table.case == case.key) & (table.model == model)]
    if mine.empty:
        return None
    own = mine.drop(columns=["case", *study_result.varied])
    rows = [_without_gaps(row) for row in own.to_dict("records")]
    end = study_result.terminations.get((case.key, model), REACHED)
    return Run(model=model, rows=rows, termination=end, seconds=math.nan, balance={})


def _without_gaps(row: dict[Any, Any]) -> dict[str, Any]:
    """Return a row of the step table without columns of other models and cases."""
    return {
        name: value
        for name, value in row.items()
        if not (isinstance(value, float) and math.isnan(value)) and value is not None
    }


def _kept(folder: Path, run: Run) -> list[ResultView]:
    """Return the view of the FE model if its shapes were kept."""
    if run.model != "fe" or not folder.is_dir():
        return []
    return [view for view in result_views(with_shapes(folder)) if view.model == "fe"]


def _from_table(case: Case, run: Run) -> list[ResultView]:
    """Return the view of a run from the table."""
    if run.model == "fast":
        return result_views(Result(case, [run]))
    note = "; ".join(filter(None, [short_reason(run.termination), NO_SHAPES]))
    return [ResultView(case.title, case, run.model, with_added(case, run.path), [], note)]
