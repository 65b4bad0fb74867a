r"""The tension law of a thread, and its slack.

A thread of axial stiffness EA carries tension only. A piece of it that is l0 long on the tube at
rest has, with slack s, the natural length l0 (1 + s). With e = l / (l0 (1 + s)) - 1 its strain,

.. math:: T = EA\, h(e), \qquad h = 0 \; (e \le 0), \quad
          e^2 / 2 e_t \; (e < e_t), \quad e - e_t / 2 \; (e \ge e_t),

once differentiable: the toe region up to e_t is the crimp of a real thread, and it gives a thread
at exactly zero strain a defined tangent, without which Newton's first step stalls. The energy per
natural length is EA H(e) with H' = h.

See also eqs. (20) to (22) of docs/theory.md.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from fem.core.arrays import Array

AT_REST = 1e-12
"""A smaller strain is that of a thread at rest."""


@dataclass(frozen=True)
class TensionLaw:
    """The law of a thread; its constants are numbers, or arrays that broadcast against strains.

    Attributes
    ----------
    stiffness
        Axial stiffness EA (N).
    toe
        Strain range e_t of the toe region.
    """

    stiffness: Any
    toe: Any

    def tension(self, strain: Any) -> tuple[Array, Array]:
        """Return the tension T and its derivative dT/de, both in N.

        At rest the derivative in the toe region is zero, and a step that starts there would not
        see the thread; the derivative beyond the toe region is returned instead. It affects the
        iterations, not their result.
        """
        toe = self.toe
        at_rest = np.abs(strain) < AT_REST
        strain = np.where(at_rest, 0.0, strain)
        in_toe = np.clip(strain, 0.0, toe)
        beyond = np.maximum(strain - toe, 0.0)
        return (
            self.stiffness * (in_toe**2 / (2 * toe) + beyond),
            self.stiffness * np.where(at_rest, 1.0, in_toe / toe),
        )

    def energy(self, strain: Any) -> Array:
        """Return the stored energy per natural length in N (N mm per mm), toe region included."""
        toe = self.toe
        in_toe = np.clip(strain, 0.0, toe)
        beyond = np.maximum(strain - toe, 0.0)
        return np.asarray(self.stiffness * (in_toe**3 / (6 * toe) + beyond * (beyond + toe) / 2))


def applied_slack(slack: Any, prestress_fraction: float) -> Array:
    """Return the slack of threads of which the short ones are tightened by a fraction only.

    Negative slack s stretches a thread to reach its plates; it is multiplied by the fraction.
    """
    return np.where(np.less(slack, 0), prestress_fraction, 1.0) * slack
