"""Neo-Hookean rubber: the energy of a network of Gaussian chains."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.rubber.law import NearlyIncompressible, spread


@dataclass(frozen=True)
class NeoHookean(NearlyIncompressible):
    """W = mu/2 (I1 - 3).

    Accurate to about 40 % strain for most silicones; beyond it real rubber stiffens.

    Source: L. R. G. Treloar, Trans. Faraday Soc. 39, 241 (1943); formula from memory.

    Attributes
    ----------
    shear_modulus
        mu (MPa).
    """

    shear_modulus: Any

    @staticmethod
    def energy(i1: Any, i2: Any, shear_modulus: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return shear_modulus / 2 * (i1 - 3)

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return (mu/2, 0)."""
        first = spread(self.shear_modulus / 2, i1)
        return first, np.zeros_like(first)

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return zeros."""
        zero = np.zeros(np.broadcast(self.shear_modulus, i1).shape)
        return zero, zero, zero
