"""Which symmetries the cases of a study share: the mirror law, and families that may be exchanged.

Seen in a mirror that holds the axis, every helix angle, ring turn, twist and torque has the other
sign, and nothing else differs. Two families that are equal but for what varies of both may be
exchanged. Source: elementary, and ``validation/mirror.py``.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fem.quantities.case_fields import SET
from fem.quantities.column import named
from fem.quantities.quantity import Trait

if TYPE_CHECKING:
    import pandas

    from fem.study.plan import Study

TURNED = ("angle", "ring_turn", "move_twist")
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
    settings: pandas.DataFrame, elements: Sequence[Element]
) -> dict[str, tuple[float | str, ...]]:
    """Return what a setting has in common with its images alone, by its case.

    Parameters
    ----------
    settings
        A row to each case, by its key; columns of the fields that vary.
    elements
        The group.
    """
    names = list(settings.columns)
    rows: dict[Any, dict[Any, Any]] = settings.to_dict("index")
    return {
        case: min(tuple(_image(row, name, element) for name in names) for element in elements)
        for case, row in rows.items()
    }


def _image(row: dict[str, Any], name: str, element: Element) -> float | str:
    value = row[element.column(name)]
    return value if isinstance(value, str) else round(element.sign(name) * value, DIGITS) + 0.0


def mirrors_itself(study: Study) -> bool:
    """Return whether the mirror image of each setting is one of the same study, ranges apart."""
    data, varied = study.base.data, set(study.fields)
    handed = [("end.torque", data["end"].get("torque"))]
    handed.append(("move.twist", data.get("move", {}).get("twist")))
    for family in data.get("threads", ()):
        key = "ring_turn" if "ring_turn" in family else "angle"
        own = {f"threads.{family['name']}.{name}" for name in ("angle", "ring_turn")}
        if not own & varied:
            handed.append(("", family[key]))
    return all(field in varied or _nil(value) for field, value in handed)


def _nil(value: str | None) -> bool:
    return value is None or float(value.split()[0]) == 0


def exchangeable(study: Study) -> list[tuple[str, ...]]:
    """Return the names of families that may be exchanged, in sets of two or more."""
    sets: dict[str, list[str]] = {}
    for family in study.base.data.get("threads", ()):
        name = family["name"]
        own = {field.split(".", 2)[2] for field in study.fields if _of(field, name)}
        sets.setdefault(repr((sorted(own), _rest(family, own))), []).append(name)
    return [tuple(names) for names in sets.values() if len(names) > 1]


def _of(field: str, family: str) -> bool:
    return field.startswith(f"threads.{family}.")


def _rest(family: dict[str, Any], own: Iterable[str]) -> list[tuple[str, Any]]:
    """Return what does not vary of a family, its angle apart where that or the ring varies."""
    besides = {"name", *own}
    if {"angle", "ring_turn"} & besides:
        besides |= {"angle", "ring_turn"}
    return sorted((key, value) for key, value in family.items() if key not in besides)
