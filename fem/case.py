"""A case: what is asked. It is read from a TOML file, checked, written back, and hashed."""

from __future__ import annotations

import hashlib
import json
import math
import tomllib
from pathlib import Path
from typing import Any, Self

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from fem.complaint import InputError, describe
from fem.rubber import AnyRubber
from fem.thread import ThreadFamily
from fem.units import Length, Stress

MOST_TURNS = 1000
BARE_SECTORS = 12


class CaseError(InputError):
    """A case that cannot be used; its text names the file, the key, the value and the mend."""


class Part(BaseModel):
    """A frozen group of keys that takes no unknown one."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class Tube(Part):
    """The elastomer tube at rest, between the faces of its end plates."""

    bore_radius: Length = Field(description="Radius of the bore.")
    wall: Length = Field(description="Thickness of the wall.")
    length: Length = Field(description="Length between the end plates.")

    @property
    def outer_radius(self) -> float:
        """Outer radius (mm)."""
        return self.bore_radius + self.wall


class Pressure(Part):
    """The gauge pressure in the bore, raised from zero in equal steps."""

    end: Stress = Field(description="Pressure of the last step.")
    steps: int = Field(ge=1, le=1000, strict=True, description="Number of equal steps.")

    @property
    def values(self) -> list[float]:
        """The pressures of the steps (MPa), without the state at rest."""
        return [self.end * step / self.steps for step in range(1, self.steps + 1)]


class Case(Part):
    """A tube with its threads and the pressure that drives it."""

    title: str = Field(min_length=1, description="One line that names the case in pictures.")
    note: str = Field(default="", description="Where the numbers come from.")
    tube: Tube
    rubber: AnyRubber
    threads: tuple[ThreadFamily, ...] = Field(
        default=(), description="Families of threads; none is a bare tube."
    )
    pressure: Pressure

    @model_validator(mode="after")
    def _check_families(self) -> Self:
        names = [family.name for family in self.threads]
        for name in names:
            if names.count(name) > 1:
                raise ValueError(f'threads: two families are named "{name}"; names must differ')
        for family in self.threads:
            rate = abs(family.turn_rate(self.tube.outer_radius))
            turns = rate * self.tube.length / (2 * math.pi)
            if turns > MOST_TURNS:
                raise ValueError(
                    f'threads: family "{family.name}" makes {turns:.0f} turns round the tube; '
                    f"at most {MOST_TURNS} are allowed: make its angle or the tube smaller"
                )
        return self

    @property
    def sectors(self) -> int:
        """Number of equal sectors: the tube maps onto itself when turned by one of them."""
        return math.gcd(*(family.count for family in self.threads)) or BARE_SECTORS

    @property
    def force_scale(self) -> float:
        """A force (N) against which one out of balance is small or not.

        That is the shear modulus times the section of the wall; the share of the threads' stiffness
        in it stands for the round-off of their tension.
        """
        section = math.pi * (self.tube.outer_radius**2 - self.tube.bore_radius**2)
        stiffness = sum(family.count * family.stiffness for family in self.threads)
        return self.rubber.shear_modulus * section + 1e-6 * stiffness

    @property
    def hash(self) -> str:
        """SHA-256 of the case in a form that no spelling of its file changes."""
        text = json.dumps(self.model_dump(mode="json"), sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read a case from a TOML file.

        Raises
        ------
        CaseError
            If the file cannot be read or does not describe a case.
        """
        try:
            data = tomllib.loads(Path(path).read_text(encoding="utf-8-sig"))
        except OSError as error:
            raise CaseError(f"{path}: cannot be read: {error.strerror}") from None
        except UnicodeDecodeError:
            raise CaseError(f"{path}: not a text file in UTF-8") from None
        except RecursionError:
            raise CaseError(f"{path}: not valid TOML: too deeply nested") from None
        except tomllib.TOMLDecodeError as error:
            raise CaseError(f"{path}: not valid TOML: {error}") from None
        except ValueError:
            raise CaseError(f"{path}: not valid TOML: a number has too many digits") from None
        return cls.parse(data, str(path))

    @classmethod
    def parse(cls, data: dict[str, Any], origin: str = "case") -> Self:
        """Check `data`, laid out as in the TOML file; `origin` names it in messages.

        Raises
        ------
        CaseError
            If it does not describe a case.
        """
        try:
            return cls.model_validate(data)
        except ValidationError as error:
            raise CaseError(describe(error, origin, cls)) from None

    def save(self, path: str | Path) -> None:
        """Write the case as TOML; :meth:`load` reads back an equal case."""
        import tomlkit

        text = tomlkit.dumps(self.model_dump(mode="json"))
        Path(path).write_text(text, encoding="utf-8")

    def changed(self, **changes: Any) -> Self:
        """Return a checked copy with other values, named by dotted keys with ``__`` for the dot.

        >>> case.changed(threads__0__angle="10 deg", pressure__steps=3)  # doctest: +SKIP

        Raises
        ------
        CaseError
            If there is no such key, or its value cannot be used.
        """
        data = self.model_dump(mode="json")
        for key, value in changes.items():
            *parents, last = key.split("__")
            place: Any = data
            try:
                for parent in parents:
                    place = place[int(parent) if parent.isdigit() else parent]
                place[last] = value
            except (KeyError, IndexError, TypeError):
                raise CaseError(f"case: there is no key {key.replace('__', '.')}") from None
        return self.parse(data)


def schema() -> dict[str, Any]:
    """Return the JSON schema of a case file, for completion and checks in an editor."""
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **Case.model_json_schema(mode="validation"),
    }
