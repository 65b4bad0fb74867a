"""What a study asks: a case, the fields that vary, the models; read from a TOML file."""

from __future__ import annotations

import hashlib
import itertools
import json
import math
import warnings
from collections.abc import Mapping
from functools import cached_property
from pathlib import Path
from typing import Any, Literal, Self

from pydantic import Field, PrivateAttr, ValidationError, field_validator, model_validator

from fem.case.case import Case
from fem.core.arrays import Array
from fem.core.errors import InputError, describe
from fem.core.renamed import with_new_values
from fem.core.schema_base import CheckedTable, invalid
from fem.core.text_file import read_toml
from fem.quantities.case_fields import cells, changes
from fem.study.vary import Value, Vary

MOST_CASES = 1_000_000

MOST_FAILURES = 1000
"""If so many settings make no case, none will."""


class StudyError(InputError):
    """A study that cannot be used; its text names the file, the key, the value and the mend."""


class Scatter(CheckedTable):
    """A quasi-random design, which fills the ranges without a count more evenly than chance."""

    method: Literal["Sobol", "Halton", "Latin hypercube"] = Field(
        default="Sobol", description="The design, as scipy.stats.qmc makes it."
    )
    points: int = Field(ge=1, le=MOST_CASES, strict=True, description="Number of points.")
    seed: int = Field(default=0, ge=0, strict=True, description="Seed of the design.")

    def places(self, ranges: int) -> Array:
        """Return the points, shape (points, ranges), from 0 to 1."""
        from scipy.stats import qmc

        kinds = {"Sobol": qmc.Sobol, "Halton": qmc.Halton, "Latin hypercube": qmc.LatinHypercube}
        with warnings.catch_warnings():  # Sobol's balance wants a power of two: the user's choice
            warnings.simplefilter("ignore", UserWarning)
            return kinds[self.method](d=ranges, rng=self.seed).random(self.points)


