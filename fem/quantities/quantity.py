"""What is known of a quantity of the step table, and how it enters the table."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import Flag, auto
from inspect import cleandoc
from typing import Any, Literal

from fem.core.units import Unit

PLAIN = Unit("a plain number", "", "")
SHARE = Unit("a share", "", "%")


def with_suffix(name: str, unit: str) -> str:
    """Return a name with a unit as columns end with it: ``axial_spring_N_per_mm``."""
    ending = unit.replace(" ", "").replace("^", "").replace("/", "_per_")
    return f"{name}_{ending}" if ending else name


class Trait(Flag):
    """What holds of a quantity, beyond its words and numbers."""

    ODD = auto()
    """The mirror image of a tube has the other sign."""
    SIGNED = auto()
    """Its sign is a direction."""
    SOLVER = auto()
    """It describes the solution process instead of the tube: nothing is compared by it."""
    HISTORY = auto()
    """run.json repeats it."""
    REQUIRED = auto()
    """A stored result without it is refused."""
    MEASURABLE = auto()
    """A measurement file may have it."""
    BRIEF = auto()
    """The terminal has it too, not only the tables of the report."""
    READOUT = auto()
    """Page and stills read it out; of the families the page alone."""


NO_TRAIT = Trait(0)


@dataclass(frozen=True, eq=False)
class Quantity:
    """A quantity: everything that files, tables, pictures and messages need to know of it.

    Attributes
    ----------
    name
        Its name in files, without a unit: ``ring_torque``.
    definition
        One sentence.
    of
        What `value` takes: a :class:`fem.quantities.measures.Step`, the
        :class:`fem.quantities.measures.TubeValues` of its tube, or the
        :class:`fem.quantities.measures.ThreadValues` of a family: then each family has a column.
    value
        The function that returns the number at one state, or the array over many; None where the
        case has none.
    kind
        The kind of unit. The column has the shown unit if `factor` is 1, else the inside unit.
    factor
        What the numbers of the column are multiplied by to be shown.
    label, short
        Words beside an axis, and in narrow tables; by default those of the name.
    form
        Format of a number that is shown.
    type
        Type of a cell.
    traits
        What else holds of it.
    models
        The models that have it.
    section
        The table of the report that has it, ``motion``, ``tube`` or ``threads``; empty for none.
    picture
        Name of the picture of a study that has it; empty for none.
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
        """Make the words that are left out."""
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
        """Digits after the point in read-outs, which keep their width from state to state."""
        return int(self.form[1:-1]) if self.form.endswith("f") else 2


QUANTITIES: list[Quantity] = []
"""The table, in the order of the columns."""


def entry(of: Literal["path", "tube", "threads"], **known: Any) -> Callable[[Any], Quantity]:
    """Return what enters a function into the table; see :class:`Quantity` for what is `known`."""

    def enter(function: Callable[[Any], Any]) -> Quantity:
        definition = cleandoc(function.__doc__ or "")
        QUANTITIES.append(Quantity(function.__name__, definition, of, function, **known))
        return QUANTITIES[-1]

    return enter
