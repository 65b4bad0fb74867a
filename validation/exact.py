"""Loads on a long tube of incompressible Mooney-Rivlin rubber, by adaptive quadrature.

Independent of the package: stresses come from the deformation gradient as a matrix, and the
integrals from SciPy. Formulas and source stand in `test_thick_tube.py`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq


@dataclass(frozen=True)
class ExactTube:
    """A tube with reference radii A and B (mm) and W = C1 (I1 - 3) + C2 (I2 - 3) (MPa)."""

    A: float
    B: float
    C1: float
    C2: float = 0.0

    def loads(self, a: float, stretch: float, twist: float = 0.0) -> tuple[float, float, float]:
        """Return pressure (MPa), axial force (N) and torque (N mm) at bore radius a."""

        def integral(density: Callable[[float, Any], float]) -> float:
            def over_reference(R: float) -> float:
                r = np.sqrt(a**2 + (R**2 - self.A**2) / stretch)
                return density(r, self._stress(R, r, stretch, twist)) * R / (r * stretch)

            return quad(over_reference, self.A, self.B, epsabs=1e-13, epsrel=1e-12)[0]

        pressure = integral(lambda r, s: (s[1, 1] - s[0, 0]) / r)
        force = integral(lambda r, s: np.pi * (2 * s[2, 2] - s[0, 0] - s[1, 1]) * r)
        torque = integral(lambda r, s: 2 * np.pi * s[1, 2] * r**2)
        return pressure, force, torque

    def free_stretch(self, a: float) -> float:
        """Return the stretch at which the closed tube carries no axial force."""
        return float(brentq(lambda stretch: self.loads(a, stretch)[1], 0.9, 3.0, xtol=1e-13))

    def _stress(self, R: float, r: float, stretch: float, twist: float) -> Any:
        """Return the stress in (r, theta, z), apart from the indeterminate mean stress."""
        F = np.array([[R / (r * stretch), 0, 0], [0, r / R, r * twist], [0, 0, stretch]])
        left = F @ F.T
        return 2 * self.C1 * left - 2 * self.C2 * np.linalg.inv(left)
