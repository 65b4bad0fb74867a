"""The rubber laws: derivatives of the energy, the same energy in UFL, and published values."""

from dataclasses import replace

import dolfinx
import numpy as np
import pytest
import ufl
from mpi4py import MPI

from fem import rubber as laws
from fem.case.rubber_table import rubber_table
from fem.rubber import Gent, MooneyRivlin, NeoHookean, Ogden, Yeoh

LAWS = ["neo-Hookean", "Mooney-Rivlin", "Yeoh", "Gent", "Ogden"]


@pytest.fixture(params=LAWS)
def rubber(request, rubbers):
    return rubber_table(rubbers[request.param]).constitutive_law


@pytest.fixture
def invariants():
    """Return pairs of invariants for stretches up to 5."""
    return np.random.default_rng(1).uniform(3, 25, (2, 50))


def energy(rubber, i1, i2):
    return rubber.energy(i1, i2, *rubber.parameters)


def ogden(*terms):
    """Return the rubber with these moduli (kPa) and exponents."""
    return Ogden(tuple(mu / 1e3 for mu, _ in terms), tuple(alpha for _, alpha in terms))


BOOK_OGDEN = ogden((630.0, 1.3), (1.2, 5.0), (-10.0, -2.0))
FRACTIONAL_POWERS = 2e-9
"""Accuracy of the stresses of fractional powers; see `fem.rubber.powers`."""


def test_every_law_is_tested(rubbers):
    assert set(rubbers) == set(LAWS)
    assert len(LAWS) == len(set(laws.__all__) - {"Rubber"})


def test_energy_is_zero_at_rest(rubber):
    assert energy(rubber, 3.0, 3.0) == 0.0


def test_first_derivatives_of_the_energy(rubber, invariants, derivative):
    for number, found in enumerate(rubber.dW(*invariants)):
        direction = np.zeros((2, 1))
        direction[number] = 1.0
        difference = derivative(lambda i: energy(rubber, *i), invariants, direction, 1e-2)
        # round-off, eps * energy / step, is 1e-13 of the shear modulus
        assert found == pytest.approx(difference, abs=1e-10 * rubber.shear_modulus)


def test_second_derivatives_of_the_energy(rubber, invariants, derivative):
    w11, w12, w22 = rubber.d2W(*invariants)
    for direction, expected in (([[1.0], [0.0]], (w11, w12)), ([[0.0], [1.0]], (w12, w22))):
        difference = derivative(
            lambda i: np.array(rubber.dW(*i)), invariants, np.array(direction), 1e-2
        )
        # as above
        assert np.array(expected) == pytest.approx(difference, abs=1e-10 * rubber.shear_modulus)


def test_shear_modulus_is_that_of_small_strain(rubber):
    first, second = rubber.dW(np.array(3.0), np.array(3.0))
    tolerance = FRACTIONAL_POWERS if isinstance(rubber, Ogden) else 1e-15  # round-off
    assert rubber.shear_modulus == pytest.approx(2 * (first + second), rel=tolerance)


def test_bulk_modulus_is_the_given_multiple(rubber):
    assert rubber.bulk_modulus == rubber.bulk_ratio * rubber.shear_modulus
    assert rubber.bulk_ratio == 1000.0


def test_ufl_and_numpy_have_the_same_energy(rubber):
    """The expression for the FE model, evaluated by UFL, compared with plain arithmetic."""
    for F in np.eye(3) + 0.3 * np.random.default_rng(2).standard_normal((5, 3, 3)):
        C = ufl.dot(ufl.as_matrix(F.T.tolist()), ufl.as_matrix(F.tolist()))
        i1, i2 = ufl.tr(C), (ufl.tr(C) ** 2 - ufl.tr(C * C)) / 2
        squares = np.linalg.svd(F, compute_uv=False) ** 2
        a, b, c = squares
        expected = energy(rubber, squares.sum(), a * b + b * c + c * a)
        # invariants computed in two ways, each accurate to round-off
        assert float(energy(rubber, i1, i2)(())) == pytest.approx(expected, rel=1e-12)


