"""Yeoh rubber: a cubic in the first invariant."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from pydantic import Field

from fem.core.arrays import Array
from fem.core.units import Stress
from fem.rubber.law import SignedStress, Volumetric


class Yeoh(Volumetric):
    """W = C1 (I1 - 3) + C2 (I1 - 3)^2 + C3 (I1 - 3)^3, with shear modulus mu = 2 C1.

    C2 and C3 may be negative: rubber often softens before it stiffens. Where the last of them is
    negative, the rubber loses all stiffness at some stretch beyond those it was fitted to.

    Source: O. H. Yeoh, Rubber Chem. Technol. 66(5), 754 (1993), doi 10.5254/1.3538343; formula
    from memory.
    """

    law: Literal["Yeoh"] = "Yeoh"
    c1: Stress = Field(description="C1, half the shear modulus of small strain.")
    c2: SignedStress = Field(description="C2, the weight of the square of I1 - 3.")
    c3: SignedStress = Field(default=0.0, description="C3, the weight of the cube of I1 - 3.")

    @property
    def moduli(self) -> tuple[float, float, float]:
        """C1, C2 and C3 (MPa)."""
        return self.c1, self.c2, self.c3

    @property
    def shear_modulus(self) -> float:
        """Shear modulus of small strain, 2 C1 (MPa)."""
        return 2 * self.c1

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    @staticmethod
    def energy(i1: Any, i2: Any, c1: Any, c2: Any, c3: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        j = i1 - 3
        return j * (c1 + j * (c2 + j * c3))

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return (C1 + 2 C2 j + 3 C3 j^2, 0) with j = I1 - 3, shaped as `i1`."""
        j = i1 - 3
        return self.c1 + j * (2 * self.c2 + j * 3 * self.c3), np.zeros_like(i1)

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return (2 C2 + 6 C3 j, 0, 0) with j = I1 - 3, shaped as `i1`."""
        zero = np.zeros_like(i1)
        return 2 * self.c2 + 6 * self.c3 * (i1 - 3), zero, zero
