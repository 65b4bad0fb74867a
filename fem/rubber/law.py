r"""What a rubber law is.

An isotropic, nearly incompressible rubber stores per unit reference volume

.. math:: \psi(F, p) = W(\bar I_1, \bar I_2) + p (J - 1) - p^2 / 2\kappa,

with the invariants of the volume-preserving part of the deformation,
:math:`\bar I_1 = J^{-2/3}\, \mathrm{tr}\, C` and
:math:`\bar I_2 = J^{-4/3} (\mathrm{tr}^2 C - \mathrm{tr}\, C^2) / 2`, so that the rubber is at
rest without stress and the field p is the mean stress itself. A law is the function W alone.
Both models read the same W: the FE model hands it UFL expressions, the fast model NumPy arrays,
hence they cannot drift apart.

Source: G. A. Holzapfel, Nonlinear Solid Mechanics (2000), sec. 6.4 (decoupled form) and 8.3
(perturbed Lagrangian form); formulas from memory, re-derived.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from fem.core.arrays import Array
from fem.core.units import STRESS, _field

if TYPE_CHECKING:
    type SignedStress = float
else:
    SignedStress = _field(STRESS, least=-1e4, most=1e4)


class Rubber(Protocol):
    """A rubber law: the energy W and its derivatives, in MPa (N mm per mm3)."""

    @property
    def moduli(self) -> tuple[float, ...]:
        """Constants of the law, in the order in which :meth:`energy` takes them (MPa or 1)."""

    @property
    def shear_modulus(self) -> float:
        """Shear modulus of small strain, 2 (W_1 + W_2) at rest (MPa)."""

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus kappa (MPa)."""

    @property
    def locking(self) -> float | None:
        """The largest I1 - 3 that the rubber can bear, None where there is no such limit."""

    @property
    def trusted_stretch(self) -> float | None:
        """Largest stretch that the constants were fitted to, None where that is not known."""

    def energy(self, i1: Any, i2: Any, *moduli: Any) -> Any:
        """Return W(I1, I2), zero at rest; the arguments are numbers, arrays or UFL expressions.

        Beyond :attr:`locking` numbers and arrays are nan; the FE model sees to that by itself.
        """

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return the first derivatives (W_1, W_2), shaped as `i1`."""

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return the second derivatives (W_11, W_12, W_22), shaped as `i1`."""


class Volumetric(BaseModel):
    """What all laws share: the ratio of bulk to shear modulus, limits, and strict keys."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    bulk_ratio: float = Field(
        default=1000.0,
        ge=10.0,
        le=1e6,
        allow_inf_nan=False,
        strict=True,
        description="Bulk modulus over shear modulus; 1000 is nearly incompressible.",
    )
    trusted_stretch: float | None = Field(
        default=None,
        gt=1.0,
        le=25.0,
        allow_inf_nan=False,
        strict=True,
        description="Largest stretch that the constants were fitted to.",
    )

    @property
    def locking(self) -> float | None:
        """None: the law knows no greatest stretch."""
        return None


def log(x: Any) -> Any:
    """Return the natural logarithm of a number, an array or a UFL expression."""
    if hasattr(x, "ufl_shape"):
        import ufl  # whoever hands in a UFL expression has it

        return ufl.ln(x)
    return np.log(x)
