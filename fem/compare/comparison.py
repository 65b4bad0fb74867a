"""Comparison of measurements with a study, and its files."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import asdict, dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fem.compare.agreement import summary
from fem.compare.causes import predict
from fem.compare.diagnose import MIN_SETTINGS, Diagnosis, Report, diagnose
from fem.compare.fit import Fit
from fem.compare.match import PLACE, Curves, find_curves, match, unreached
from fem.core.atomic_write import csv_bytes, json_bytes, together
from fem.core.plotting import draw
from fem.measurements.bench import Bench
from fem.results.environment import machine, versions
from fem.solving.single import checked_models
from fem.study.plan import Study
from fem.study.study_result import StudyResult

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

MAX_FITS = 10
"""Number of the best fits in compare.json."""


@dataclass(frozen=True)
class Comparison:
    """Measurements compared with the models of a study.

    Attributes
    ----------
    study
        The study.
    bench
        The measurements.
    models
        The models that were compared.
    curves
        The curve of each setting and model.
    rows
        A row for each measurement and model; see :func:`fem.compare.match.match`.
    summary
        Measures of agreement; see :func:`fem.compare.agreement.summary`.
    unreached
        Measurements beyond the end of their curve: ``line``, ``model``, ``pressure_kPa``,
        ``reason``.
    diagnosis
        The single cause that explains the residuals of the FE model, or of the fast model if only
        that was compared.

    Examples
    --------
    >>> sorted(set(comparison.summary.model)) == sorted(comparison.models)
    True
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
        """Return the number of measurements at a step, between two, and beyond the end."""
        counts = self.rows[self.rows.model == model][PLACE].value_counts()
        return {place: int(counts.get(place, 0)) for place in ("step", "between", "beyond")}

    def solved(self, model: str) -> int:
        """Return the number of settings that were solved for this comparison."""
        return sum(curve.solved for (_, name), curve in self.curves.items() if name == model)

    def run_record(self) -> dict[str, Any]:
        """Return the data of compare.json: study, measurements, environment, counts, diagnosis."""
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
                "values": found.points,
                "settings": found.settings,
                "bic_without_a_cause": found.bic,
                "named": [_plain(fit) for fit in found.supported],
                "best_fits": [_plain(fit) for fit in found.fits[:MAX_FITS]],
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

    def save(self, folder: str | Path) -> list[Path]:
        """Write compare.csv, summary.csv and compare.json; return the files.

        The folder is made if needed.

        Raises
        ------
        OSError
            If the files cannot be written.
        """
        folder = Path(folder)
        folder.mkdir(parents=True, exist_ok=True)
        rows, agreement, record = (
            folder / name for name in ("compare.csv", "summary.csv", "compare.json")
        )
        with together() as batch:
            batch.write(rows, csv_bytes(self.rows))
            batch.write(agreement, csv_bytes(self.summary))
            batch.write(record, json_bytes(self.run_record()))
        return [rows, agreement, record]


def _plain(fit: Fit) -> dict[str, Any]:
    """Return a fit as JSON data; an infinite interval is null."""
    return {
        name: None if isinstance(value, float) and not math.isfinite(value) else value
        for name, value in asdict(fit).items()
    }


def compare_with_bench(
    study_result: StudyResult,
    bench: Bench,
    models: str | Sequence[str] | None = None,
    report: Report | None = None,
) -> Comparison:
    """Compare measurements with the models of a study.

    Settings that the study lacks are solved first.

    Parameters
    ----------
    study_result
        The result of the study.
    bench
        The measurements, read for the case of the study.
    models
        Models to compare; those of the study if None.
    report
        Called with the stage, which is a model, ``"causes"`` or ``"check"``, and the progress.

    Raises
    ------
    InputError
        If a model is not known.
    KeyboardInterrupt
        If the user interrupts it.

    Examples
    --------
    >>> comparison = compare_with_bench(study_result, bench, models=["fast"])
    """
    chosen = tuple(checked_models(models or study_result.study.models))
    curves = find_curves(bench, study_result, chosen, report)
    rows = match(bench, curves, chosen)
    report_causes = partial(report, "causes") if report else None
    predicted = predict(bench, report_causes) if len(bench.cases) >= MIN_SETTINGS else None
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
