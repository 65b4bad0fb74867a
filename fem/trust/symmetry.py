"""Which symmetries the cases of a study share: the mirror law, and families that may be exchanged.

Seen in a mirror that holds the axis, every helix angle, ring turn, twist and torque has the other
sign, and nothing else differs. Two families that are equal but for what varies of both may be
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
"""Fields of a family that both set its helix angle."""

TURNED = (*ANGLES, "move_twist")
"""Fields of a case, without their family, that flip their sign in the mirror."""

MOST_ELEMENTS = 12
"""The work of a fit grows with the group; of a greater one the mirror alone is used."""

DIGITS = 9
"""Decimals to which values of a setting are told apart."""


@dataclass(frozen=True)
class Element:
    """One symmetry: which family comes to whose place, and whether all is seen in the mirror.

    Attributes
    ----------
    families
        Pairs of a family and the one that takes its place.
    mirrored
        Whether odd quantities, and the fields of :data:`TURNED`, flip.
    """

    families: tuple[tuple[str, str], ...]
    mirrored: bool

    def column(self, name: str) -> str:
        """Return the column that comes to the place of another."""
        stem, dot, family = name.partition(".")
        return f"{stem}{dot}{dict(self.families).get(family, family)}"

    def sign(self, name: str) -> int:
        """Return -1 for a column that flips, else 1."""
        quantity = named(name.removesuffix(SET)).quantity
        odd = Trait.ODD in quantity.traits or quantity.name in TURNED
        return -1 if self.mirrored and odd else 1


def symmetries(study: Study) -> tuple[Element, ...]:
    """Return the group of symmetries of a study, the identity first."""
    classes = exchangeable(study)
    mirrors = (False, True) if mirrors_itself(study) else (False,)
    if len(mirrors) * math.prod(math.factorial(len(names)) for names in classes) > MOST_ELEMENTS:
        classes = []
    orders = itertools.product(*(itertools.permutations(names) for names in classes))
    whole = tuple(itertools.chain(*classes))
    return tuple(
        Element(tuple(zip(whole, itertools.chain(*order), strict=True)), way)
        for order in orders
        for way in mirrors
    )


def orbits(
    points: pandas.DataFrame, varied: Sequence[str], elements: Sequence[Element]
) -> pandas.Series[int]:
    """Return a number to each case, the same to all images of a setting.

    Parameters
    ----------
    points
        Columns ``case`` and those of the fields that vary, `varied`.
    varied
        Those columns.
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
    """Return whether the mirror image of each setting is one of the same study, ranges apart."""
    data, varied = study.base.data, set(study.fields)
    handed = {
        "end.torque": data["end"].get("torque"),
        "move.twist": data.get("move", {}).get("twist"),
    }
    for family in data.get("threads", ()):
        fields = [f"threads.{family['name']}.{name}" for name in ANGLES]
        if not varied.intersection(fields):
            handed[fields[0]] = family.get("ring_turn") or family["angle"]
    fixed = [value for field, value in handed.items() if value and field not in varied]
    return all(float(value.split()[0]) == 0 for value in fixed)


def exchangeable(study: Study) -> list[tuple[str, ...]]:
    """Return the names of families that may be exchanged, in sets of two or more."""
    sets: dict[str, list[str]] = {}
    for family in study.base.data.get("threads", ()):
        prefix = f"threads.{family['name']}."
        own = {field.removeprefix(prefix) for field in study.fields if field.startswith(prefix)}
        apart = {"name", *own, *(ANGLES if own.intersection(ANGLES) else ())}
        rest = sorted((key, value) for key, value in family.items() if key not in apart)
        sets.setdefault(repr((sorted(own), rest)), []).append(family["name"])
    return [tuple(names) for names in sets.values() if len(names) > 1]
