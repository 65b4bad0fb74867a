"""Bench data against a study: everything together, and its files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.compare.agreement import summary
from fem.compare.causes import predict
from fem.compare.diagnose import LEAST_SETTINGS, Diagnosis, Report, diagnose
from fem.compare.fit import Fit
from fem.compare.match import PLACE, Curves, find_curves, match, unreached
from fem.core.atomic_write import csv_bytes, json_bytes, together
from fem.core.plotting import draw
from fem.measurements.bench import Bench
from fem.results.environment import machine, versions
from fem.study.plan import Study
from fem.study.study_result import StudyResult

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

MOST_FITS = 10
"""So many of the best fits are written down."""


@dataclass(frozen=True)
class Comparison:
    """What a bench and the models of a study say of each other.

    Attributes
    ----------
    study
        The study.
    bench
        What was measured.
    models
        The models that were compared.
    curves
        The curve of each setting and model.
    rows
        A row to each measurement and model; see :func:`fem.compare.match.match`.
    summary
        Figures of agreement; see :func:`fem.compare.agreement.summary`.
    unreached
        Measurements beyond the end of their curve: ``line``, ``model``, ``pressure_kPa``,
        ``reason``.
    diagnosis
        What single cause explains the residuals of the FE model, or of the fast model where it
        alone was compared.

    Examples
    --------
    >>> comparison.summary[["measure", "model", "rms_error", "unit"]].shape[1]
    4
    """

    study: Study
    bench: Bench
    models: tuple[str, ...]
    curves: Curves = field(repr=False)
    rows: pandas.DataFrame = field(repr=False)
    summary: pandas.DataFrame = field(repr=False)
    unreached: list[dict[str, Any]]
    diagnosis: Diagnosis

    def places(self, model: str) -> dict[str, int]:
        """Return how many measurements lie at a step, between two, beyond the end."""
        counts = self.rows[self.rows.model == model][PLACE].value_counts()
        return {place: int(counts.get(place, 0)) for place in ("step", "between", "beyond")}

    def solved(self, model: str) -> int:
        """Return how many settings were solved for this comparison."""
        return sum(curve.solved for (_, name), curve in self.curves.items() if name == model)

    def run_record(self) -> dict[str, Any]:
        """Return all that says where the figures came from, and what was found."""
        bench, found = self.bench, self.diagnosis
        return {
            "study": self.study.title,
            "study_hash": self.study.hash,
            "case_hash": self.study.base.hash,
            "resolution": self.study.resolution,
            "bench": bench.name,
            "bench_hash": bench.hash,
            "bench_notes": bench.notes,
            "unused_columns": [extra.name for extra in bench.unused],
            "versions": versions(),
            "machine": machine(),
            "measurements": len(bench.table),
            "settings": len(bench.cases),
            "models": {
                model: {"solved_settings": self.solved(model), **self.places(model)}
                for model in self.models
            },
            "not_reached": self.unreached,
            "diagnosis": {
                "model": found.model,
                "figures": found.points,
                "settings": found.settings,
                "bic_without_a_cause": found.bic,
                "named": [_plain(fit) for fit in found.found],
                "best_fits": [_plain(fit) for fit in found.fits[:MOST_FITS]],
            },
        }

    def plot(self, quantity: str = "") -> Figure:
        """Draw a measured quantity: model against measurement, and the residuals by pressure.

        Parameters
        ----------
        quantity
            Its name without unit, such as ``"twist"``; the first of the bench file if not given.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If the quantity was not measured.

        Examples
        --------
        >>> comparison.plot("twist").savefig("compare.png")
        """
        return draw("plot_comparison", self, quantity)

    def save(self, folder: Path) -> list[Path]:
        """Write compare.csv, summary.csv and compare.json into `folder`, and return the files.

        Raises
        ------
        OSError
            If that is impossible.
        """
        folder.mkdir(parents=True, exist_ok=True)
        rows, figures, told = (
            folder / name for name in ("compare.csv", "summary.csv", "compare.json")
        )
        with together() as batch:
            batch.write(rows, csv_bytes(self.rows))
            batch.write(figures, csv_bytes(self.summary))
            batch.write(told, json_bytes(self.run_record()))
        return [rows, figures, told]


def _plain(fit: Fit) -> dict[str, Any]:
    """Return a fit as JSON has it; an interval without an end is null."""
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in asdict(fit).items()
    }


def compare_with_bench(
    study_result: StudyResult,
    bench: Bench,
    models: Sequence[str] | None = None,
    report: Report | None = None,
) -> Comparison:
    """Compare measurements with the models of a study.

    Settings that the study lacks are solved first.

    Parameters
    ----------
    study_result
        What the study found.
    bench
        What was measured, read for the case of the study.
    models
        Models to compare; those of the study unless given.
    report
        Is told how the work goes: the model that is solved, or ``"causes"``, or ``"check"``.

    Raises
    ------
    KeyboardInterrupt
        If the user interrupts it.

    Examples
    --------
    >>> comparison = compare_with_bench(study_result, bench, models=["fast"])
    """
    chosen = tuple(models or study_result.study.models)
    curves = find_curves(bench, study_result, chosen, report)
    rows = match(bench, curves, chosen)
    told = partial(report, "causes") if report else None
    predicted = predict(bench, told) if len(bench.cases) >= LEAST_SETTINGS else None
    best = "fe" if "fe" in chosen else "fast"
    own = {key: curves[key, best] for key in bench.cases}
    return Comparison(
        study=study_result.study,
        bench=bench,
        models=chosen,
        curves=curves,
        rows=rows,
        summary=summary(rows, bench),
        unreached=list(unreached(rows, curves)),
        diagnosis=diagnose(
            rows, bench, best, own, predicted, study_result.study.resolution, report
        ),
    )
