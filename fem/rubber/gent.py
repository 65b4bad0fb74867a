"""Gent rubber: chains of limited length."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array
from fem.rubber.law import NearlyIncompressible, log


@dataclass(frozen=True)
class Gent(NearlyIncompressible):
    """W = -mu Jm/2 ln(1 - (I1 - 3)/Jm), with shear modulus mu.

    The stress grows without bound as I1 - 3 approaches the limit Jm; for a large Jm the rubber is
    neo-Hookean. Beyond Jm energy and derivatives are nan.

    Source: A. N. Gent, Rubber Chem. Technol. 69(1), 59 (1996), doi 10.5254/1.3538357; formula from
    memory.

    Attributes
    ----------
    shear_modulus, limit
        mu (MPa) and Jm.
    """

    shear_modulus: Any
    limit: Any

    @property
    def locking(self) -> Any:
        """The limit Jm."""
        return self.limit

    @staticmethod
    def energy(i1: Any, i2: Any, shear_modulus: Any, limit: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        return -shear_modulus * limit / 2 * log(1 - (i1 - 3) / limit)

    def _remaining(self, i1: Any) -> Array:
        """Return the fraction of Jm that remains."""
        remaining = 1 - (i1 - 3) / self.limit
        return np.where(remaining > 0, remaining, np.nan)

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return (mu/2 / (1 - (I1 - 3)/Jm), 0)."""
        first = self.shear_modulus / 2 / self._remaining(i1)
        return first, np.zeros_like(first)

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return the derivative of W_1 and zeros."""
        first = self.shear_modulus / (2 * self.limit) / self._remaining(i1) ** 2
        zero = np.zeros_like(first)
        return first, zero, zero
