"""The cases of a study, and what of them is left to do."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from fem.case.case import Case
from fem.core.errors import InputError
from fem.quantities.case_fields import cells
from fem.study.plan import Study, StudyError
from fem.study.vary import Value
from fem.study.worker import Task

BUNDLE = 512
"""The fast model solves so many cases in one go."""


@dataclass(frozen=True)
class JobList:
    """The cases of a study.

    Attributes
    ----------
    study
        The study.
    cases
        The cases, each once, in the order of the settings.
    unusable
        Settings that make no case, and why.
    """

    study: Study
    cases: list[Case]
    unusable: list[tuple[dict[str, Value], str]]

    @classmethod
    def of(cls, study: Study) -> JobList:
        """Return the job_list of a study.

        Raises
        ------
        InputError
            If it cannot be done.
        """
        cases: dict[str, Case] = {}
        unusable = []
        for setting in study.settings:
            try:
                case = study.case_of(setting)
            except InputError as error:
                unusable.append((setting, str(error).removeprefix("case: ")))
            else:
                cases.setdefault(case.key, case)
        job_list = cls(study, list(cases.values()), unusable)
        job_list._check()
        return job_list

    def _check(self) -> None:
        """Raise if shapes are asked of no case, or the mesh cannot be made."""
        for wanted in self.study.shapes:
            if not any(self.study.has(case, wanted) for case in self.cases):
                raise StudyError(f"shapes: no case has {wanted}")
        if "fe" in self.study.models:
            from fem.fe.mesh.body import resolve

            resolve(self.cases[0], self.study.resolution, self.cases[0].sectors)

    def asked(self) -> set[tuple[str, str]]:
        """Return case and model of each curve."""
        return set(itertools.product((case.key for case in self.cases), self.study.models))

    @cached_property
    def words(self) -> dict[str, str]:
        """The setting of each case in words, by its key."""
        told = {case.key: cells(case, self.study.fields) for case in self.cases}
        return {
            key: ", ".join(f"{column} {_short(value)}" for column, value in setting.items())
            for key, setting in told.items()
        }

    @property
    def curves(self) -> int:
        """Number of curves: one to each case and model."""
        return len(self.cases) * len(self.study.models)

    def tasks(self, done: set[tuple[str, str]], folder: Path) -> Iterator[Task]:
        """Yield what is left to do; shapes that are wanted must lie in `folder` already."""
        resolution = self.study.resolution
        if "fast" in self.study.models:
            left = [case for case in self.cases if (case.key, "fast") not in done]
            for cases in itertools.batched(left, BUNDLE):
                yield Task("fast", cases, resolution)
        for case in self.cases if "fe" in self.study.models else ():
            shapes = self.study.wants_shapes(case)
            if (case.key, "fe") not in done or (shapes and not (folder / case.key).exists()):
                yield Task("fe", (case,), resolution, shapes)


def _short(value: object) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)
