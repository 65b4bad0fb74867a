"""One checked value, the test of a list of them, and the record of a check.

The functions in the files `test_*.py` pass computed values to :func:`verify` and curves to
:func:`draw`. Both are recorded; `validation/conftest.py` attaches the record to pytest's report.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from validation.kinds import Kind, kind_of

MODELS = ("FE", "fast")
FORMULA = "formula"


@dataclass(frozen=True)
class Quantity:
    """A computed value and the expected one.

    Attributes
    ----------
    name, source
        "setting, setting, quantity (unit)", and where the expected value comes from.
    expected, computed
        The two values.
    tolerance
        Largest allowed difference, relative to `scale`.
    scale
        Reference of the difference; the expected value unless given.
    by
        Which model computed it: ``"FE"`` or ``"fast"``, ``"both"`` for a part that they share;
        empty where a formula of the chapter is compared with worked numbers.
    mesh
        Of the FE model: cells through the wall x round the whole tube x along the axis.
    bound
        Whether the value only has to be at most the tolerance.
    kind
        Kind of quantity; derived from the name unless given.

    Raises
    ------
    ValueError
        If nothing is expected and there is no scale, or if the kind is unknown.
    """

    name: str
    source: str
    expected: float
    computed: float
    tolerance: float
    scale: float | None = None
    by: str = ""
    mesh: str = ""
    bound: bool = False
    kind: Kind | str = ""

    def __post_init__(self) -> None:
        """Check the scale and set the kind."""
        if not (self.expected if self.scale is None else self.scale):
            raise ValueError(f"{self.name}: the expected value is zero; give it a scale")
        kind = self.kind or kind_of(self.name)
        if kind is None:
            raise ValueError(f"{self.name}: the kind of quantity is unknown; give it a kind")
        object.__setattr__(self, "kind", Kind(kind))

    @property
    def error(self) -> float:
        """Difference relative to the scale."""
        scale = self.expected if self.scale is None else self.scale
        return abs(self.computed - self.expected) / abs(scale)

    @property
    def passed(self) -> bool:
        """Whether the difference is allowed; NaN never passes."""
        return self.error <= self.tolerance

    @property
    def utilisation(self) -> float:
        """Error divided by tolerance; infinite for NaN and for an error where none is allowed."""
        if math.isnan(self.error) or (self.error and not self.tolerance):
            return math.inf
        return self.error / self.tolerance if self.error else 0.0

    @property
    def models(self) -> tuple[str, ...]:
        """The models that computed it, or "formula"."""
        return MODELS if self.by == "both" else (self.by or FORMULA,)

    def __str__(self) -> str:
        return (
            f"{'ok  ' if self.passed else 'FAIL'} {' '.join(filter(None, [self.by, self.name]))}: "
            f"expected {self.expected:.9g}, computed {self.computed:.9g}, "
            f"error {self.error:.2e} (allowed {self.tolerance:.2g}) [{self.source}]"
        )


@dataclass(frozen=True)
class Drawing:
    """Curves of a check, for the page.

    Attributes
    ----------
    title, x, y
        Title, and the labels of the two axes with their units.
    curves
        Abscissae and ordinates by the name of the curve. A name that begins with ``"FE"`` or
        ``"fast"`` belongs to values of a model, drawn as points; any other is a line.
    log
        Whether both axes are logarithmic.
    """

    title: str
    x: str
    y: str
    curves: Mapping[str, tuple[Sequence[float], Sequence[float]]]
    log: bool = False


RECORD: list[Quantity | Drawing] = []
"""What the running check has recorded so far."""


def at_most(
    name: str, source: str, bound: float, computed: float, kind: Kind | str = ""
) -> Quantity:
    """Return the check that a value that cannot be negative is at most `bound`."""
    return Quantity(name, source, 0.0, computed, bound, scale=1.0, bound=True, kind=kind)


def tagged(model: Any, quantities: Iterable[Quantity]) -> list[Quantity]:
    """Return values of a model, with its name and its mesh."""
    by, mesh = {"fe": "FE", "fast": "fast"}[model.name], ""
    if model.mesh:
        counts = [
            model.mesh[f"cells_{way}"] for way in ("through_wall", "around_body", "along_axis")
        ]
        counts[1] *= model.mesh["sectors_of_the_tube"]
        mesh = "x".join(map(str, counts))
    return [replace(quantity, by=by, mesh=mesh) for quantity in quantities]


class ToleranceError(AssertionError):
    """Values exceed their tolerances."""


def draw(drawing: Drawing) -> None:
    """Record curves for the page."""
    RECORD.append(drawing)


def verify(quantities: Iterable[Quantity]) -> None:
    """Print and record all quantities, and fail with all those that exceed their tolerances.

    Raises
    ------
    ToleranceError
        If any exceeds its tolerance.
    AssertionError
        If the list is empty.
    """
    listed = list(quantities)
    RECORD.extend(listed)
    print(*listed, sep="\n")
    if not listed:
        raise AssertionError("nothing was checked")
    if failed := [str(quantity) for quantity in listed if not quantity.passed]:
        raise ToleranceError(f"{len(failed)} of {len(listed)} quantities:\n" + "\n".join(failed))
