"""Tolerances given by the user: ``twist 3 deg, displacement 0.5 mm, ring_torque.A 5 %``.

A quantity is named by its column in the step table without the unit. A percentage refers to the
greatest magnitude of the FE model in the study.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fem.core.errors import InputError
from fem.core.renamed import renamed_to
from fem.core.units import NUMBER, UNITS
from fem.quantities import table
from fem.quantities.column import Measure, find
from fem.quantities.quantity import Trait

if TYPE_CHECKING:
    from fem.study.study_result import StudyResult


@dataclass(frozen=True)
class Tolerance:
    """The greatest error of one quantity that is allowed.

    Attributes
    ----------
    quantity
        The quantity.
    limit
        The greatest error, in the displayed unit of the quantity.
    """

    quantity: Measure
    limit: float

    def __str__(self) -> str:
        """Return quantity, limit and unit."""
        return f"{self.quantity.name} {self.limit:.4g} {self.quantity.unit}".rstrip()


def quantities(study_result: StudyResult) -> dict[str, Measure]:
    """Return the quantities of a study that may have a tolerance, by their short names."""
    own = {*study_result.varied}
    if study_result.study.base.pressure:
        own.add(table.pressure.column)  # prescribed, not computed
    found = (
        find(str(column))
        for column in study_result.table.select_dtypes("number")
        if column not in own
    )
    measures = [one for one in found if one and Trait.SOLVER not in one.quantity.traits]
    return {measure.name: measure for measure in measures}


def parse(text: str, study_result: StudyResult) -> tuple[Tolerance, ...]:
    """Read the tolerances of a study.

    Parameters
    ----------
    text
        Name, number and unit (or %) of each, separated by commas.
    study_result
        The study, which defines the possible names.

    Raises
    ------
    InputError
        If a name is unknown or occurs twice, a number or unit is not valid, or a percentage refers
        to a quantity that is zero in all results of the FE model.
    """
    known = quantities(study_result)
    found: dict[str, Tolerance] = {}
    for part in text.split(","):
        tolerance = _parse_one(part.strip(), known, study_result)
        if tolerance.quantity.name in found:
            raise InputError(f'tolerance: "{tolerance.quantity.name}" is given more than once')
        found[tolerance.quantity.name] = tolerance
    return tuple(found.values())


def _parse_one(part: str, known: dict[str, Measure], study_result: StudyResult) -> Tolerance:
    match = re.fullmatch(rf"(\S+)\s+({NUMBER})\s*(%|{UNITS})?", part)
    if not match:
        raise InputError(
            f'tolerance "{part}": write name, number and unit, such as "twist 3 deg" or "twist 5 %"'
        )
    name, number, unit = match[1], float(match[2]), match[3] or ""
    if name not in known:
        raise InputError(
            f'tolerance "{part}": the study has no quantity "{name}"{renamed_to(name)}; '
            f"allowed: {', '.join(known)}"
        )
    quantity = known[name]
    try:
        factor = (
            0.01 * _greatest(quantity, study_result, part)
            if unit == "%"
            else quantity.factor_from(unit)
        )
    except InputError:
        raise
    except ValueError:
        value = "a number without unit"
        if quantity.unit:
            value = f"a number with a unit such as {quantity.unit}"
        raise InputError(
            f'tolerance "{part}": {quantity.name} needs {value}, or a share in %'
        ) from None
    limit = number * factor
    if not (math.isfinite(limit) and limit > 0):
        raise InputError(f'tolerance "{part}": the number must be greater than 0')
    return Tolerance(quantity, limit)


def _greatest(quantity: Measure, study_result: StudyResult, part: str) -> float:
    """Return the greatest magnitude in the results of the FE model."""
    greatest = float(study_result.of("fe")[quantity.column].abs().max())
    if not greatest > 0:
        raise InputError(
            f'tolerance "{part}": {quantity.name} is zero in all FE results, so a percentage is '
            f"not defined; give a number{f' in {quantity.unit}' * bool(quantity.unit)}"
        )
    return greatest
