"""The corrected fast model: its value plus a fit of the difference from the FE model.

    corrected = fast + fit(setting, pressure, state of the fast model)                 (1)

The fit uses the points of a study that both models reach. It does not predict whether the FE model
reaches a point. See :mod:`fem.trust.fit` for the band, :mod:`fem.trust.kernel` for the symmetry.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Self

import numpy as np

from fem.case.case import Case
from fem.core.errors import InputError
from fem.core.plotting import draw
from fem.quantities.column import measures_of
from fem.study.plan import Study
from fem.trust.fit import Fit, cross_validated_fit
from fem.trust.inputs import Inputs, Ranges, input_table
from fem.trust.pairs import BOTH, FAST, FE, PRESSURE, errors, pairs, round_off
from fem.trust.query import cases_of, differences, fast_points
from fem.trust.store import read, write
from fem.trust.symmetry import Element, orbits, symmetries

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

    from fem.study.study_result import StudyResult

QUANTITIES = tuple(measure.column for measure in measures_of(section="motion"))
MIN_CURVES = 8
"""Least number of curves for a cross-validation."""


@dataclass(frozen=True, eq=False)
class CorrectedModel:
    """The fast model with a correction fitted to a study.

    Attributes
    ----------
    study
        The study.
    ranges
        Ranges of its fields; settings outside them are reported.
    inputs
        Inputs of the fits.
    fits
        The fit of each quantity, by its column.
    facts
        Hash of the study, versions, number of curves (without symmetric images) and points,
        cross-validated errors.
    held_out
        For each point of the fit and each quantity ``<column>.fe``, ``.fast``, and ``.corrected``
        and ``.std`` as predicted without its curve; empty for a loaded model.

    Examples
    --------
    >>> model = CorrectedModel.fit(study_result)
    >>> setting = {"threads.A.angle": "17 deg", "threads.B.angle": "-23 deg"}
    >>> model.predict([setting], pressures=[7.5, 15.0])[["twist_deg", "twist_deg.std"]].shape
    (2, 2)
    """

    study: Study
    ranges: Ranges = field(repr=False)
    inputs: Inputs = field(repr=False)
    fits: dict[str, Fit] = field(repr=False)
    facts: dict[str, Any] = field(repr=False)
    held_out: pandas.DataFrame = field(repr=False)

    @classmethod
    def fit(cls, study_result: StudyResult, quantities: Sequence[str] = QUANTITIES) -> Self:
        """Fit a corrected model to a study.

        Parameters
        ----------
        study_result
            The result of a study with both models.
        quantities
            Columns of the step table; one that is equal in both models gets no correction.

        Raises
        ------
        InputError
            If a model or a quantity is missing, or there are too few curves with both models.
        """
        points = pairs(study_result)
        points = points[points["state"] == BOTH]
        elements = symmetries(study_result.study)
        ranges = Ranges.of(points, study_result.varied)
        points = _without_images(points, study_result.varied, elements)
        _check(study_result, points, quantities)
        cases = {
            case.key: case for case in map(study_result.study.case_of, study_result.study.settings)
        }
        table = input_table(points, cases, ranges)
        inputs = Inputs.of(table, elements)
        matrix = inputs.matrix(table)
        held_out = points[["case", *study_result.varied, "ordinal", PRESSURE]].copy()
        fits = {}
        for column in quantities:
            fe, fast = (points[column + end].to_numpy(float) for end in (FE, FAST))
            predicted = np.zeros((2, len(points)))
            if abs(fe - fast).max() > round_off(fe):
                group = inputs.group(column)
                curves = points["case"].to_numpy()
                fits[column], predicted = cross_validated_fit(
                    matrix, fe - fast, curves, group, inputs.shared
                )
            held_out[column + FE], held_out[column + FAST] = fe, fast
            held_out[f"{column}.corrected"] = fast + predicted[0]
            held_out[f"{column}.std"] = predicted[1]
        facts = _facts(study_result.study, held_out, quantities)
        return cls(study_result.study, ranges, inputs, fits, facts, held_out)

    @property
    def quantities(self) -> list[str]:
        """Columns of the quantities."""
        return list(self.facts["errors"])

    def predict(
        self,
        settings: Iterable[Mapping[str, Any] | Case],
        pressures: Sequence[float] | None = None,
    ) -> pandas.DataFrame:
        """Solve settings by the fast model and correct its values.

        Parameters
        ----------
        settings
            A value for each field that the study varies, or complete cases.
        pressures
            Pressures of the points (kPa); the requested steps of each case after rest if None.

        Returns
        -------
        A row for each setting and pressure: ``case``, the fields that vary, ``ordinal`` (the step
        of the path), ``pressure_kPa``; for each quantity its column (corrected), ``<column>.std``
        and ``<column>.fast``; ``outside``, empty or what is outside the study, so that the
        correction is an extrapolation; ``ended``, empty or the kind of termination of the fast
        model before the point, whose values are then NaN.

        Raises
        ------
        InputError
            If a setting gives no valid case, or the pressures cannot be set.
        """
        cases = cases_of(self.study, settings)
        points = fast_points(self.study, cases, pressures)
        reached = ~points["ended"].astype(bool).to_numpy()
        if reached.any():
            known = {case.key: case for case in cases}
            matrix = self.inputs.matrix(input_table(points[reached], known, self.ranges))
        varied = [name for name in points if name in self.ranges.fields]
        answer = points[["case", *varied, "ordinal", PRESSURE]].copy()
        for column in self.quantities:
            fast = points.get(column + FAST, answer["ordinal"] * np.nan).to_numpy(float)
            mean, std = np.where(reached, np.zeros((2, 1)), np.nan)
            if column in self.fits and reached.any():
                mean[reached], std[reached] = self.fits[column].predict(matrix)
            answer[column], answer[f"{column}.std"] = fast + mean, std
            answer[column + FAST] = fast
        answer["outside"] = self._outside(points, cases)
        answer["ended"] = points["ended"]
        return answer

    def _outside(self, points: pandas.DataFrame, cases: Sequence[Case]) -> list[str]:
        """Return for each point what is outside the study, as text; empty if nothing is."""
        others = [differences(self.study, case) for case in cases]
        found = []
        for row in points.to_dict("records"):
            reasons = self.ranges.outside(row, set_pressure=bool(self.study.base.pressure))
            reasons = [*others[row["number"]], *reasons]
            found.append("outside the study: " + "; ".join(reasons) if reasons else "")
        return found

    def plot(self) -> Figure:
        """Draw the errors before and after the correction, on curves that it was not fitted to.

        Returns
        -------
        matplotlib.figure.Figure
            A figure that is not known to pyplot; save it by its method ``savefig``.

        Raises
        ------
        InputError
            If the model was loaded: its file does not contain these points.

        Examples
        --------
        >>> trust.model.plot().savefig("corrected.png")
        """
        return draw("plot_correction", self)

    def save(self, path: str | Path) -> None:
        """Write the model into one file, usually ``.npz``; see :mod:`fem.trust.store`.

        Raises
        ------
        OSError
            If the file cannot be written.
        """
        write(path, (self.study, self.ranges, self.inputs, self.fits, self.facts))

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read what :meth:`save` wrote.

        Raises
        ------
        InputError
            If the file cannot be read, or is not valid.
        """
        import pandas

        return cls(*read(path), held_out=pandas.DataFrame())


