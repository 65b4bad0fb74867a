r"""Ogden rubber: powers of the principal stretches."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any, NamedTuple

import numpy as np

from fem.core.arrays import Array
from fem.rubber import powers
from fem.rubber.law import NearlyIncompressible


class _Group(NamedTuple):
    """Terms whose powers of C, or of its inverse, have the same whole part."""

    inverted: bool
    whole: int
    weights: list[Any]


@dataclass(frozen=True)
class Ogden(NearlyIncompressible):
    r"""W = sum of mu_p/alpha_p (l_1^alpha_p + l_2^alpha_p + l_3^alpha_p - 3).

    The l_i are the principal stretches without the change of volume; mu = sum mu_p alpha_p / 2.
    (Another convention has 2 mu_p / alpha_p^2 instead of mu_p / alpha_p; its moduli add up to mu.)
    The sum of powers is tr C^(alpha_p/2), which :mod:`fem.rubber.powers` turns into
    a smooth function of I1 and I2; tr C^-b is that of the inverse, which has I1 and I2 exchanged.
    Terms with an even exponent are exact.

    The parameters of :meth:`energy` are the weights of the functions whose sum replaces these
    powers; they depend on the exponents. A new form is compiled only if the whole part of half an
    exponent changes, or half an exponent becomes a whole number.

    Source: R. W. Ogden, Proc. R. Soc. A 326, 565 (1972), doi 10.1098/rspa.1972.0026; formula from
    memory.

    Attributes
    ----------
    moduli
        The mu_p (MPa), either sign.
    exponents
        The alpha_p, numbers of either sign.
    """

    moduli: tuple[Any, ...]
    exponents: tuple[float, ...]

    @cached_property
    def _groups(self) -> list[_Group]:
        """The terms in groups, the weights of those with the same functions added up."""
        found: dict[tuple[bool, int, bool], list[Any]] = {}
        for modulus, exponent in zip(self.moduli, self.exponents, strict=True):
            whole, beta = divmod(abs(exponent) / 2, 1.0)
            fitted = powers.coefficients(beta) if beta else (1.0,)
            key = (exponent < 0, int(whole), beta != 0)
            before = found.get(key, [0.0] * len(fitted))
            found[key] = [w + modulus / exponent * c for w, c in zip(before, fitted, strict=True)]
        return [_Group(key[0], key[1], found[key]) for key in sorted(found)]

    @property
    def parameters(self) -> tuple[Any, ...]:
        """The weights of all groups (MPa)."""
        return tuple(weight for group in self._groups for weight in group.weights)

    @property
    def shear_modulus(self) -> Any:
        """Shear modulus of small strain, half the sum of mu_p alpha_p (MPa)."""
        return sum(m * a for m, a in zip(self.moduli, self.exponents, strict=True)) / 2

    def energy(self, i1: Any, i2: Any, *parameters: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        functions: list[Any] = []
        for inverted, whole, weights in self._groups:
            invariants = (i2, i1) if inverted else (i1, i2)
            functions += powers.functions(*invariants, whole, fractional=len(weights) > 1)
        return _sum([m * function for m, function in zip(parameters, functions, strict=True)])

    def dW(self, i1: Any, i2: Any) -> tuple[Array, Array]:
        """Return (W_1, W_2)."""
        w1, w2, *_ = self._derivatives(i1, i2)
        return w1, w2

    def d2W(self, i1: Any, i2: Any) -> tuple[Array, Array, Array]:
        """Return (W_11, W_12, W_22)."""
        _, _, w11, w12, w22 = self._derivatives(i1, i2)
        return w11, w12, w22

    def _derivatives(self, i1: Any, i2: Any) -> Array:
        total: Any = 0.0
        for inverted, whole, weights in self._groups:
            if inverted:
                swapped = powers.derivatives(i2, i1, whole, weights)
                total = total + swapped[[1, 0, 4, 3, 2]]
            else:
                total = total + powers.derivatives(i1, i2, whole, weights)
        return np.asarray(total)


def _sum(summands: list[Any]) -> Any:
    """Return the sum, added in pairs: deeply nested sums exceed the recursion limit of UFL."""
    while len(summands) > 1:
        pairs = zip(summands[::2], summands[1::2], strict=False)
        summands = [a + b for a, b in pairs] + summands[len(summands) // 2 * 2 :]
    return summands[0]
