"""Definition of a study: a case, the fields that vary, the models; read from a TOML file."""

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

MAX_CASES = 1_000_000

MAX_FAILURES = 1000
"""Number of settings without a valid case after which the search for a valid one stops."""


class StudyError(InputError):
    """A study that cannot be used; the message names file, key, value and what is allowed."""


class Scatter(CheckedTable):
    """A quasi-random design for the ranges without a count."""

    method: Literal["Sobol", "Halton", "Latin hypercube"] = Field(
        default="Sobol", description="The design, computed by scipy.stats.qmc."
    )
    points: int = Field(ge=1, le=MAX_CASES, strict=True, description="Number of points.")
    seed: int = Field(default=0, ge=0, strict=True, description="Seed of the design.")

    def sample(self, ranges: int) -> Array:
        """Return the points in the unit cube, shape (points, ranges)."""
        from scipy.stats import qmc

        kinds = {"Sobol": qmc.Sobol, "Halton": qmc.Halton, "Latin hypercube": qmc.LatinHypercube}
        with warnings.catch_warnings():
            warnings.simplefilter("ignore", UserWarning)  # Sobol prefers a power of two
            return kinds[self.method](d=ranges, rng=self.seed).random(self.points)


class Study(CheckedTable):
    """A case and the fields that vary: every combination of their values is one case.

    A setting maps fields to values with units, as in ``{"threads.A.angle": "20 deg"}``.

    Examples
    --------
    >>> study = Study.load("cases/small_reach.study.toml")
    >>> len(study.settings), study.fields
    (25, ['threads.A.angle', 'threads.B.angle'])
    """

    title: str = Field(min_length=1, description="One line that names the study in pictures.")
    note: str = Field(default="", description="Where the numbers come from.")
    case: str = Field(description="Case file, relative to the folder of the study file.")
    models: tuple[Literal["fast", "fe"], ...] = Field(
        default=("fast",), description="Models that are solved."
    )
    resolution: str = Field(default="coarse", description="Mesh of the FE model.")
    set: dict[str, Value] = Field(
        default_factory=dict, description="Fields that differ from the case file in all cases."
    )
    vary: tuple[Vary, ...] = Field(description="What varies.")
    scatter: Scatter | None = Field(
        default=None, description="Design for the ranges that have no count."
    )
    shapes: tuple[dict[str, Value], ...] = Field(
        default=(),
        description="Settings whose FE shapes are kept, by some of their fields; an empty table "
        "keeps all.",
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
            raise invalid("at least one is required", "models")
        if not self.vary:
            raise invalid("vary: at least one table [[vary]] is required")
        fields = self.fields
        for field in [*self.set, *fields]:
            if fields.count(field) + (field in self.set) > 1:
                raise invalid(f'vary: the field "{field}" is set more than once')
        scattered = any(vary.scattered for vary in self.vary)
        if scattered and not self.scatter:
            raise invalid("vary: a range has no count; add a count to it, or a table [scatter]")
        if self.scatter and not scattered:
            raise invalid("scatter: every range has a count; remove [scatter], or a count")
        for setting in self.shapes:
            if unknown := [field for field in setting if field not in fields]:
                raise invalid(f'shapes: the field "{unknown[0]}" does not vary')
        return self

    @classmethod
    def load(cls, path: str | Path) -> Self:
        """Read a study from a TOML file, and the case that it names.

        Raises
        ------
        StudyError
            If the file cannot be read, or is not a study.
        CaseError
            If the case cannot be used.
        """
        path = Path(path)
        return cls.parse(read_toml(path, StudyError), path.parent, str(path))

    @classmethod
    def parse(cls, data: dict[str, Any], folder: str | Path, origin: str = "study") -> Self:
        """Check `data`, with the keys of the TOML file; the case file is relative to `folder`."""
        try:
            study = cls.model_validate(with_new_values(data, origin))
        except ValidationError as error:
            raise StudyError(describe(error, origin, cls)) from None
        base = Case.load(Path(folder) / study.case)
        try:
            return study._with_base(base.changed(**changes(base, study.set)))
        except InputError as error:
            raise StudyError(f"{origin}: {error}") from None

    @classmethod
    def restore(cls, data: dict[str, Any], base: dict[str, Any]) -> Self:
        """Return a study from its :attr:`data` and the data of its base case."""
        return cls.model_validate(data)._with_base(Case.parse(base))

    @property
    def data(self) -> dict[str, Any]:
        """The study, with the keys of the TOML file."""
        return self.model_dump(mode="json", by_alias=True, exclude_none=True)

    def _with_base(self, base: Case) -> Self:
        """Return the study with its base case; check that they are consistent."""
        self._base = base
        count = math.prod(vary.size for vary in self.vary)
        count *= self.scatter.points if self.scatter else 1
        if count > MAX_CASES:
            raise InputError(f"vary: {count} cases; at most {MAX_CASES} are allowed")
        self._first = self._first_case()
        cells(self.sample, self.fields)
        for setting in self.shapes:
            self.sample.changed(**changes(self.sample, setting))
        return self

    def _first_case(self) -> tuple[dict[str, Value], Case]:
        """Return the first setting that gives a valid case, and the case."""
        failures = []
        for setting in self.settings[:MAX_FAILURES]:
            try:
                return setting, self.case_of(setting)
            except InputError as error:
                failures.append(error)
        raise failures[0]

    @property
    def base(self) -> Case:
        """The base case, with the fields of `set`."""
        return self._base

    @property
    def sample(self) -> Case:
        """The first valid case."""
        return self._first[1]

    @property
    def sample_setting(self) -> dict[str, Value]:
        """The setting of the first valid case."""
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

        Successive settings differ in one table by one value: every second pass through the values
        of a table is in reverse order.
        """
        tables = [vary.settings() for vary in self.vary if not vary.scattered]
        if self.scatter:
            tables.append(self._scattered())
        settings: list[dict[str, Value]] = [{}]
        for table in tables:
            orders = itertools.cycle([table, table[::-1]])
            settings = [{**first, **more} for first in settings for more in next(orders)]
        return settings

    def _scattered(self) -> list[dict[str, Value]]:
        assert self.scatter  # checked before
        ranges = [vary for vary in self.vary if vary.scattered]
        columns = self.scatter.sample(len(ranges)).T
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

    def keeps_shapes(self, case: Case) -> bool:
        """Return whether the shapes of a case are kept."""
        return any(self.matches(case, setting) for setting in self.shapes)

    @staticmethod
    def matches(case: Case, setting: Mapping[str, Value]) -> bool:
        """Return whether a case has the values of a setting."""
        return case.changed(**changes(case, setting)) == case
