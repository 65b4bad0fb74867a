"""What a model provides so that many tubes are solved at once.

The unknowns x of n tubes have the shape (unknowns, n); what they mean, and how many there are, is
known to the model alone. Volume is the change of the enclosed volume since rest. Its unit, which
may differ from tube to tube, is the model's choice; energies are in MPa times that unit.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol, Self

from fem.core.arrays import Array, Index, Mask


class Iteration(NamedTuple):
    r"""One Newton iteration of n tubes at trial states x.

    It solves the bordered systems

    .. math:: K\,\delta x - g\,P = -f, \qquad g \cdot \delta x = 0, \qquad\qquad
              K\,x' - g\,P' = 0, \qquad g \cdot x' = 1,

    with K the stiffness, f the derivative of the energy and g that of the volume V by x, for `step`
    and `pressure`, and for `slope` and `stiffness`. The step to the volume V* is `step` +
    (V* - V) `slope`.

    Attributes
    ----------
    error
        Largest force out of balance at fixed volume, as a share of the force scale, shape (n,).
    step
        The change of x at fixed volume, shape (unknowns, n).
    volume
        Volume at x, shape (n,).
    slope, stiffness
        dx/dV along the path, shape (unknowns, n), and dP/dV, shape (n,).
    pressure
        Pressure (MPa) in equilibrium with the volume after the step, shape (n,).
    pressure_weight
        Factor from a pressure out of balance to a share of the force scale, shape (n,); nan where
        x is impossible.
    stable_at_fixed_volume, stable
        Whether x is at a minimum under fixed volume, and under fixed pressure, shapes (n,).
    """

    error: Array
    step: Array
    volume: Array
    slope: Array
    stiffness: Array
    pressure: Array
    pressure_weight: Array
    stable_at_fixed_volume: Mask
    stable: Mask


class BatchModel(Protocol):
    """n tubes whose energy depends on unknowns x, shape (unknowns, n)."""

    @property
    def pressure_scale(self) -> Array:
        """A pressure (MPa) against which others are small or not, shape (n,)."""

    def __len__(self) -> int:
        """Return the number of tubes."""

    def take(self, index: Index) -> Self:
        """Return the tubes of these numbers, in their order; one may be taken more than once."""

    def rest(self) -> Array:
        """Return the unknowns without loads, shape (unknowns, n)."""

    def iterate(self, x: Array) -> Iteration:
        """Return one Newton iteration at x, the supports of the free end included."""

    def energy(self, x: Array) -> Array:
        """Return the energy stored in wall and threads, shape (n,)."""

    def end_energy(self, x: Array) -> Array:
        """Return the energy of axial and torsional spring of the free end, shape (2, n)."""

    def wall_stretch(self, x: Array) -> Array:
        """Return the largest principal stretch in the wall, shape (n,)."""
