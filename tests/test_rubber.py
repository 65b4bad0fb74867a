"""The rubber laws: each against its own energy, the same energy in UFL, and figures from books."""

from typing import get_args

import numpy as np
import pytest
import ufl
from pydantic import TypeAdapter

from fem.rubber import AnyRubber, MooneyRivlin, NeoHookean

LAWS = [law.model_fields["law"].default for law in get_args(get_args(AnyRubber)[0])]


@pytest.fixture(params=LAWS)
def rubber(request, rubbers):
    return TypeAdapter(AnyRubber).validate_python(rubbers[request.param])


@pytest.fixture
def invariants():
    """Return pairs of invariants as a wall at up to fivefold stretch would have."""
    return np.random.default_rng(1).uniform(3, 25, (2, 50))


def energy(rubber, i1, i2):
    return rubber.energy(i1, i2, *rubber.moduli)


def test_every_law_is_tested(rubbers):
    assert set(rubbers) == set(LAWS)


def test_energy_is_nil_at_rest(rubber):
    assert energy(rubber, 3.0, 3.0) == 0.0


def test_slopes_are_derivatives_of_the_energy(rubber, invariants, derivative):
    for number, slope in enumerate(rubber.slopes(*invariants)):
        direction = np.zeros((2, 1))
        direction[number] = 1.0
        difference = derivative(lambda i: energy(rubber, *i), invariants, direction, 1e-2)
        # round-off, eps * energy / step, is 1e-13 of the shear modulus
        assert slope == pytest.approx(difference, abs=1e-10 * rubber.shear_modulus)


def test_curvatures_are_derivatives_of_the_slopes(rubber, invariants, derivative):
    w11, w12, w22 = rubber.curvatures(*invariants)
    for direction, expected in (([[1.0], [0.0]], (w11, w12)), ([[0.0], [1.0]], (w12, w22))):
        difference = derivative(
            lambda i: np.array(rubber.slopes(*i)), invariants, np.array(direction), 1e-2
        )
        # as above
        assert np.array(expected) == pytest.approx(difference, abs=1e-10 * rubber.shear_modulus)


def test_shear_modulus_is_that_of_small_strain(rubber):
    first, second = rubber.slopes(np.array(3.0), np.array(3.0))
    assert rubber.shear_modulus == pytest.approx(2 * (first + second), rel=1e-15)  # round-off


def test_bulk_modulus_is_the_given_multiple(rubber):
    assert rubber.bulk_modulus == rubber.bulk_ratio * rubber.shear_modulus
    assert rubber.bulk_ratio == 1000.0


def test_ufl_and_numpy_read_the_same_energy(rubber):
    """The form handed to the FE model, worked out by UFL itself, against plain arithmetic."""
    for F in np.eye(3) + 0.3 * np.random.default_rng(2).standard_normal((5, 3, 3)):
        C = ufl.dot(ufl.as_matrix(F.T.tolist()), ufl.as_matrix(F.tolist()))
        i1, i2 = ufl.tr(C), (ufl.tr(C) ** 2 - ufl.tr(C * C)) / 2
        squares = np.linalg.svd(F, compute_uv=False) ** 2
        a, b, c = squares
        expected = energy(rubber, squares.sum(), a * b + b * c + c * a)
        # two ways to the invariants, each good to round-off
        assert float(energy(rubber, i1, i2)(())) == pytest.approx(expected, rel=1e-12)


# Nominal stress of a strip, 2 (x - 1/x^2) (W_1 + W_2/x) at stretch x: R. S. Rivlin, Phil. Trans. R.
# Soc. A 241, 379 (1948); formula from memory, re-derived; worked by hand at x = 2.
@pytest.mark.parametrize(
    ("rubber", "stress"),
    [
        (NeoHookean(shear_modulus="100 kPa"), 0.175),
        (MooneyRivlin(c1="40 kPa", c2="10 kPa"), 0.1575),
    ],
    ids=lambda value: type(value).__name__,
)
def test_pulled_strip(rubber, stress, derivative):
    def stored(x):
        return energy(rubber, x**2 + 2 / x, 2 * x + 1 / x**2)

    # error of the difference: step^4 times the fifth derivative, below 1e-10
    assert derivative(stored, 2.0, 1.0, 1e-3) == pytest.approx(stress, rel=1e-8)
    first, second = rubber.slopes(np.array(2.0**2 + 1), np.array(4 + 1 / 4))
    assert 2 * (2 - 1 / 4) * (first + second / 2) == pytest.approx(stress, rel=1e-14)  # round-off


# Torque and axial force of a solid cylinder twisted at constant length: R. S. Rivlin, Phil. Trans.
# R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009; formulas from memory, re-derived:
#   M = pi mu psi R^4 / 2,  N = -pi psi^2 R^4 (C1 + 2 C2) / 2  (without end pressure),
# worked apart from the code for R = 5 mm, mu = 0.1 MPa, psi = 0.05 rad/mm.
@pytest.mark.parametrize(
    ("rubber", "torque", "force"),
    [
        (NeoHookean(shear_modulus="100 kPa"), 4.90873852, -0.12271846),
        (MooneyRivlin(c1="40 kPa", c2="10 kPa"), 4.90873852, -0.14726216),
    ],
    ids=lambda value: type(value).__name__,
)
def test_twisted_cylinder(rubber, torque, force):
    radius, psi = 5.0, 0.05
    gauss, weights = np.polynomial.legendre.leggauss(4)  # exact here: the integrand is a cubic
    R = radius * (gauss + 1) / 2
    area = np.pi * radius * R * weights
    shear = psi * R
    first, second = rubber.slopes(3 + shear**2, 3 + shear**2)
    # I1 = 2/x + x^2 + shear^2/x and I2 = 2x + (1 + shear^2)/x^2 at axial stretch x, here x = 1
    assert area @ ((first + second) * 2 * shear * R) == pytest.approx(torque, abs=5e-9)  # digits
    assert area @ (-(first + 2 * second) * shear**2) == pytest.approx(force, abs=5e-9)  # given
