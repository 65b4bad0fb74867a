"""Neo-Hookean rubber: the energy of a network of Gaussian chains."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from pydantic import Field

from fem.core.arrays import Array
from fem.core.units import Stress
from fem.rubber.law import Volumetric


class NeoHookean(Volumetric):
    """W = mu/2 (I1 - 3).

    Good to about 40 % strain for most silicones; beyond it real rubber stiffens.

    Source: L. R. G. Treloar, Trans. Faraday Soc. 39, 241 (1943); formula from memory.
    """

    law: Literal["neo-Hookean"] = "neo-Hookean"
    shear_modulus: Stress = Field(description="Shear modulus mu of small strain.")

    @property
    def moduli(self) -> tuple[float]:
        """The shear modulus (MPa)."""
        return (self.shear_modulus,)

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    @staticmethod
    def energy(i1: Any, i2: Any, shear_modulus: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return shear_modulus / 2 * (i1 - 3)

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return (mu/2, 0), shaped as `i1`."""
        return np.full_like(i1, self.shear_modulus / 2), np.zeros_like(i1)

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return zeros, shaped as `i1`."""
        zero = np.zeros_like(i1)
        return zero, zero, zero