# Nominal stress of a strip, 2 (x - 1/x^2) (W_1 + W_2/x) at stretch x: R. S. Rivlin, Phil. Trans. R.
# Soc. A 241, 379 (1948); formula from memory, re-derived; worked by hand at x = 2.
@pytest.mark.parametrize(
    ("rubber", "stress"),
    [
        (NeoHookean(0.1), 0.175),
        (MooneyRivlin(0.04, 0.01), 0.1575),
        (Yeoh(0.11, 0.02), 0.665),
        (Gent(0.1, 30.0), 0.1875),
    ],
    ids=lambda value: type(value).__name__,
)
def test_strip_in_tension(rubber, stress, derivative):
    def stored(x):
        return energy(rubber, x**2 + 2 / x, 2 * x + 1 / x**2)

    # error of the difference: step^4 times the fifth derivative, below 1e-10
    assert derivative(stored, 2.0, 1.0, 1e-3) == pytest.approx(stress, rel=1e-8)
    first, second = rubber.dW(np.array(2.0**2 + 1), np.array(4 + 1 / 4))
    assert 2 * (2 - 1 / 4) * (first + second / 2) == pytest.approx(stress, rel=1e-14)  # round-off


# Torque and axial force of a solid cylinder twisted at constant length: R. S. Rivlin, Phil. Trans.
# R. Soc. A 242, 173 (1949), doi 10.1098/rsta.1949.0009; formulas from memory, re-derived:
#   M = pi mu psi R^4 / 2,  N = -pi psi^2 R^4 (C1 + 2 C2) / 2  (without end pressure),
# computed independently of the code for R = 5 mm, mu = 0.1 MPa, psi = 0.05 rad/mm.
@pytest.mark.parametrize(
    ("rubber", "torque", "force"),
    [
        (NeoHookean(0.1), 4.90873852, -0.12271846),
        (MooneyRivlin(0.04, 0.01), 4.90873852, -0.14726216),
        # M = 4 pi psi (C1 R^4/4 + C2 psi^2 R^6/3 + 3 C3 psi^4 R^8/8), N = -M psi/2
        (Yeoh(0.04, 0.01, 0.002), 4.00995361, -0.10024884),
    ],
    ids=lambda value: type(value).__name__,
)
def test_cylinder_in_torsion(rubber, torque, force):
    radius, psi = 5.0, 0.05
    gauss, weights = np.polynomial.legendre.leggauss(4)  # exact here: to degree 7
    R = radius * (gauss + 1) / 2
    area = np.pi * radius * R * weights
    shear = psi * R
    first, second = rubber.dW(3 + shear**2, 3 + shear**2)
    # I1 = 2/x + x^2 + shear^2/x and I2 = 2x + (1 + shear^2)/x^2 at axial stretch x, here x = 1
    assert area @ ((first + second) * 2 * shear * R) == pytest.approx(torque, abs=5e-9)  # digits
    assert area @ (-(first + 2 * second) * shear**2) == pytest.approx(force, abs=5e-9)  # given


# Nominal stress in tension, equal biaxial tension and pure shear at stretch x: R. W. Ogden,
# Proc. R. Soc. A 326, 565 (1972), doi 10.1098/rspa.1972.0026; constants and formula from memory.
# The values were computed from the stretches, independently of this code:
#   sum of mu (x^(a-1) - x^(-k a - 1)) with k = 1/2, 2, 1.
@pytest.mark.parametrize(
    ("stretch", "stresses"),
    [
        (1.5, (0.40161698, 0.60198023, 0.48156436)),
        (2.0, (0.60272162, 0.82161477, 0.68562248)),
        (3.0, (0.87992610, 1.23070489, 0.95242754)),
        (5.0, (1.73666644, 3.01901477, 1.80538433)),
        (7.0, (3.99522164,)),
    ],
)
def test_natural_rubber_against_published_constants(stretch, stresses):
    # half a unit of the last digit, and the error of fractional powers
    for found, stress in zip(nominal_stresses(BOOK_OGDEN, stretch), stresses, strict=False):
        assert found == pytest.approx(stress, abs=5e-9, rel=FRACTIONAL_POWERS)


# The constants are second-hand (see the silicone of Shore 28A in the library); the stresses were
# computed independently of this code.
def test_silicone_in_uniaxial_and_equibiaxial_tension():
    rubber = Yeoh(0.11, 0.02)
    one_way, two_ways, _ = nominal_stresses(rubber, 1.5)
    assert one_way == pytest.approx(0.281481, abs=5e-7)  # the digits given
    assert two_ways == pytest.approx(0.486849, abs=5e-7)


