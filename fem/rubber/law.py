r"""The interface of a rubber law.

An isotropic, nearly incompressible rubber stores per unit reference volume

.. math:: \psi(F, p) = W(\bar I_1, \bar I_2) + p (J - 1) - p^2 / 2\kappa,

with the invariants of the volume-preserving part of the deformation,
:math:`\bar I_1 = J^{-2/3}\, \mathrm{tr}\, C` and
:math:`\bar I_2 = J^{-4/3} (\mathrm{tr}^2 C - \mathrm{tr}\, C^2) / 2`, so that the rubber is at
rest without stress and the field p is the mean stress itself. A law is the function W alone.
Both models use the same W, the FE model with UFL expressions and the fast model with NumPy arrays,
so they cannot differ.

See also eqs. (1) to (5) of docs/theory.md.

Source: G. A. Holzapfel, Nonlinear Solid Mechanics (2000), sec. 6.4 (decoupled form) and 8.3
(perturbed Lagrangian form); formulas from memory, re-derived.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields
from typing import Any, Protocol

import numpy as np

from fem.core.arrays import Array


class Rubber(Protocol):
    """A rubber law: the energy W and its derivatives, in MPa (N mm per mm3).

    The constants of a law are numbers, or arrays that broadcast against the invariants: the law
    then describes many rubbers.
    """

    def __hash__(self) -> int:
        """Return a hash, if the constants are numbers."""

    @property
    def parameters(self) -> tuple[Any, ...]:
        """Constants of the law, in the order in which :meth:`energy` takes them (MPa or 1)."""

    @property
    def shear_modulus(self) -> Any:
        """Shear modulus of small strain, 2 (W_1 + W_2) at rest (MPa)."""

    @property
    def bulk_ratio(self) -> Any:
        """Bulk modulus over shear modulus."""

    @property
    def bulk_modulus(self) -> Any:
        """Bulk modulus kappa (MPa)."""

    @property
    def locking(self) -> Any:
        """The largest possible I1 - 3; None where there is no such limit."""

    def energy(self, i1: Any, i2: Any, *parameters: Any) -> Any:
        """Return W(I1, I2), zero at rest; the arguments are numbers, arrays or UFL expressions.

        Beyond :attr:`locking` the result is nan for numbers and arrays; the FE model checks the
        limit itself.
        """

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return the first derivatives (W_1, W_2), of the common shape of `i1` and constants."""

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return the second derivatives (W_11, W_12, W_22), of the same shape."""


@dataclass(frozen=True)
class NearlyIncompressible:
    """Common properties of all laws."""

    bulk_ratio: Any = field(default=1000.0, kw_only=True)

    @property
    def constants(self) -> dict[str, Any]:
        """The constants by their names, without the bulk ratio."""
        return {f.name: getattr(self, f.name) for f in fields(self) if not f.kw_only}

    @property
    def parameters(self) -> tuple[Any, ...]:
        """The constants."""
        return tuple(self.constants.values())

    @property
    def bulk_modulus(self: Rubber) -> Any:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    @property
    def locking(self) -> Any:
        """None: there is no limit of the stretch."""
        return None


def log(x: Any) -> Any:
    """Return the natural logarithm of a number, an array or a UFL expression."""
    if hasattr(x, "ufl_shape"):
        import ufl  # installed wherever there are UFL expressions

        return ufl.ln(x)
    return np.log(x)


def spread(constant: Any, i1: Any) -> Array:
    """Return a constant in the common shape of itself and `i1`."""
    return np.full(np.broadcast(constant, i1).shape, constant)
