"""The table of the rubber: law and constants with their bounds, or the name of a material.

Each class checks the constants of the law of the same name in :mod:`fem.rubber` and creates it; a
new class is added to the union `AnyRubber`.
"""

from __future__ import annotations

from functools import cached_property
from typing import Annotated, Any, ClassVar, Literal, Self

from pydantic import BeforeValidator, Field, TypeAdapter, model_validator

from fem import rubber
from fem.core.schema_base import CheckedTable, Number, invalid
from fem.core.units import STRESS, SignedStress, Stress, StressOrZero, show
from fem.rubber.library import materials

MIN_EXPONENT, MAX_EXPONENT, MAX_TERMS = 0.1, 20.0, 6

BESIDE = ("material", "bulk_ratio")
"""Keys that are allowed in a table with a material."""

COMMON = ("law", "bulk_ratio", "trusted_stretch")
"""Keys that are not constants of one law."""


class RubberTable(CheckedTable):
    """Common keys of the tables of all laws."""

    makes: ClassVar[Any]

    bulk_ratio: Number = Field(
        default=1000.0,
        ge=10.0,
        le=1e6,
        description="Bulk modulus over shear modulus; 1000 is nearly incompressible.",
    )
    trusted_stretch: Number | None = Field(
        default=None,
        gt=1.0,
        le=25.0,
        description="Largest stretch that the constants were fitted to.",
    )

    @cached_property
    def constitutive_law(self) -> rubber.Rubber:
        """The law with its constants (MPa or 1)."""
        return self.makes(**self._constants(), bulk_ratio=self.bulk_ratio)

    def _constants(self) -> dict[str, Any]:
        return {name: getattr(self, name) for name in type(self).model_fields if name not in COMMON}


class NeoHookean(RubberTable):
    """W = mu/2 (I1 - 3)."""

    makes = rubber.NeoHookean

    law: Literal["neo-Hookean"] = "neo-Hookean"
    shear_modulus: Stress = Field(description="Shear modulus mu of small strain.")


class MooneyRivlin(RubberTable):
    """W = C1 (I1 - 3) + C2 (I2 - 3), with shear modulus mu = 2 (C1 + C2)."""

    makes = rubber.MooneyRivlin

    law: Literal["Mooney-Rivlin"] = "Mooney-Rivlin"
    c1: Stress = Field(description="C1, the weight of the first invariant.")
    c2: StressOrZero = Field(description="C2, the weight of the second invariant.")


class Yeoh(RubberTable):
    """W = C1 (I1 - 3) + C2 (I1 - 3)^2 + C3 (I1 - 3)^3, with shear modulus mu = 2 C1."""

    makes = rubber.Yeoh

    law: Literal["Yeoh"] = "Yeoh"
    c1: Stress = Field(description="C1, half the shear modulus of small strain.")
    c2: SignedStress = Field(description="C2, the weight of the square of I1 - 3.")
    c3: SignedStress = Field(default=0.0, description="C3, the weight of the cube of I1 - 3.")


class Gent(RubberTable):
    """W = -mu Jm/2 ln(1 - (I1 - 3)/Jm), with shear modulus mu."""

    makes = rubber.Gent

    law: Literal["Gent"] = "Gent"
    shear_modulus: Stress = Field(description="Shear modulus mu of small strain.")
    limit: Number = Field(
        ge=0.01,
        le=1e6,
        description="Jm, the value of I1 - 3 at which the rubber locks.",
    )


class OgdenTerm(CheckedTable):
    """One term: a modulus mu_p and an exponent alpha_p, of any sign."""

    modulus: SignedStress = Field(description="mu_p; mu_p alpha_p / 2 is its share of mu.")
    exponent: Number = Field(
        ge=-MAX_EXPONENT,
        le=MAX_EXPONENT,
        description="alpha_p, the power of the principal stretches; at least 0.1 or at most -0.1.",
    )

    @model_validator(mode="after")
    def _no_zero_exponent(self) -> Self:
        if abs(self.exponent) < MIN_EXPONENT:
            bounds = f"at least {MIN_EXPONENT} or at most -{MIN_EXPONENT}"
            raise invalid(f"it must be {bounds}", "exponent")
        return self


class Ogden(RubberTable):
    """W = sum of mu_p/alpha_p (l_1^alpha_p + l_2^alpha_p + l_3^alpha_p - 3).

    The l_i are the principal stretches without the change of volume; mu = sum mu_p alpha_p / 2.
    (Another convention has 2 mu_p / alpha_p^2 instead of mu_p / alpha_p; its moduli add up to mu.)
    """

    makes = rubber.Ogden

    law: Literal["Ogden"] = "Ogden"
    terms: tuple[OgdenTerm, ...] = Field(
        json_schema_extra={"minItems": 1, "maxItems": MAX_TERMS},
        description="The terms, each with a modulus and an exponent.",
    )

    def _constants(self) -> dict[str, Any]:
        return {
            "moduli": tuple(term.modulus for term in self.terms),
            "exponents": tuple(term.exponent for term in self.terms),
        }

    @model_validator(mode="after")
    def _check_modulus(self) -> Self:
        if not 1 <= len(self.terms) <= MAX_TERMS:
            raise invalid(f"1 to {MAX_TERMS} terms are required", "terms")
        modulus = self.constitutive_law.shear_modulus
        if not modulus > 0:
            raise invalid(
                "the shear modulus of small strain, half the sum of modulus times exponent, is "
                f"{show(modulus, STRESS)}; it must be greater than 0",
                "terms",
            )
        return self


def _by_name(data: Any) -> Any:
    """Replace the name of a material by its law and constants in the library."""
    if not isinstance(data, dict) or "material" not in data:
        return data
    known, name = materials(), data["material"]
    if not isinstance(name, str) or name not in known:
        allowed = ", ".join(f'"{one}"' for one in known)
        raise invalid(f"unknown; allowed: {allowed}", "material")
    others = [key for key in data if key not in BESIDE]
    if others:
        reason = f"with it only bulk_ratio is allowed; leave out {', '.join(others)}"
        raise invalid(reason, "material")
    return known[name].rubber | {key: data[key] for key in BESIDE[1:] if key in data}


def _or_material(schema: dict[str, Any]) -> None:
    """Add the table that names a material to the schema of the laws."""
    ratio = RubberTable.model_json_schema()["properties"]["bulk_ratio"]
    name = {"enum": list(materials()), "description": "Name of a material of the library."}
    table = {"properties": {"material": name, "bulk_ratio": ratio}, "required": ["material"]}
    schema["oneOf"].append({"type": "object", "additionalProperties": False, **table})


AnyRubber = Annotated[
    NeoHookean | MooneyRivlin | Yeoh | Gent | Ogden,
    Field(discriminator="law", json_schema_extra=_or_material),
    BeforeValidator(_by_name),
]
"""The type of a pydantic field that is a law with constants, or the name of a material."""

rubber_table = TypeAdapter[RubberTable](AnyRubber).validate_python
"""Returns the checked table of the data of a case file."""
