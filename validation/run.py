"""Run the checks by pytest, in several processes, and gather what they recorded."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest

from fem.complaint import InputError
from validation.book import FOLDER, Book, Check, chapters
from validation.check import Drawing, Quantity
from validation.conftest import DRAWINGS, QUANTITIES

QUICK, WHOLE = "not slow and not exhaustive", "not exhaustive"
"""Which checks, as pytest selects them by their marks."""

Report = Callable[[str, int, int], None]
"""Is told the chapter of the check just done, the checks done and the checks in all."""


def run(
    names: Sequence[str] = (),
    *,
    whole: bool = False,
    workers: int = 1,
    report: Report | None = None,
) -> Book:
    """Run chapters and return what they found.

    Parameters
    ----------
    names
        The chapters; all unless given.
    whole
        Run the slow checks too.
    workers
        Number of processes.
    report
        Called after each check.

    Raises
    ------
    InputError
        If there is no such chapter.
    """
    known = chapters()
    unknown = [name for name in names if name not in known]
    if unknown:
        raise InputError(f"chapter {', '.join(unknown)}: allowed are {', '.join(known)}")
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # a process to a core is quicker than threads
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    gatherer = _Gatherer(report)
    files = [str(FOLDER / f"test_{name}.py") for name in names or known]
    spread = ["-n", str(workers), "--dist", "worksteal"] if workers > 1 else ["-p", "no:xdist"]
    quiet = ["-p", "no:terminal", "-p", "no:cacheprovider", "-p", "no:benchmark"]
    own = ["-o", "addopts=", "--import-mode=importlib", "-m", WHOLE if whole else QUICK]
    code = pytest.main([*files, *spread, *quiet, *own], plugins=[gatherer])
    if code in (pytest.ExitCode.INTERNAL_ERROR, pytest.ExitCode.USAGE_ERROR):
        raise RuntimeError(f"pytest ended with {code!r}")
    order = list(known)
    gatherer.checks.sort(key=lambda check: order.index(check.chapter))
    return Book(gatherer.checks, interrupted=code == pytest.ExitCode.INTERRUPTED)


@dataclass(eq=False)  # pytest keeps its plugins in sets
class _Gatherer:
    """A plugin of pytest: it takes up each report as it comes."""

    report: Report | None
    checks: list[Check] = field(default_factory=list)
    total: int = 0

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        """Count the checks, where this process runs them itself."""
        self.total = max(self.total, len(session.items))

    @pytest.hookimpl(optionalhook=True)
    def pytest_xdist_node_collection_finished(self, node: Any, ids: Sequence[str]) -> None:
        """Count the checks, where other processes run them."""
        self.total = len(ids)

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Keep what could not even be imported."""
        if report.failed:
            self.checks.append(Check(_chapter(report.nodeid), "import", 0.0, str(report.longrepr)))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Keep what a check recorded."""
        if report.when != "call" and not report.failed:
            return
        skipped = report.longrepr[2] if isinstance(report.longrepr, tuple) else ""
        found: dict[str, Any] = dict(report.user_properties)
        check = Check(
            chapter=_chapter(report.nodeid),
            name=report.nodeid.split("::", 1)[1],
            seconds=report.duration,
            failure=report.longreprtext if report.failed else "",
            omission=skipped.removeprefix("Skipped: "),
            quantities=[Quantity(**data) for data in found.get(QUANTITIES, [])],
            drawings=[Drawing(**data) for data in found.get(DRAWINGS, [])],
        )
        self.checks.append(check)
        if self.report:
            self.report(check.chapter, len(self.checks), self.total)


def _chapter(node: str) -> str:
    """Return the chapter of a node, whose name begins with the path of the file."""
    return node.split("::")[0].rsplit("/", 1)[-1].removeprefix("test_").removesuffix(".py")