def nominal_stresses(rubber, x):
    """Return the stresses in uniaxial tension, equibiaxial tension and pure shear."""
    states = [
        (x**2 + 2 / x, 2 * x + x**-2, x - x**-2, 1 / x),
        (2 * x**2 + x**-4, x**4 + 2 / x**2, x - x**-5, x**2),
        (x**2 + 1 + x**-2, x**2 + 1 + x**-2, x - x**-3, 1.0),
    ]
    for i1, i2, pull, share in states:
        first, second = rubber.dW(np.array(i1), np.array(i2))
        yield 2 * pull * (first + share * second)


# --- Ogden ----------------------------------------------------------------------------------


def stretches():
    """Return principal stretches at constant volume, up to 5, some nearly equal."""
    stretches = 5 ** np.random.default_rng(3).uniform(-1, 1, (3000, 3))
    stretches[:1000] **= 0.1
    stretches[:100, 1] = stretches[:100, 0]
    stretches[:, 2] = 1 / (stretches[:, 0] * stretches[:, 1])
    return stretches[stretches.max(axis=1) <= 5]


def invariants_of(stretches):
    squares = stretches**2
    return squares.sum(axis=1), (1 / squares).sum(axis=1)  # their product is 1


EXPONENTS = [0.1, 0.5, 1.0, 1.3, 2.000001, 3.0, 4.0, 5.0, 8.7, 20.0]
EXPONENTS += [-exponent for exponent in EXPONENTS]


@pytest.mark.parametrize("exponent", EXPONENTS)
def test_powers_of_the_stretches(exponent):
    """Energy and stress compared with their formulas in the stretches."""
    modulus, far = 0.1 * np.sign(exponent), stretches()
    rubber, (i1, i2) = ogden((1e3 * modulus, exponent)), invariants_of(far)
    stored = modulus / exponent * ((far**exponent).sum(axis=1) - 3)
    # round-off of numbers near 3 mu / alpha, which grows with 1 / alpha
    assert energy(rubber, i1, i2) == pytest.approx(
        stored, rel=FRACTIONAL_POWERS, abs=1e-13 / abs(exponent)
    )
    first, second = rubber.dW(i1, i2)
    # l dW/dl up to a part that is equal in all directions, like the mean stress
    found = 2 * (first[:, None] * far**2 - second[:, None] / far**2)
    expected = modulus * far**exponent
    gap, scale = (stress - np.roll(stress, 1, axis=1) for stress in (found - expected, expected))
    assert (np.abs(gap).max(axis=1) <= FRACTIONAL_POWERS * np.abs(scale).max(axis=1)).all()


def test_squares_are_neo_hookean(invariants):
    same_at(invariants, ogden((60.0, 2.0)), NeoHookean(0.06))


def test_squares_and_their_inverses_are_mooney_rivlin(invariants):
    same_at(invariants, ogden((80.0, 2.0), (-20.0, -2.0)), MooneyRivlin(0.04, 0.01))


def same_at(invariants, one, other):
    """Check that two rubbers have the same energy and derivatives, to the last bit."""
    assert np.array_equal(energy(one, *invariants), energy(other, *invariants))
    for name in ("dW", "d2W"):
        ours, theirs = getattr(one, name)(*invariants), getattr(other, name)(*invariants)
        assert np.array_equal(ours, theirs)
    assert one.shear_modulus == other.shear_modulus


def test_terms_with_the_same_exponent_are_added(invariants):
    whole, halves = ogden((60.0, 1.3)), ogden((30.0, 1.3), (30.0, 1.3))
    assert energy(halves, *invariants) == pytest.approx(energy(whole, *invariants), rel=1e-15)


def test_form_changes_only_with_the_whole_part_of_a_power():
    """A new form is compiled only as the docstring states: the exponents are in the constants."""
    mesh = dolfinx.mesh.create_unit_interval(MPI.COMM_SELF, 1)
    i1, i2 = (3 + k * ufl.SpatialCoordinate(mesh)[0] for k in (1, 2))

    def signature(*exponents):
        rubber = ogden(*((np.sign(exponent), exponent) for exponent in exponents))
        constants = [dolfinx.fem.Constant(mesh, modulus) for modulus in rubber.parameters]
        return (rubber.energy(i1, i2, *constants) * ufl.dx).signature()

    assert signature(1.3, 5.0) == signature(0.2, 5.9) == signature(5.1, 1.9)
    kinds = [(1.3,), (2.3,), (-1.3,), (2.0,), (1.3, 5.0)]
    assert len({signature(*exponents) for exponents in kinds}) == len(kinds)


