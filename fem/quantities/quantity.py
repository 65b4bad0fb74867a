"""Properties of a quantity of the step table, and its registration in the table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Flag, auto
from inspect import cleandoc
from typing import Any, Literal

from fem.core.units import Unit

PLAIN = Unit("a plain number", "", "")
SHARE = Unit("a fraction", "", "%")


def with_suffix(name: str, unit: str) -> str:
    """Return a name with a unit as suffix: ``axial_spring_N_per_mm``."""
    ending = unit.replace(" ", "").replace("^", "").replace("/", "_per_")
    return f"{name}_{ending}" if ending else name


class Trait(Flag):
    """Properties of a quantity beyond labels and numbers."""

    ODD = auto()
    """It changes its sign in the mirror image of a tube."""
    SIGNED = auto()
    """Its sign is a direction."""
    SOLVER = auto()
    """It describes the solution, not the tube: it is not compared."""
    HISTORY = auto()
    """It is in run.json too."""
    REQUIRED = auto()
    """A stored result must have it."""
    MEASURABLE = auto()
    """A measurement file may have it."""
    BRIEF = auto()
    """It is printed on the terminal, not only in the tables of the report."""
    READOUT = auto()
    """It is displayed on page and stills; for families on the page only."""


NO_TRAIT = Trait(0)


@dataclass(frozen=True, eq=False)
class Quantity:
    """A quantity with all that files, tables, pictures and messages need.

    Attributes
    ----------
    name
        Its name in files without the unit: ``ring_torque``.
    definition
        One sentence.
    of
        Argument of `value`: a :class:`fem.quantities.measures.Step`, the
        :class:`fem.quantities.measures.TubeValues` of its tube, or the
        :class:`fem.quantities.measures.ThreadValues` of a family; then each family has a column.
    value
        The function that returns the value of one state, or the array of many; None if the case
        has none.
    kind
        The kind of unit. The column has the shown unit if `factor` is 1, else the inside unit.
    factor
        Factor from the numbers of the column to those on screens.
    label, short
        Labels of an axis and in narrow tables; by default made from the name.
    form
        Format of a number on screens.
    type
        Type of a cell.
    traits
        Its other properties.
    models
        The models that have it.
    section
        Its table in the report, ``motion``, ``tube`` or ``threads``; empty for none.
    picture
        Name of its picture in a study; empty for none.
    """

    name: str
    definition: str
    of: Literal["path", "tube", "threads"]
    value: Callable[[Any], Any]
    kind: Unit = PLAIN
    factor: float = 1.0
    label: str = ""
    short: str = ""
    form: str = ".3f"
    type: Callable[[Any], Any] = float
    traits: Trait = NO_TRAIT
    models: tuple[str, ...] = ("fe", "fast")
    section: Literal["", "motion", "tube", "threads"] = ""
    picture: str = ""

    def __post_init__(self) -> None:
        """Make the labels that are not given."""
        object.__setattr__(self, "label", self.label or self.name.replace("_", " "))
        object.__setattr__(self, "short", self.short or self.label)

    @property
    def unit(self) -> str:
        """Unit of the numbers in the column, empty for plain ones."""
        return self.kind.shown if self.factor == 1 else self.kind.inside

    @property
    def column(self) -> str:
        """Its column in the step table, without a family: ``ring_torque_Nmm``."""
        return with_suffix(self.name, self.unit)

    @property
    def decimals(self) -> int:
        """Number of decimals in displays, the same for all states."""
        return int(self.form[1:-1]) if self.form.endswith("f") else 2


QUANTITIES: list[Quantity] = []
"""The table, in the order of the columns."""


def entry(of: Literal["path", "tube", "threads"], **known: Any) -> Callable[[Any], Quantity]:
    """Return a decorator that adds a function to the table; see :class:`Quantity` for `known`."""

    def enter(function: Callable[[Any], Any]) -> Quantity:
        definition = cleandoc(function.__doc__ or "")
        QUANTITIES.append(Quantity(function.__name__, definition, of, function, **known))
        return QUANTITIES[-1]

    return enter