def _without_images(
    points: pandas.DataFrame, varied: Sequence[str], elements: Sequence[Element]
) -> pandas.DataFrame:
    """Return the points without symmetric images: of each set of images the longest curve.

    Otherwise the cross-validation would predict a curve from its own image.
    """
    sizes = points.groupby("case", sort=False).size()
    longest = sizes.groupby(orbits(points, varied, elements)).idxmax()
    return points[points["case"].isin(longest)].reset_index(drop=True)


def _check(study_result: StudyResult, points: pandas.DataFrame, quantities: Sequence[str]) -> None:
    for column in quantities:
        if column + FE not in points:
            raise InputError(f'quantity "{column}": the study has no such column')
    curves = points["case"].nunique()
    if curves < MIN_CURVES:
        have = "1 curve has" if curves == 1 else f"{curves} curves have"
        raise InputError(
            f'study "{study_result.study.title}": {have} both models; a corrected model needs '
            f"{MIN_CURVES} or more, without symmetric images"
        )


def _facts(study: Study, held_out: pandas.DataFrame, quantities: Sequence[str]) -> dict[str, Any]:
    """Return study, versions and counts of a fit, and its errors on held-out curves."""
    from importlib.metadata import version

    from fem.results.environment import versions

    return {
        "study_hash": study.hash,
        "title": study.title,
        "resolution": study.resolution,
        "versions": versions() | {"scikit-learn": version("scikit-learn")},
        "curves": int(held_out["case"].nunique()),
        "points": len(held_out),
        "errors": {column: errors(held_out, column) for column in quantities},
    }
