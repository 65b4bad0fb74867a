"""The plot methods of results: the figures that the commands write as files, as matplotlib figures.

They need no display and do not use pyplot, so neither its figures nor its settings change.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

from fem.core.errors import InputError
from fem.plots.comparison import comparison_figure
from fem.plots.curves import curves_figure
from fem.plots.study.figures import picture_figure, reach_figure
from fem.plots.study.pictures import picture_of
from fem.plots.trust.figures import trust_figure
from fem.plots.trust.parity import parity_figure
from fem.quantities.column import by_name
from fem.study.plot_data import PlotData, plot_data

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from fem.compare.comparison import Comparison
    from fem.results.result import Result
    from fem.study.study_result import StudyResult
    from fem.trust.analysis import Trust
    from fem.trust.corrected import CorrectedModel


def plot_result(
    result: Result, quantities: str | Sequence[str] = (), models: str | Sequence[str] = ()
) -> Figure:
    """Draw :meth:`fem.results.result.Result.plot`."""
    names = _chosen(models, [run.model for run in result.runs], "model")
    runs = [run for run in result.runs if run.model in names]
    columns = [name for run in runs for row in run.rows[:1] for name in row]
    wanted = [one.column for one in by_name(_listed(quantities), columns)]
    return curves_figure(replace(result, runs=runs), wanted).figure()


def map_study(
    study_result: StudyResult,
    quantity: str,
    at: str | int | None = None,
    models: str | Sequence[str] = (),
) -> Figure:
    """Draw :meth:`fem.study.study_result.StudyResult.map`."""
    data = _data_of(study_result, models)
    if at is not None:
        data = replace(data, main_level=data.level(at))
    return picture_figure(data, picture_of(data, quantity)).figure()


def plot_reach(study_result: StudyResult, models: str | Sequence[str] = ()) -> Figure:
    """Draw :meth:`fem.study.study_result.StudyResult.plot_reach`."""
    return reach_figure(_data_of(study_result, models)).figure()


def plot_comparison(comparison: Comparison, quantity: str = "") -> Figure:
    """Draw :meth:`fem.compare.comparison.Comparison.plot`."""
    measured = {measure.name: measure for measure in comparison.bench.measures}
    (name,) = _chosen(quantity or next(iter(measured)), measured, "measured quantity")
    return comparison_figure(comparison, measured[name]).figure()


def map_trust(trust: Trust) -> Figure:
    """Draw :meth:`fem.trust.analysis.Trust.plot`."""
    layout = trust_figure(trust.study_result, trust.map, trust.tolerances)
    if layout is None:
        raise InputError("plot: no number varies in the study, so there is no map")
    return layout.figure()


def plot_correction(model: CorrectedModel) -> Figure:
    """Draw :meth:`fem.trust.corrected.CorrectedModel.plot`."""
    if model.held_out.empty:
        raise InputError("plot: a loaded model does not contain the points that it was tested on")
    return parity_figure(model).figure()


def _data_of(study_result: StudyResult, models: str | Sequence[str]) -> PlotData:
    """Return the plot data of a study, of all its models unless some are named."""
    data = plot_data(study_result)
    if data is None:
        raise InputError("plot: no curve of the study has a step")
    names = _chosen(models, data.models, "model")
    return replace(data, models=names, rows=data.rows[data.rows.model.isin(names)])


def _listed(names: str | Sequence[str]) -> list[str]:
    return [names] if isinstance(names, str) else list(names)


def _chosen(names: str | Sequence[str], known: Iterable[str], kind: str) -> list[str]:
    """Return the names, checked; all that are known if there are none."""
    known = list(known)
    for name in (chosen := _listed(names)):
        if name not in known:
            raise InputError(f'{kind} "{name}": unknown; allowed: {", ".join(known)}')
    return chosen or known
