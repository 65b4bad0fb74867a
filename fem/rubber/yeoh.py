"""Yeoh rubber: a cubic in the first invariant."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.rubber.law import NearlyIncompressible


@dataclass(frozen=True)
class Yeoh(NearlyIncompressible):
    """W = C1 (I1 - 3) + C2 (I1 - 3)^2 + C3 (I1 - 3)^3, with shear modulus mu = 2 C1.

    C2 and C3 may be negative: rubber often softens before it stiffens. Where the last of them is
    negative, the rubber loses all stiffness at some stretch beyond those it was fitted to.

    Source: O. H. Yeoh, Rubber Chem. Technol. 66(5), 754 (1993), doi 10.5254/1.3538343; formula
    from memory.

    Attributes
    ----------
    c1, c2, c3
        C1, C2 and C3 (MPa).
    """

    c1: Any
    c2: Any
    c3: Any = 0.0

    @property
    def shear_modulus(self) -> Any:
        """Shear modulus of small strain, 2 C1 (MPa)."""
        return 2 * self.c1

    @staticmethod
    def energy(i1: Any, i2: Any, c1: Any, c2: Any, c3: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        j = i1 - 3
        return j * (c1 + j * (c2 + j * c3))

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return (C1 + 2 C2 j + 3 C3 j^2, 0) with j = I1 - 3."""
        j = i1 - 3
        first = self.c1 + j * (2 * self.c2 + j * 3 * self.c3)
        return first, np.zeros_like(first)

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return (2 C2 + 6 C3 j, 0, 0) with j = I1 - 3."""
        first = 2 * self.c2 + 6 * self.c3 * (i1 - 3)
        zero = np.zeros_like(first)
        return first, zero, zero
