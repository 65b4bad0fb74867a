"""The interface of a model that solves many tubes at once.

The unknowns x of n tubes have the shape (unknowns, n); only the model knows their meaning and
number. Volume is the change of the enclosed volume since rest. The model chooses its unit, which
may differ between tubes; energies are in MPa times that unit.
"""

from __future__ import annotations

from typing import NamedTuple, Protocol, Self

from fem.core.arrays import Array, Index, Mask


class Iteration(NamedTuple):
    r"""One Newton iteration of n tubes at trial states x.

    It solves the bordered systems

    .. math:: K\,\delta x - g\,P = -f, \qquad g \cdot \delta x = 0, \qquad\qquad
              K\,x' - g\,P' = 0, \qquad g \cdot x' = 1,

    where K is the stiffness, and f and g are the derivatives of the energy and of the volume V by
    x. The first gives `step` and `pressure`, the second `slope` and `stiffness`. The step to the
    volume V* is `step` + (V* - V) `slope`.

    Attributes
    ----------
    error
        Largest residual force at fixed volume, divided by the force scale, shape (n,).
    step
        The change of x at fixed volume, shape (unknowns, n).
    volume
        Volume at x, shape (n,).
    slope, stiffness
        dx/dV along the path, shape (unknowns, n), and dP/dV, shape (n,).
    pressure
        Pressure in equilibrium with the volume after the step (MPa), shape (n,).
    pressure_weight
        Factor from a pressure residual to a force divided by the force scale, shape (n,); nan where
        x is inadmissible.
    stable_at_fixed_volume, stable
        Whether x is a minimum at fixed volume, and at fixed pressure, shapes (n,).
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
        """Reference value of the pressure (MPa), shape (n,)."""

    def __len__(self) -> int:
        """Return the number of tubes."""

    def take(self, index: Index) -> Self:
        """Return the tubes with these numbers, in this order; numbers may repeat."""

    def rest(self) -> Array:
        """Return the unknowns without loads, shape (unknowns, n)."""

    def iterate(self, x: Array) -> Iteration:
        """Return one Newton iteration at x, including the supports of the free end."""

    def energy(self, x: Array) -> Array:
        """Return the energy stored in wall and threads, shape (n,)."""

    def end_energy(self, x: Array) -> Array:
        """Return the energy of the axial and the torsional spring of the free end, shape (2, n)."""

    def wall_stretch(self, x: Array) -> Array:
        """Return the largest principal stretch in the wall, shape (n,)."""
