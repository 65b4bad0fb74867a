"""Symmetries of the cases of a study: mirror image, and exchange of families.

A reflection in a plane through the axis changes the sign of every helix angle, ring turn, twist and
torque, and nothing else. Two families that differ only in fields that vary for both can be
exchanged. Source: elementary, and ``validation/mirror.py``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fem.quantities.case_fields import SET
from fem.quantities.column import named
from fem.quantities.quantity import Trait

if TYPE_CHECKING:
    import pandas

    from fem.study.plan import Study

ANGLES = ("angle", "ring_turn")
"""Fields that set the helix angle of a family."""

ODD_FIELDS = (*ANGLES, "move_twist")
"""Fields, without their family, that change sign in the mirror image."""

MAX_ELEMENTS = 12
"""Greatest size of the group, which increases the cost of a fit; if there are more elements, only
the mirror image is used."""

DIGITS = 9
"""Decimals to which values of settings are compared."""


@dataclass(frozen=True)
class Element:
    """One symmetry: a permutation of families, with or without the mirror image.

    Attributes
    ----------
    families
        Pairs of a family and the one that replaces it.
    mirrored
        Whether odd quantities, and the fields of :data:`ODD_FIELDS`, change sign.
    """

    families: tuple[tuple[str, str], ...]
    mirrored: bool

    def column(self, name: str) -> str:
        """Return the column that replaces another one."""
        stem, dot, family = name.partition(".")
        return f"{stem}{dot}{dict(self.families).get(family, family)}"

    def sign(self, name: str) -> int:
        """Return -1 for a column that changes sign, else 1."""
        quantity = named(name.removesuffix(SET)).quantity
        odd = Trait.ODD in quantity.traits or quantity.name in ODD_FIELDS
        return -1 if self.mirrored and odd else 1


def symmetries(study: Study) -> tuple[Element, ...]:
    """Return the symmetry group of a study, the identity first."""
    classes = exchangeable(study)
    mirrors = (False, True) if mirrors_itself(study) else (False,)
    if len(mirrors) * math.prod(math.factorial(len(names)) for names in classes) > MAX_ELEMENTS:
        classes = []
    orders = itertools.product(*(itertools.permutations(names) for names in classes))
    names = tuple(itertools.chain(*classes))
    return tuple(
        Element(tuple(zip(names, itertools.chain(*order), strict=True)), mirrored)
        for order in orders
        for mirrored in mirrors
    )


def orbits(
    points: pandas.DataFrame, varied: Sequence[str], elements: Sequence[Element]
) -> pandas.Series[int]:
    """Return a number for each case, the same for all images of a setting.

    Parameters
    ----------
    points
        Columns ``case`` and `varied`.
    varied
        Columns of the fields that vary.
    elements
        The group.
    """
    import pandas

    def image(row: dict[str, float | str], name: str, element: Element) -> float | str:
        value = row[element.column(name)]
        return value if isinstance(value, str) else round(element.sign(name) * value, DIGITS) + 0.0

    settings = points.groupby("case", sort=False)[list(varied)].first()
    rows: list[dict[str, float | str]] = settings.to_dict("records")  # type: ignore[assignment]
    least = [min(tuple(image(r, name, e) for name in varied) for e in elements) for r in rows]
    numbers = {image: number for number, image in enumerate(dict.fromkeys(least))}
    return pandas.Series([numbers[image] for image in least], settings.index)


def mirrors_itself(study: Study) -> bool:
    """Return whether the study has the mirror image of each setting, regardless of ranges."""
    data, varied = study.base.data, set(study.fields)
    odd_values = {
        "end.torque": data["end"].get("torque"),
        "move.twist": data.get("move", {}).get("twist"),
    }
    for family in data.get("threads", ()):
        fields = [f"threads.{family['name']}.{name}" for name in ANGLES]
        if not varied.intersection(fields):
            odd_values[fields[0]] = family.get("ring_turn") or family["angle"]
    fixed = [value for field, value in odd_values.items() if value and field not in varied]
    return all(float(value.split()[0]) == 0 for value in fixed)


def exchangeable(study: Study) -> list[tuple[str, ...]]:
    """Return the names of exchangeable families, in sets of two or more."""
    groups: dict[str, list[str]] = {}
    for family in study.base.data.get("threads", ()):
        prefix = f"threads.{family['name']}."
        own = {field.removeprefix(prefix) for field in study.fields if field.startswith(prefix)}
        ignored = {"name", *own, *(ANGLES if own.intersection(ANGLES) else ())}
        rest = sorted((key, value) for key, value in family.items() if key not in ignored)
        groups.setdefault(repr((sorted(own), rest)), []).append(family["name"])
    return [tuple(names) for names in groups.values() if len(names) > 1]
