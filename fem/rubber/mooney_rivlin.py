"""Mooney-Rivlin rubber: linear in both invariants."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.rubber.law import NearlyIncompressible, spread


@dataclass(frozen=True)
class MooneyRivlin(NearlyIncompressible):
    """W = C1 (I1 - 3) + C2 (I2 - 3), with shear modulus mu = 2 (C1 + C2).

    Source: R. S. Rivlin, Phil. Trans. R. Soc. A 241, 379 (1948), doi 10.1098/rsta.1948.0024;
    formula from memory.

    Attributes
    ----------
    c1, c2
        C1 and C2 (MPa).
    """

    c1: Any
    c2: Any

    @property
    def shear_modulus(self) -> Any:
        """Shear modulus of small strain, 2 (C1 + C2) (MPa)."""
        return 2 * (self.c1 + self.c2)

    @staticmethod
    def energy(i1: Any, i2: Any, c1: Any, c2: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return c1 * (i1 - 3) + c2 * (i2 - 3)

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return (C1, C2)."""
        return spread(self.c1, i1), spread(self.c2, i1)

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return zeros."""
        zero = np.zeros(np.broadcast(self.c1, i1).shape)
        return zero, zero, zero
