"""The cases of a study, and the tasks that are not done yet."""

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

BATCH_SIZE = 512
"""Number of cases that the fast model solves together."""


@dataclass(frozen=True)
class JobList:
    """The cases of a study.

    Attributes
    ----------
    study
        The study.
    cases
        The cases without duplicates, in the order of the settings.
    unusable
        Settings that give no valid case, and the reasons.
    """

    study: Study
    cases: list[Case]
    unusable: list[tuple[dict[str, Value], str]]

    @classmethod
    def of(cls, study: Study) -> JobList:
        """Return the job list of a study.

        Raises
        ------
        InputError
            If the study cannot be solved.
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
        """Raise if no case has the requested shapes, or the mesh cannot be made."""
        for setting in self.study.shapes:
            if not any(self.study.matches(case, setting) for case in self.cases):
                raise StudyError(f"shapes: no case has {setting}")
        if "fe" in self.study.models:
            from fem.fe.mesh.body import resolve

            resolve(self.cases[0], self.study.resolution, self.cases[0].sectors)

    def keys(self) -> set[tuple[str, str]]:
        """Return case and model of each curve."""
        return set(itertools.product((case.key for case in self.cases), self.study.models))

    @cached_property
    def labels(self) -> dict[str, str]:
        """The setting of each case as text, by the key of the case."""
        settings = {case.key: cells(case, self.study.fields) for case in self.cases}
        return {
            key: ", ".join(f"{column} {_short(value)}" for column, value in setting.items())
            for key, setting in settings.items()
        }

    @property
    def curves(self) -> int:
        """Number of curves: one for each case and model."""
        return len(self.cases) * len(self.study.models)

    def tasks(self, done: set[tuple[str, str]], folder: Path) -> Iterator[Task]:
        """Yield the tasks that are not done; `folder` contains the shapes that are kept so far."""
        resolution = self.study.resolution
        if "fast" in self.study.models:
            remaining = [case for case in self.cases if (case.key, "fast") not in done]
            for cases in itertools.batched(remaining, BATCH_SIZE):
                yield Task("fast", cases, resolution)
        for case in self.cases if "fe" in self.study.models else ():
            shapes = self.study.keeps_shapes(case)
            if (case.key, "fe") not in done or (shapes and not (folder / case.key).exists()):
                yield Task("fe", (case,), resolution, shapes)


def _short(value: object) -> str:
    return f"{value:.6g}" if isinstance(value, float) else str(value)
