r"""Ogden rubber: powers of the principal stretches."""

from __future__ import annotations

from functools import lru_cache
from typing import Any, Literal, NamedTuple, Self

import numpy as np
from pydantic import BaseModel, ConfigDict, Field, model_validator

from fem.core.arrays import Array
from fem.core.schema_base import misfit
from fem.core.units import STRESS, show
from fem.rubber import powers
from fem.rubber.law import SignedStress, Volumetric

LEAST_EXPONENT, MOST_EXPONENT, MOST_TERMS = 0.1, 20.0, 6


class OgdenTerm(BaseModel):
    """One term: a modulus mu_p and an exponent alpha_p, either of either sign."""

    model_config = ConfigDict(extra="forbid", frozen=True)

    modulus: SignedStress = Field(description="mu_p; mu_p alpha_p / 2 is its share of mu.")
    exponent: float = Field(
        ge=-MOST_EXPONENT,
        le=MOST_EXPONENT,
        allow_inf_nan=False,
        strict=True,
        description="alpha_p, the power of the principal stretches; not nearer to 0 than 0.1.",
    )

    @model_validator(mode="after")
    def _no_power_of_nought(self) -> Self:
        if abs(self.exponent) < LEAST_EXPONENT:
            raise misfit(f"it must be {LEAST_EXPONENT} at least, or minus that at most", "exponent")
        return self


class _Family(NamedTuple):
    """Terms whose powers of C, or of its inverse, have the same whole part."""

    inverted: bool
    whole: int
    weights: tuple[float, ...]


class Ogden(Volumetric):
    r"""W = sum of mu_p/alpha_p (l_1^alpha_p + l_2^alpha_p + l_3^alpha_p - 3).

    The l_i are the principal stretches without the change of volume; mu = sum mu_p alpha_p / 2.
    (Beware of the other convention with 2 mu_p / alpha_p^2 instead of mu_p / alpha_p: its moduli
    add up to mu.) The sum of powers is tr C^(alpha_p/2), which :mod:`fem.rubber.powers` turns into
    a smooth function of I1 and I2; tr C^-b is that of the inverse, which has I1 and I2 exchanged.
    Terms with an even exponent are exact.

    What :meth:`energy` takes as constants are the weights of the functions that these powers are
    summed from. The exponents are in them: the compiled form is a new one only where half an
    exponent passes a whole number, or becomes one.

    Source: R. W. Ogden, Proc. R. Soc. A 326, 565 (1972), doi 10.1098/rspa.1972.0026; formula from
    memory.
    """

    law: Literal["Ogden"] = "Ogden"
    terms: tuple[OgdenTerm, ...] = Field(
        json_schema_extra={"minItems": 1, "maxItems": MOST_TERMS},
        description="The terms, each with a modulus and an exponent.",
    )

    @model_validator(mode="after")
    def _resists(self) -> Self:
        if not 1 <= len(self.terms) <= MOST_TERMS:
            raise misfit(f"1 to {MOST_TERMS} terms are due", "terms")
        if not self.shear_modulus > 0:
            found = show(self.shear_modulus, STRESS)
            raise misfit(
                "the shear modulus of small strain, half the sum of modulus times exponent, is "
                f"{found}; it must be greater than 0",
                "terms",
            )
        return self

    @property
    def moduli(self) -> tuple[float, ...]:
        """The weights of all families (MPa)."""
        return tuple(weight for family in _families(self.terms) for weight in family.weights)

    @property
    def shear_modulus(self) -> float:
        """Shear modulus of small strain, half the sum of mu_p alpha_p (MPa)."""
        return sum(term.modulus * term.exponent for term in self.terms) / 2

    @property
    def bulk_modulus(self) -> float:
        """Bulk modulus (MPa)."""
        return self.bulk_ratio * self.shear_modulus

    def energy(self, i1: Any, i2: Any, *moduli: Any) -> Any:
        """Return W(I1, I2) in MPa; see :class:`fem.rubber.law.Rubber`."""
        functions: list[Any] = []
        for inverted, whole, weights in _families(self.terms):
            invariants = (i2, i1) if inverted else (i1, i2)
            functions += powers.functions(*invariants, whole, broken=len(weights) > 1)
        return _sum([m * function for m, function in zip(moduli, functions, strict=True)])

    def slopes(self, i1: Array, i2: Array) -> tuple[Array, Array]:
        """Return (W_1, W_2), shaped as `i1`."""
        w1, w2, *_ = self._derivatives(i1, i2)
        return w1, w2

    def curvatures(self, i1: Array, i2: Array) -> tuple[Array, Array, Array]:
        """Return (W_11, W_12, W_22), shaped as `i1`."""
        _, _, w11, w12, w22 = self._derivatives(i1, i2)
        return w11, w12, w22

    def _derivatives(self, i1: Array, i2: Array) -> Array:
        total = np.zeros((5, *i1.shape))
        for inverted, whole, weights in _families(self.terms):
            if inverted:
                swapped = powers.derivatives(i2, i1, whole, np.array(weights))
                total += swapped[[1, 0, 4, 3, 2]]
            else:
                total += powers.derivatives(i1, i2, whole, np.array(weights))
        return total


def _sum(summands: list[Any]) -> Any:
    """Return the sum, taken in pairs: UFL walks down a nested sum and must not come too deep."""
    while len(summands) > 1:
        pairs = zip(summands[::2], summands[1::2], strict=False)
        summands = [a + b for a, b in pairs] + summands[len(summands) // 2 * 2 :]
    return summands[0]


@lru_cache(maxsize=256)
def _families(terms: tuple[OgdenTerm, ...]) -> tuple[_Family, ...]:
    """Return the terms in families, the weights of those with the same functions added up."""
    found: dict[tuple[bool, int, bool], Array] = {}
    for term in terms:
        whole, beta = divmod(abs(term.exponent) / 2, 1.0)
        fitted = powers.coefficients(beta) if beta else (1.0,)
        key = (term.exponent < 0, int(whole), beta != 0)
        found[key] = found.get(key, 0.0) + term.modulus / term.exponent * np.array(fitted)
    return tuple(_Family(key[0], key[1], tuple(found[key].tolist())) for key in sorted(found))