class Study(CheckedTable):
    """A case and what is varied of it: every combination of the values is one case."""

    title: str = Field(min_length=1, description="One line that names the study in pictures.")
    note: str = Field(default="", description="Where the numbers come from.")
    case: str = Field(description="Case file, seen from the folder of the study file.")
    models: tuple[Literal["fast", "fe"], ...] = Field(
        default=("fast",), description="Models that are solved."
    )
    resolution: str = Field(default="coarse", description="Mesh of the FE model.")
    set: dict[str, Value] = Field(
        default_factory=dict, description="Fields that differ from the case file throughout."
    )
    vary: tuple[Vary, ...] = Field(description="What varies.")
    scatter: Scatter | None = Field(
        default=None, description="Design for the ranges that have no count."
    )
    shapes: tuple[dict[str, Value], ...] = Field(
        default=(),
        description="Settings, by some of their fields, whose FE shapes are kept; one without "
        "fields keeps all.",
    )
    _base: Case = PrivateAttr()
    _first: tuple[dict[str, Value], Case] = PrivateAttr()

    @field_validator("models")
    @classmethod
    def _each_once(cls, models: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(dict.fromkeys(models))

    @model_validator(mode="after")
    def _check(self) -> Self:
        if not self.models:
            raise invalid("there must be one at least", "models")
        if not self.vary:
            raise invalid("vary: there must be one table [[vary]] at least")
        fields = self.fields
        for field in [*self.set, *fields]:
            if fields.count(field) + (field in self.set) > 1:
                raise invalid(f'vary: the field "{field}" is set more than once')
        scattered = any(vary.scattered for vary in self.vary)
        if scattered and not self.scatter:
            raise invalid("vary: a range has no count; give it one, or a table [scatter]")
        if self.scatter and not scattered:
            raise invalid("scatter: every range has a count, so nothing is left to scatter")
        for wanted in self.shapes:
            if unknown := [field for field in wanted if field not in fields]:
                raise invalid(f'shapes: the field "{unknown[0]}" does not vary')
        return self

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read a study from a TOML file, and the case that it names.

        Raises
        ------
        StudyError
            If it cannot be read, or does not describe a study.
        CaseError
            If the case cannot be used.
        """
        path = Path(path)
        return cls.parse(read_toml(path, StudyError), path.parent, str(path))

    @classmethod
    def parse(cls, data: dict[str, Any], folder: Path, origin: str = "study") -> Self:
        """Check `data`, laid out as in the TOML file; cases are looked for from `folder`."""
        try:
            study = cls.model_validate(with_new_values(data, origin))
        except ValidationError as error:
            raise StudyError(describe(error, origin, cls)) from None
        base = Case.load(folder / study.case)
        try:
            return study._on(base.changed(**changes(base, study.set)))
        except InputError as error:
            raise StudyError(f"{origin}: {error}") from None

    @classmethod
    def restore(cls, data: dict[str, Any], base: dict[str, Any]) -> Self:
        """Return a study from what :attr:`data` and the base case were written down as."""
        return cls.model_validate(data)._on(Case.parse(base))

    @property
    def data(self) -> dict[str, Any]:
        """The study laid out as in the TOML file."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)

    def _on(self, base: Case) -> Self:
        """Return the study with its base case; look if the two fit."""
        self._base = base
        count = math.prod(vary.size for vary in self.vary)
        count *= self.scatter.points if self.scatter else 1
        if count > MOST_CASES:
            raise InputError(f"vary: {count} cases; at most {MOST_CASES} are allowed")
        self._first = self._first_case()
        cells(self.sample, self.fields)
        for wanted in self.shapes:
            self.sample.changed(**changes(self.sample, wanted))
        return self

    def _first_case(self) -> tuple[dict[str, Value], Case]:
        """Return the first setting that makes a case, and the case."""
        failures = []
        for setting in self.settings[:MOST_FAILURES]:
            try:
                return setting, self.case_of(setting)
            except InputError as error:
                failures.append(error)
        raise failures[0]

    @property
    def base(self) -> Case:
        """The case with what is set throughout."""
        return self._base

    @property
    def sample(self) -> Case:
        """The first of the cases."""
        return self._first[1]

    @property
    def sample_setting(self) -> dict[str, Value]:
        """The setting of the first of the cases."""
        return self._first[0]

    @property
    def fields(self) -> list[str]:
        """The fields that vary."""
        return [field for vary in self.vary for field in vary.fields]

    @property
    def hash(self) -> str:
        """SHA-256 of the study and its case."""
        text = json.dumps([self.data, self.base.hash], sort_keys=True)
        return hashlib.sha256(text.encode()).hexdigest()

    @cached_property
    def settings(self) -> list[dict[str, Value]]:
        """The value of each field that varies, for each case.

        Neighbours in the list are neighbours in the design: every second run through the values
        of a table goes backwards.
        """
        tables = [vary.settings() for vary in self.vary if not vary.scattered]
        if self.scatter:
            tables.append(self._scattered())
        settings: list[dict[str, Value]] = [{}]
        for table in tables:
            turns = itertools.cycle([table, table[::-1]])
            settings = [{**so_far, **more} for so_far in settings for more in next(turns)]
        return settings

    def _scattered(self) -> list[dict[str, Value]]:
        assert self.scatter  # it was checked
        ranges = [vary for vary in self.vary if vary.scattered]
        columns = self.scatter.places(len(ranges)).T
        parts = [vary.settings(at) for vary, at in zip(ranges, columns, strict=True)]
        return [
            {field: value for part in point for field, value in part.items()}
            for point in zip(*parts, strict=True)
        ]

    def case_of(self, setting: Mapping[str, Value]) -> Case:
        """Return the case of a setting.

        Raises
        ------
        CaseError
            If it cannot be used.
        """
        return self.base.changed(**changes(self.base, setting))

    def wants_shapes(self, case: Case) -> bool:
        """Return whether the shapes of a case are to be kept."""
        return any(self.has(case, wanted) for wanted in self.shapes)

    @staticmethod
    def has(case: Case, setting: Mapping[str, Value]) -> bool:
        """Return whether a case has these values of some fields."""
        return case.changed(**changes(case, setting)) == case
