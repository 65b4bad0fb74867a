"""The corrected fast model: its own answer plus a fit of what the FE model differs from it.

    corrected = fast + fit(setting, pressure, state of the fast model)                 (1)

The fit is made of a study with both models, at the points that both of them reach: near a limit
that one of them lacks there is nothing to learn from. It tells nothing of whether the FE model
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
from fem.trust.fit import Fit, find
from fem.trust.inputs import Inputs, Ranges, described
from fem.trust.pairs import BOTH, FAST, FE, PRESSURE, errors, pairs, round_off
from fem.trust.query import cases_of, differences, fast_points
from fem.trust.store import read, write
from fem.trust.symmetry import Element, orbits, symmetries

if TYPE_CHECKING:
    import pandas
    from matplotlib.figure import Figure

    from fem.study.study_result import StudyResult

QUANTITIES = tuple(measure.column for measure in measures_of(section="motion"))
LEAST_CURVES = 8
"""Of fewer curves nothing can be left out that would tell of the others."""


@dataclass(frozen=True, eq=False)
class CorrectedModel:
    """The fast model with what a study taught of its error.

    Attributes
    ----------
    study
        The study.
    ranges
        What its fields were; a question outside is told.
    inputs
        What the fits are told of a point.
    fits
        The fit of each quantity, by its column.
    facts
        Hash of the study, versions, counts of curves (images of others apart) and points,
        cross-validated errors.
    left_out
        For each point of the fit and each quantity ``<column>.fe``, ``.fast``, and ``.corrected``
        and ``.std`` as predicted without its curve; empty for one that was loaded.

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
    left_out: pandas.DataFrame = field(repr=False)

    @classmethod
    def fit(cls, study_result: StudyResult, quantities: Sequence[str] = QUANTITIES) -> Self:
        """Fit a study.

        Parameters
        ----------
        study_result
            What both models found.
        quantities
            Columns of the step table; one that the models agree on throughout is left as it is.

        Raises
        ------
        InputError
            If a model or a quantity is missing, or too few curves have both models.
        """
        points = pairs(study_result)
        points = points[points["state"] == BOTH]
        elements = symmetries(study_result.study)
        ranges = Ranges.of(points, study_result.varied)
        points = _each_once(points, study_result.varied, elements)
        _check(study_result, points, quantities)
        cases = {
            case.key: case for case in map(study_result.study.case_of, study_result.study.settings)
        }
        table = described(points, cases, ranges)
        inputs = Inputs.of(table, elements)
        matrix = inputs.matrix(table)
        left_out = points[["case", *study_result.varied, "ordinal", PRESSURE]].copy()
        fits = {}
        for column in quantities:
            fe, fast = (points[column + end].to_numpy(float) for end in (FE, FAST))
            predicted = np.zeros((2, len(points)))
            if abs(fe - fast).max() > round_off(fe):
                group = inputs.group(column)
                curves = points["case"].to_numpy()
                fits[column], predicted = find(matrix, fe - fast, curves, group, inputs.shared)
            left_out[column + FE], left_out[column + FAST] = fe, fast
            left_out[f"{column}.corrected"] = fast + predicted[0]
            left_out[f"{column}.std"] = predicted[1]
        facts = _facts(study_result.study, left_out, quantities)
        return cls(study_result.study, ranges, inputs, fits, facts, left_out)

    @property
    def quantities(self) -> list[str]:
        """Columns of the quantities."""
        return list(self.facts["errors"])

    def predict(
        self,
        settings: Iterable[Mapping[str, Any] | Case],
        pressures: Sequence[float] | None = None,
    ) -> pandas.DataFrame:
        """Solve settings by the fast model and correct what it says.

        Parameters
        ----------
        settings
            A value to each field that the study varies, or whole cases.
        pressures
            Where on each path (kPa); its own requested steps after rest if None.

        Returns
        -------
        A row to each setting and pressure: ``case``, the fields that vary, ``ordinal`` (the step of
        the path), ``pressure_kPa``; for each quantity its column (corrected), ``<column>.std`` and
        ``<column>.fast``; ``outside``, empty or what is outside the study, where the correction is
        a guess; ``ended``, empty or the kind of termination of the fast model before the point, and
        then there is no value (NaN). Of no settings, or no pressures, no rows.

        Raises
        ------
        InputError
            If a setting is no case, or pressures cannot be set.
        """
        cases = cases_of(self.study, settings)
        points = fast_points(self.study, cases, pressures)
        reached = ~points["ended"].astype(bool).to_numpy()
        if reached.any():
            known = {case.key: case for case in cases}
            matrix = self.inputs.matrix(described(points[reached], known, self.ranges))
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
        """Return what of each point is outside the study, in words."""
        others = [differences(self.study, case) for case in cases]
        found = []
        for row in points.to_dict("records"):
            faults = self.ranges.faults(row, set_pressure=bool(self.study.base.pressure))
            faults = [*others[row["number"]], *faults]
            found.append("outside the study: " + "; ".join(faults) if faults else "")
        return found

    def plot(self) -> Figure:
        """Draw the errors before and after the correction, on curves that it was not fitted to.

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
        """Write the model into one file, by custom ``.npz``; see :mod:`fem.trust.store`.

        Raises
        ------
        OSError
            If that is impossible.
        """
        write(path, (self.study, self.ranges, self.inputs, self.fits, self.facts))

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read what :meth:`save` wrote.

        Raises
        ------
        InputError
            If it cannot be read, or is something else.
        """
        import pandas

        return cls(*read(path), left_out=pandas.DataFrame())


def _each_once(
    points: pandas.DataFrame, varied: Sequence[str], elements: Sequence[Element]
) -> pandas.DataFrame:
    """Return the points of one curve of each set of images, the longest: they tell the same.

    With both a curve and its image no curve could be left out whose answer the fit does not know.
    """
    sizes = points.groupby("case", sort=False).size()
    longest = sizes.groupby(orbits(points, varied, elements)).idxmax()
    return points[points["case"].isin(longest)].reset_index(drop=True)


def _check(study_result: StudyResult, points: pandas.DataFrame, quantities: Sequence[str]) -> None:
    for column in quantities:
        if column + FE not in points:
            raise InputError(f'quantity "{column}": the study has no such column')
    curves = points["case"].nunique()
    if curves < LEAST_CURVES:
        have = "1 unlike curve has" if curves == 1 else f"{curves} unlike curves have"
        raise InputError(
            f'study "{study_result.study.title}": {have} both models; a corrected model takes '
            f"{LEAST_CURVES} at least, images by symmetry counted once"
        )


def _facts(study: Study, left_out: pandas.DataFrame, quantities: Sequence[str]) -> dict[str, Any]:
    """Return where a fit is from, and its errors on curves that were left out."""
    from importlib.metadata import version

    from fem.results.environment import versions

    return {
        "study_hash": study.hash,
        "title": study.title,
        "resolution": study.resolution,
        "versions": versions() | {"scikit-learn": version("scikit-learn")},
        "curves": int(left_out["case"].nunique()),
        "points": len(left_out),
        "errors": {column: errors(left_out, column) for column in quantities},
    }