def test_wall_at_rest_has_the_stiffness_of_small_strain(make_case, make_model, rubbers):
    """All principal stretches are equal there, where formulas in them have no derivative."""
    rubber = rubber_table(rubbers["Ogden"]).constitutive_law
    plain = {"law": "neo-Hookean", "shear_modulus": f"{rubber.shear_modulus} MPa"}
    found, expected = (
        at_rest(make_model(make_case(rubber=data), "1x1x2")) for data in (rubbers["Ogden"], plain)
    )
    assert np.abs(found - expected).max() <= FRACTIONAL_POWERS * np.abs(expected).max()


def at_rest(model):
    body, tube = model.body, model.tube
    tube.field.set(np.zeros_like(body.nodes), np.zeros((len(body.connectivity), 4)))
    return tube.wall.hessian()


# --- Gent -----------------------------------------------------------------------------------


def test_a_large_limit_gives_neo_hookean_rubber(invariants):
    limit, plain = 1e4, NeoHookean(0.06)
    strain = invariants[0] - 3
    excess = energy(Gent(0.06, limit), *invariants) / energy(plain, *invariants) - 1
    # the next term of the series is 4/3 strain/limit times this one, at most 0.3 %
    assert excess == pytest.approx(strain / (2 * limit), rel=4e-3)


def test_only_gent_rubber_locks(rubbers):
    for law, data in rubbers.items():
        locking = rubber_table(data).constitutive_law.locking
        assert locking == (data["limit"] if law == "Gent" else None)


@np.errstate(all="ignore")
def test_values_are_not_finite_beyond_the_limit():
    rubber, i1 = Gent(0.06, 3.0), np.array([5.9, 6.0, 6.1, 20.0])
    for values in (rubber.dW(i1, i1)[0], rubber.d2W(i1, i1)[0], energy(rubber, i1, i1)):
        assert np.isfinite(values).tolist() == [True, False, False, False]


@pytest.mark.parametrize("share", [0.999, 1.001, 4.0])
def test_cell_is_not_finite_beyond_the_limit(make_case, make_model, share):
    """The path reduces its step there; a finite value would be taken as valid."""
    rubber = {"law": "Gent", "shear_modulus": "60 kPa", "limit": 3.0}
    model = make_model(make_case(rubber=rubber), "1x1x2")
    cells = model.tube.field.function.x.array.reshape(len(model.body.connectivity), -1)
    cells[:] = 0.0
    x = np.roots([1.0, 0.0, -3 * (1 + share), 2.0]).max()  # x^2 + 2/x - 3 is this share of 3
    nodes = model.body.nodes[model.body.connectivity[0]]
    cells[0, : nodes.size] = (nodes * [x**-0.5 - 1, x**-0.5 - 1, x - 1]).ravel()
    assert np.isfinite(model.tube.wall.value()) == (share < 1)
    for derivative in (model.tube.wall.gradient(), model.tube.wall.hessian()):
        first, *others = (bool(np.isfinite(cell).all()) for cell in derivative)
        assert first == (share < 1)
        assert all(others)


# --- constants as arrays --------------------------------------------------------------------


def test_constants_may_be_arrays(rubber):
    """One law with arrays of constants equals many laws with numbers."""
    factors = np.array([0.5, 1.0, 3.0])
    i1, i2 = np.random.default_rng(4).uniform(3, 25, (2, 7, 1))
    stiff = {"shear_modulus", "c1", "c2", "c3", "moduli"} & set(rubber.constants)

    def times(factor):
        constants = {
            name: tuple(factor * mu for mu in value) if name == "moduli" else factor * value
            for name, value in rubber.constants.items()
            if name in stiff
        }
        return replace(rubber, **constants)

    def values(law, *invariants):
        return [energy(law, *invariants), *law.dW(*invariants), *law.d2W(*invariants)]

    many = values(times(factors), i1, i2)
    for k, factor in enumerate(factors):
        alone = values(times(factor), i1[:, 0], i2[:, 0])
        for together, one in zip(many, alone, strict=True):
            assert together.shape == (7, 3)
            assert together[:, k] == pytest.approx(one, rel=1e-12, abs=1e-300)
