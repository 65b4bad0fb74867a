"""Mooney-Rivlin rubber: linear in both invariants."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from pydantic import Field

from fem.core.arrays import Array
from fem.core.units import Stress, StressOrZero
from fem.rubber.law import Volumetric


class MooneyRivlin(Volumetric):
    """W = C1 (I1 - 3) + C2 (I2 - 3), with shear modulus mu = 2 (C1 + C2).

    Source: R. S. Rivlin, Phil. Trans. R. Soc. A 241, 379 (1948), doi 10.1098/rsta.1948.0024;
    formula from memory.
    """

    law: Literal["Mooney-Rivlin"] = "Mooney-Rivlin"
    c1: Stress = Field(description="C1, the weight of the first invariant.")
    c2: StressOrZero = Field(description="C2, the weight of the second invariant.")

    @property
    def moduli(self) -> tuple[float, float]:
        """C1 and C2 (MPa)."""
        return self.c1, self.c2

    @property
    def shear_modulus(self) -> float:
        """Shear modulus of small strain, 2 (C1 + C2) (MPa)."""
        return 2 * (self.c1 + self.c2)

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    @staticmethod
    def energy(i1: Any, i2: Any, c1: Any, c2: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return c1 * (i1 - 3) + c2 * (i2 - 3)

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return (C1, C2), each shaped as `i1`."""
        return np.full_like(i1, self.c1), np.full_like(i1, self.c2)

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return zeros, shaped as `i1`."""
        zero = np.zeros_like(i1)
        return zero, zero, zero
