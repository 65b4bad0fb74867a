"""What rules of trust may speak of: fields that vary, their magnitudes, sums, differences, L/R.

Rules are in the words of whoever sets the device, so they know nothing of the state of the tube.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, field
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
    """A number or a text to each point, and its words.

    Attributes
    ----------
    words
        What it is called: ``|angle.A + angle.B|``.
    unit
        Its unit, empty for a plain number or a text.
    values
        Of each point, shape (points,).
    text
        Whether the values are texts.
    """

    words: str
    unit: str
    values: Any = field(repr=False)
    text: bool = False


def features(table: pandas.DataFrame, study: Study, varied: list[str]) -> list[Feature]:
    """Return what tells the points of a trust map apart; of equal features only the first.

    Parameters
    ----------
    table
        A trust map.
    study
        The study, for the sizes of its tubes.
    varied
        Columns of the fields that vary.
    """
    numbers = [name for name in varied if table[name].dtype.kind in "if"]
    pressure = Measure(quantities.pressure)
    found = _plain(pressure, table[pressure.column].to_numpy(float))
    found += [f for name in varied if name not in numbers for f in [_text(name, table)]]
    found += [f for name in numbers for f in _plain(named(name), table[name].to_numpy(float))]
    for names in _families(numbers).values():
        found += _jointly(names, table)
    if set(study.fields) & set(SIZES):
        found.append(_slenderness(table, study))
    return _distinct(found)


def _text(name: str, table: pandas.DataFrame) -> Feature:
    return Feature(name, "", table[name].astype(str).to_numpy(), text=True)


def _plain(quantity: Measure, values: Array) -> list[Feature]:
    """Return a field and, where it has either sign, its magnitude."""
    found = [Feature(quantity.name, quantity.unit, values)]
    if values.min() < 0 < values.max():
        found.insert(0, Feature(f"|{quantity.name}|", quantity.unit, abs(values)))
    return found


def _families(numbers: list[str]) -> dict[str, list[str]]:
    """Return the columns that hold the same of several families, by what it is."""
    stems: dict[str, list[str]] = {}
    for name in numbers:
        stem, dot, _ = name.partition(".")
        if dot:
            stems.setdefault(stem, []).append(name)
    return {stem: names for stem, names in stems.items() if len(names) > 1}


def _jointly(names: list[str], table: pandas.DataFrame) -> list[Feature]:
    """Return the greatest magnitude over the families, and sums and differences of any two."""
    labels = [named(name) for name in names]
    unit = labels[0].unit
    values = table[names].to_numpy(float)
    each = ", ".join(f"|{label.name}|" for label in labels)
    found = [Feature(each, unit, abs(values).max(axis=1))]
    for i, j in itertools.combinations(range(len(names)), 2):
        one, other = labels[i].name, labels[j].name
        found.append(Feature(f"|{one} + {other}|", unit, abs(values[:, i] + values[:, j])))
        found.append(Feature(f"|{one} - {other}|", unit, abs(values[:, i] - values[:, j])))
    return found


def _slenderness(table: pandas.DataFrame, study: Study) -> Feature:
    """Return the length of the tube over its outer radius."""
    cases = map(study.case_of, study.settings)
    ratios = {case.key: case.tube.length / case.tube.outer_radius for case in cases}
    return Feature("length / outer radius", "", table["case"].map(ratios).to_numpy(float))


def _distinct(found: list[Feature]) -> list[Feature]:
    """Return the features that vary, each only once; equal texts are named together."""
    kept: list[Feature] = []
    for feature in found:
        equal = next((i for i, other in enumerate(kept) if _equal(feature, other)), None)
        if equal is None:
            if len(np.unique(feature.values)) > 1:
                kept.append(feature)
        elif feature.text:
            first = kept[equal]
            words = f"{first.words}, {feature.words}"
            kept[equal] = Feature(words, "", first.values, text=True)
    return kept


def _equal(one: Feature, other: Feature) -> bool:
    if one.text or other.text:
        return one.text and other.text and bool(np.array_equal(one.values, other.values))
    return bool(np.allclose(one.values, other.values, rtol=0, atol=1e-9))
