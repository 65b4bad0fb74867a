"""Gent rubber: chains that can be drawn out only so far."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
from pydantic import Field

from fem.core.arrays import Array
from fem.core.units import Stress
from fem.rubber.law import Volumetric, log


class Gent(Volumetric):
    """W = -mu Jm/2 ln(1 - (I1 - 3)/Jm), with shear modulus mu.

    The stress grows without bound as I1 - 3 nears the limit Jm; for a large Jm it is neo-Hookean.
    Beyond Jm there is no such rubber, and all that is asked of it there is nan.

    Source: A. N. Gent, Rubber Chem. Technol. 69(1), 59 (1996), doi 10.5254/1.3538357; formula from
    memory.
    """

    law: Literal["Gent"] = "Gent"
    shear_modulus: Stress = Field(description="Shear modulus mu of small strain.")
    limit: float = Field(
        ge=0.01,
        le=1e6,
        allow_inf_nan=False,
        strict=True,
        description="Jm, the value of I1 - 3 at which the chains are drawn out.",
    )

    @property
    def moduli(self) -> tuple[float, float]:
        """The shear modulus (MPa) and Jm."""
        return self.shear_modulus, self.limit

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    @property
    def locking(self) -> float:
        """The limit Jm."""
        return self.limit

    @staticmethod
    def energy(i1: Any, i2: Any, shear_modulus: Any, limit: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return -shear_modulus * limit / 2 * log(1 - (i1 - 3) / limit)

    def _room(self, i1: Array) -> Array:
        """Return the share of Jm that is left."""
        room = 1 - (i1 - 3) / self.limit
        return np.where(room > 0, room, np.nan)

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return (mu/2 / (1 - (I1 - 3)/Jm), 0), shaped as `i1`."""
        return self.shear_modulus / 2 / self._room(i1), np.zeros_like(i1)

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return the derivative of the first slope and zeros, shaped as `i1`."""
        zero = np.zeros_like(i1)
        return self.shear_modulus / (2 * self.limit) / self._room(i1) ** 2, zero, zero
