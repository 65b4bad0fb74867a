"""One checked quantity, and the verdict on a list of them."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass


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
    """

    name: str
    source: str
    expected: float
    computed: float
    tolerance: float
    scale: float | None = None

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
            f"{'ok  ' if self.passed else 'FAIL'} {self.name}: expected {self.expected:.9g}, "
            f"computed {self.computed:.9g}, off by {self.error:.2e} (allowed {self.tolerance:.0e})"
            f" [{self.source}]"
        )


def at_most(name: str, source: str, bound: float, computed: float) -> Quantity:
    """Return the check that a figure that cannot be negative is no greater than `bound`."""
    return Quantity(name, source, 0.0, computed, bound, scale=1.0)


def verify(quantities: Iterable[Quantity]) -> None:
    """Print every quantity and fail with all those that do not pass."""
    listed = list(quantities)
    print(*listed, sep="\n")
    assert listed, "nothing was checked"
    failed = [str(quantity) for quantity in listed if not quantity.passed]
    assert not failed, f"{len(failed)} of {len(listed)} quantities:\n" + "\n".join(failed)
