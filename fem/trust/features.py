"""Features for the rules: fields that vary, their magnitudes, sums, differences, L/R.

Rules use only what a user sets, not the state of the tube.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from fem.core.arrays import Array
from fem.quantities import table as quantities
from fem.quantities.column import Measure, named

if TYPE_CHECKING:
    import pandas

    from fem.study.plan import Study

SIZES = ("tube.length", "tube.bore_radius", "tube.wall")


@dataclass(frozen=True, eq=False)
class Feature:
    """A number or text for each point, and its name.

    Attributes
    ----------
    name
        Such as ``|angle.A + angle.B|``.
    unit
        Its unit; empty for a plain number or a text.
    values
        Value at each point, shape (points,).
    text
        Whether the values are texts.
    """

    name: str
    unit: str
    values: Any = field(repr=False)
    text: bool = False


def features(table: pandas.DataFrame, study: Study, varied: list[str]) -> list[Feature]:
    """Return the features of the points of a trust map; of equal features only the first.

    Parameters
    ----------
    table
        A trust map.
    study
        The study, for the dimensions of its tubes.
    varied
        Columns of the fields that vary.
    """
    numbers = [name for name in varied if table[name].dtype.kind in "if"]
    pressure = Measure(quantities.pressure)
    found = _plain(pressure, table[pressure.column].to_numpy(float))
    texts = {name: table[name].astype(str).to_numpy() for name in varied if name not in numbers}
    found += [Feature(name, "", values, text=True) for name, values in texts.items()]
    found += [f for name in numbers for f in _plain(named(name), table[name].to_numpy(float))]
    for stem in dict.fromkeys(name.partition(".")[0] for name in numbers):
        families = [name for name in numbers if name.startswith(f"{stem}.")]
        if len(families) > 1:
            found += _of_families(families, table)
    if set(study.fields) & set(SIZES):
        cases = map(study.case_of, study.settings)
        ratios = {case.key: case.tube.length / case.tube.outer_radius for case in cases}
        ratio = table["case"].map(ratios).to_numpy(float)
        found.append(Feature("length / outer radius", "", ratio))
    return _distinct(found)


def _plain(quantity: Measure, values: Array) -> list[Feature]:
    """Return a field and, if it has both signs, its magnitude."""
    found = [Feature(quantity.name, quantity.unit, values)]
    if values.min() < 0 < values.max():
        found.insert(0, Feature(f"|{quantity.name}|", quantity.unit, abs(values)))
    return found


def _of_families(names: list[str], table: pandas.DataFrame) -> list[Feature]:
    """Return the greatest magnitude of the families, and sums and differences of pairs."""
    values = {named(name): table[name].to_numpy(float) for name in names}
    unit = named(names[0]).unit
    each = ", ".join(f"|{label.name}|" for label in values)
    found = [Feature(each, unit, np.max(np.abs([*values.values()]), axis=0))]
    for (one, x), (other, y) in itertools.combinations(values.items(), 2):
        found.append(Feature(f"|{one.name} + {other.name}|", unit, abs(x + y)))
        found.append(Feature(f"|{one.name} - {other.name}|", unit, abs(x - y)))
    return found


def _distinct(found: list[Feature]) -> list[Feature]:
    """Return the features that vary, without duplicates; equal texts share a name."""
    kept: list[Feature] = []
    for feature in found:
        equal = next((i for i, other in enumerate(kept) if _equal(feature, other)), None)
        if equal is not None and feature.text:
            kept[equal] = replace(kept[equal], name=f"{kept[equal].name}, {feature.name}")
        elif equal is None and len(np.unique(feature.values)) > 1:
            kept.append(feature)
    return kept


def _equal(one: Feature, other: Feature) -> bool:
    if one.text or other.text:
        return one.text and other.text and bool(np.array_equal(one.values, other.values))
    return bool(np.allclose(one.values, other.values, rtol=0, atol=1e-9))
