r"""Loads on a long tube of incompressible rubber, bare or with threads.

Independent of the package: stresses come from the deformation gradient as a matrix (for Ogden's
law from its principal values), the integrals from SciPy's adaptive quadrature, and threads from
statics, where the package uses energies. Formulas and source of the tube are in
`test_thick_tube.py`.

Threads with the total tension n T, on the current outer radius b at the current angle psi to the
axis, tan(psi) = b (tan(alpha)/B + twist)/stretch, press on the wall by their curvature
sin^2(psi)/b, distributed over the area 2 pi b cos(psi) per unit of their length:

.. math:: q = \frac{n T \sin^2\psi}{2\pi b^2 \cos\psi}. \qquad (1)

An outer pressure q adds q to the pressure in the bore and -q to every normal stress in the wall.
With P_0, F_0 and M_0 of the bare tube in the same deformation

.. math:: P = P_0 + \sum q, \quad F = F_0 + \sum (n T \cos\psi - q \pi b^2), \quad
          M = M_0 + \sum n T \sin\psi\, b. \qquad (2)

Source of (1) and (2): statics, elementary; derived here.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Self

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq

type Law = Callable[[Any], Any]
"""Stress (MPa) of a left Cauchy-Green matrix, apart from the indeterminate mean stress."""


def mooney_rivlin(c1: float, c2: float = 0.0) -> Law:
    """Return the law of W = C1 (I1 - 3) + C2 (I2 - 3); neo-Hookean where C2 is zero."""
    return lambda left: 2 * c1 * left - 2 * c2 * np.linalg.inv(left)


def yeoh(c1: float, c2: float, c3: float) -> Law:
    """Return the law of W = C1 j + C2 j^2 + C3 j^3 with j = I1 - 3."""

    def stress(left: Any) -> Any:
        j = np.trace(left) - 3
        return 2 * (c1 + 2 * c2 * j + 3 * c3 * j**2) * left

    return stress


def gent(mu: float, limit: float) -> Law:
    """Return the law of W = -mu Jm/2 ln(1 - (I1 - 3)/Jm)."""
    return lambda left: mu * limit / (limit + 3 - np.trace(left)) * left


def ogden(*terms: tuple[float, float]) -> Law:
    """Return the law of W = sum mu/alpha (l1^alpha + l2^alpha + l3^alpha - 3)."""

    def stress(left: Any) -> Any:
        squared, axes = np.linalg.eigh(left)
        principal = sum(mu * squared ** (alpha / 2) for mu, alpha in terms)
        return axes * principal @ axes.T

    return stress


def law_of(rubber: Any) -> Law:
    """Return the law of a case's rubber."""
    match rubber.law:
        case "neo-Hookean":
            return mooney_rivlin(rubber.shear_modulus / 2)
        case "Mooney-Rivlin":
            return mooney_rivlin(rubber.c1, rubber.c2)
        case "Yeoh":
            return yeoh(rubber.c1, rubber.c2, rubber.c3)
        case "Gent":
            return gent(rubber.shear_modulus, rubber.limit)
        case _:
            return ogden(*((term.modulus, term.exponent) for term in rubber.terms))


@dataclass(frozen=True)
class ExactTube:
    """A tube with radii A and B at rest (mm), of rubber of a `law`."""

    A: float
    B: float
    law: Law

    @classmethod
    def of(cls, case: Any) -> Self:
        """Return the tube of a case."""
        return cls(case.tube.bore_radius, case.tube.outer_radius, law_of(case.rubber))

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
        """Return the stretch at which the axial force on the closed tube is zero."""
        return float(brentq(lambda stretch: self.loads(a, stretch)[1], 0.9, 3.0, xtol=1e-13))

    def outer(self, a: float, stretch: float) -> float:
        """Return the current outer radius (mm)."""
        return float(np.sqrt(a**2 + (self.B**2 - self.A**2) / stretch))

    def _stress(self, R: float, r: float, stretch: float, twist: float) -> Any:
        """Return the stress in (r, theta, z), apart from the indeterminate mean stress."""
        F = np.array([[R / (r * stretch), 0, 0], [0, r / R, r * twist], [0, 0, stretch]])
        return self.law(F @ F.T)


@dataclass(frozen=True)
class ExactThreads:
    """All threads of one family.

    Attributes
    ----------
    angle
        Helix angle at rest (rad).
    stiffness
        EA of all threads (N).
    toe, slack
        Strain range of the toe, and slack s.
    """

    angle: float
    stiffness: float
    toe: float
    slack: float = 0.0

    def pull(self, stretch: float) -> float:
        """Return the tension n T (N) where `stretch` is path length over rest length."""
        strain = stretch / (1 + self.slack) - 1
        if strain <= 0:
            return 0.0
        if strain < self.toe:
            return self.stiffness * strain**2 / (2 * self.toe)
        return self.stiffness * (strain - self.toe / 2)


@dataclass(frozen=True)
class ExactActuator:
    """A tube with families of threads on its outer radius."""

    tube: ExactTube
    families: tuple[ExactThreads, ...]

    @classmethod
    def of(cls, case: Any) -> Self:
        """Return the tube of a case."""
        families = [
            ExactThreads(f.angle, f.count * f.stiffness, f.toe, f.slack_strain)
            for f in case.threads
        ]
        return cls(ExactTube.of(case), tuple(families))

    def thread_kinematics(
        self, a: float, stretch: float, twist: float
    ) -> list[tuple[float, float]]:
        """Return the relative path length and the current angle (rad) of each family."""
        b, B = self.tube.outer(a, stretch), self.tube.B
        found = []
        for threads in self.families:
            around, along = b * (np.tan(threads.angle) / B + twist), stretch
            found.append(
                (np.hypot(around, along) * np.cos(threads.angle), np.arctan2(around, along))
            )
        return found

    def pulls(self, a: float, stretch: float, twist: float) -> list[float]:
        """Return n T of each family (N)."""
        courses = self.thread_kinematics(a, stretch, twist)
        return [f.pull(ratio) for f, (ratio, _) in zip(self.families, courses, strict=True)]

    def loads(
        self, a: float, stretch: float, twist: float, pulls: list[float] | None = None
    ) -> tuple[float, float, float]:
        """Return pressure (MPa), axial force (N) and torque (N mm), eq. (2).

        `pulls` replace those of :meth:`pulls`.
        """
        pressure, force, torque = self.tube.loads(a, stretch, twist)
        b = self.tube.outer(a, stretch)
        courses = self.thread_kinematics(a, stretch, twist)
        pulls = self.pulls(a, stretch, twist) if pulls is None else pulls
        for pull, (_, psi) in zip(pulls, courses, strict=True):
            q = pull * np.sin(psi) ** 2 / (2 * np.pi * b**2 * np.cos(psi))
            pressure += q
            force += pull * np.cos(psi) - q * np.pi * b**2
            torque += pull * np.sin(psi) * b
        return pressure, float(force), float(torque)
