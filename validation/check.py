"""One checked quantity, the verdict on a list of them, and the record from which the book is made.

The functions in the files `test_*.py` compute figures and hand them to :func:`verify`, and to
:func:`draw` what is worth a picture. Both are recorded; `validation/conftest.py` attaches the
record to the report of the check, whoever runs it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any


@dataclass(frozen=True)
class Quantity:
    """A computed figure against the one it ought to be.

    Attributes
    ----------
    name, source
        What it is, with its unit, and where the expected figure comes from.
    expected, computed
        The two figures.
    tolerance
        Greatest allowed difference, as a share of `scale`.
    scale
        What the difference is measured against; the expected figure unless given.
    by
        Whose figure it is: ``"FE"`` or ``"fast"``, ``"both"`` of a part that they share; empty
        where a file holds its own formula against worked numbers.
    mesh
        Of the FE model: cells through the wall x round the whole tube x along the axis.
    bound
        Whether the figure need only be no greater than the tolerance.

    Raises
    ------
    ValueError
        If nothing is expected and there is no scale to measure the difference by.
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

    def __post_init__(self) -> None:
        """Refuse what has no error."""
        if not (self.expected if self.scale is None else self.scale):
            raise ValueError(f"{self.name}: a share of nothing; give it a scale")

    @property
    def error(self) -> float:
        """Difference as a share of the scale."""
        scale = self.expected if self.scale is None else self.scale
        return abs(self.computed - self.expected) / abs(scale)

    @property
    def passed(self) -> bool:
        """Whether the difference is allowed; a figure that is not a number never passes."""
        return self.error <= self.tolerance

    def __str__(self) -> str:
        return (
            f"{'ok  ' if self.passed else 'FAIL'} {' '.join(filter(None, [self.by, self.name]))}: "
            f"expected {self.expected:.9g}, computed {self.computed:.9g}, "
            f"off by {self.error:.2e} (allowed {self.tolerance:.2g}) [{self.source}]"
        )


@dataclass(frozen=True)
class Drawing:
    """Curves of a check, for the page.

    Attributes
    ----------
    title, x, y
        What is shown, and the two axes with their units.
    curves
        Abscissae and ordinates by the name of the curve. A name that begins with ``"FE"`` or
        ``"fast"`` is that of a model's figures, drawn as points; any other is a line.
    log
        Whether both axes are logarithmic.
    """

    title: str
    x: str
    y: str
    curves: Mapping[str, tuple[Sequence[float], Sequence[float]]]
    log: bool = False


RECORD: list[Quantity | Drawing] = []
"""What the check at hand has come to so far."""


def at_most(name: str, source: str, bound: float, computed: float) -> Quantity:
    """Return the check that a figure that cannot be negative is no greater than `bound`."""
    return Quantity(name, source, 0.0, computed, bound, scale=1.0, bound=True)


def found_by(model: Any, quantities: Iterable[Quantity]) -> list[Quantity]:
    """Return figures of a model, with its name and its mesh."""
    by, mesh = {"fe": "FE", "fast": "fast"}[model.name], ""
    if model.mesh:
        counts = [
            model.mesh[f"cells_{way}"] for way in ("through_wall", "around_body", "along_axis")
        ]
        counts[1] *= model.mesh["sectors_of_the_tube"]
        mesh = "x".join(map(str, counts))
    return [replace(quantity, by=by, mesh=mesh) for quantity in quantities]


class OffError(AssertionError):
    """Figures are off."""


def draw(drawing: Drawing) -> None:
    """Record curves for the page."""
    RECORD.append(drawing)


def verify(quantities: Iterable[Quantity]) -> None:
    """Print and record every quantity, and fail with all those that do not pass.

    Raises
    ------
    OffError
        If any does not pass.
    AssertionError
        If there is none.
    """
    listed = list(quantities)
    RECORD.extend(listed)
    print(*listed, sep="\n")
    if not listed:
        raise AssertionError("nothing was checked")
    if failed := [str(quantity) for quantity in listed if not quantity.passed]:
        raise OffError(f"{len(failed)} of {len(listed)} quantities:\n" + "\n".join(failed))
