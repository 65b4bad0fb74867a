r"""A long bare tube with closed ends: the FE model at mid-length against the exact solution.

Source: R. S. Rivlin, Phil. Trans. R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009; A. E.
Green & W. Zerna, Theoretical Elasticity (2nd ed. 1968), ch. III; R. W. Ogden, Non-Linear Elastic
Deformations (1984), sec. 5.3. Formula from memory, re-derived; page not seen.

An incompressible tube with radii A and B at rest, inflated to the bore radius a at the axial
stretch lambda, takes r^2 = a^2 + (R^2 - A^2)/lambda, and radial equilibrium asks for the pressure

.. math:: P(a, \lambda) = \int_a^b (\sigma_{\theta\theta} - \sigma_{rr}) \frac{dr}{r}. \qquad (1)

No force and no torque act on its ends, so lambda is the root of F(a, lambda) = 0 (eq. (2) of
`test_thick_tube.py`), and a bare tube does not turn.

Worked numbers: A = 6, B = 8 mm; neo-Hookean mu = 0.1 MPa and Mooney-Rivlin C1 = 0.04,
C2 = 0.01 MPa; a/A from 1.05 to 1.57, just short of the balloon limit. The FE tube is 120 mm long
(17 mean radii), and read in the middle tenth, so that its end plates are not felt.

Tolerances. 0.3 % of the pressure, which eq. (1) gives for the FE model's own a and lambda: the
rubber is compressible by 1/1000 (worth 0.05 to 0.1 %), the rest is left to the mesh. The stretch,
held against F = 0 at the same a, to 0.5 % of lambda - 1 and 1e-4 for the same compressibility.
Twist and torque are nil to round-off, 1e-9 rad and 1e-9 of the thrust times the outer radius.
"""

import pytest

from fem.loading import TWIST
from fem.state import State
from validation.check import Quantity, verify
from validation.exact import ExactTube
from validation.tubes import MOONEY_RIVLIN, NEO_HOOKEAN, A, B, Walk, middle, tube, walk

SOURCE = "Rivlin 1949, formula from memory, re-derived; page not seen"

RUBBERS = {
    "neo-Hookean": (
        NEO_HOOKEAN,
        ExactTube(A, B, 0.05),
        [4.03, 7.44, 11.0, 14.73, 17.0, 19.0, 20.34],
    ),
    "Mooney-Rivlin": (
        MOONEY_RIVLIN,
        ExactTube(A, B, 0.04, 0.01),
        [4.0, 8.0, 12.0, 16.0, 19.0, 20.5, 22.0],
    ),
}


def check_state(name: str, exact: ExactTube, path: Walk, state: State) -> list[Quantity]:
    """Return the checks of one state on a path."""
    found = middle(path.model, state.x, share=0.1)
    pressure, _, _ = exact.loads(found.a, found.stretch)
    carried = path.model.reactions(state.x, state.loads)
    lever = state.pressure * carried.bore_area * B
    what = f"{name}, a/A = {found.a / A:.3f}"
    stretch = exact.free_stretch(found.a)
    allowed = 5e-3 * (stretch - 1) + 1e-4
    return [
        Quantity(f"{what}, P (MPa)", SOURCE, pressure, state.pressure, 3e-3),
        Quantity(f"{what}, lambda", SOURCE, stretch, found.stretch, allowed, 1.0),
        Quantity(
            f"{what}, twist (rad)",
            "symmetry",
            0.0,
            path.model.coordinates(state.x)[TWIST],
            1e-9,
            1.0,
        ),
        Quantity(f"{what}, torque (N mm)", "symmetry", 0.0, carried.torque, 1e-9, lever),
    ]


@pytest.mark.parametrize("name", RUBBERS)
def test_bare_tube(name: str) -> None:
    rubber, exact, loads = RUBBERS[name]
    path = walk(tube(rubber=rubber, length=120.0), loads, resolution="1x2x40")
    checks = [check for state in path.states[1:] for check in check_state(name, exact, path, state)]
    verify([*checks, *path.balance(name)])
