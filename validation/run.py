"""Run the checks by pytest, in several processes, and collect their records."""

from __future__ import annotations

import os
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

import pytest

from fem.core.errors import InputError
from validation.check import Drawing, Quantity
from validation.conftest import DRAWINGS, QUANTITIES
from validation.suite import FOLDER, Check, SuiteResult, chapters

QUICK, WHOLE = "not slow and not exhaustive", "not exhaustive"
"""Expressions by which pytest selects the checks."""

Report = Callable[[str, int, int], None]
"""Called with the chapter of the finished check, the number of finished checks and of all."""


def chosen(names: Sequence[str]) -> list[str]:
    """Return the names of chapters, all unless any is given.

    Raises
    ------
    InputError
        If there is no such chapter.
    """
    known = chapters()
    if unknown := [name for name in names if name not in known]:
        raise InputError(f"chapter {', '.join(unknown)}: unknown; allowed: {', '.join(known)}")
    return list(names or known)


def run(
    names: Sequence[str] = (),
    *,
    whole: bool = False,
    workers: int = 1,
    report: Report | None = None,
) -> SuiteResult:
    """Run chapters and return their results.

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
    files = [str(FOLDER / f"test_{name}.py") for name in chosen(names)]
    os.environ.setdefault("OMP_NUM_THREADS", "1")  # one process per core is faster than threads
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    os.environ.pop("PYTEST_ADDOPTS", None)  # meant for other tests
    spread = ["-n", str(workers), "--dist", "worksteal"] if workers > 1 else ["-p", "no:xdist"]
    quiet = ["-p", "no:terminal", "-p", "no:cacheprovider", "-p", "no:benchmark"]
    own = ["-o", "addopts=", "--import-mode=importlib", "--continue-on-collection-errors"]
    collector = _Collector(report)
    code = pytest.main(
        [*files, *spread, *quiet, *own, "-m", WHOLE if whole else QUICK], plugins=[collector]
    )
    if code in (pytest.ExitCode.INTERNAL_ERROR, pytest.ExitCode.USAGE_ERROR):
        raise RuntimeError(f"pytest ended with {code!r}")
    return SuiteResult(collector.sorted(), interrupted=collector.interrupted)


@dataclass(eq=False)  # pytest keeps its plugins in sets
class _Collector:
    """A plugin of pytest that collects the reports."""

    report: Report | None
    checks: dict[str, Check] = field(default_factory=dict)
    order: list[str] = field(default_factory=list)
    interrupted: bool = False

    def sorted(self) -> list[Check]:
        """Return the checks in the order of the files, not in the order in which they ended."""
        place = {node: number for number, node in enumerate(self.order)}
        return [self.checks[node] for node in sorted(self.checks, key=lambda n: place.get(n, -1))]

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        """Store the order of the checks, where this process runs them."""
        self.order = [item.nodeid for item in session.items] or self.order

    @pytest.hookimpl(optionalhook=True)
    def pytest_xdist_node_collection_finished(self, node: Any, ids: Sequence[str]) -> None:
        """Store the order of the checks, where other processes run them."""
        self.order = list(ids)

    def pytest_keyboard_interrupt(self) -> None:
        """Record that the user interrupted the run."""
        self.interrupted = True

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        """Record a file that cannot be imported; each process reports it."""
        if report.failed:
            node, reason = report.nodeid, str(report.longrepr)
            self.checks[node] = Check(_chapter(node), "import", 0.0, reason)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        """Record the result of a check."""
        if report.when != "call" and not report.failed:
            return
        skipped = report.longrepr[2] if isinstance(report.longrepr, tuple) else ""
        found: dict[str, Any] = dict(report.user_properties)
        check = Check(
            chapter=_chapter(report.nodeid),
            name=report.nodeid.split("::", 1)[1],
            seconds=report.duration,
            failure=report.longreprtext if report.failed else "",
            quantities=[Quantity(**data) for data in found.get(QUANTITIES, [])],
            drawings=[Drawing(**data) for data in found.get(DRAWINGS, [])],
            omission=skipped.removeprefix("Skipped: "),
        )
        self.checks[report.nodeid] = check
        if self.report:
            self.report(check.chapter, len(self.checks), len(self.order))


def _chapter(node: str) -> str:
    """Return the chapter of a node, whose name begins with the path of the file."""
    return node.split("::")[0].rsplit("/", 1)[-1].removeprefix("test_").removesuffix(".py")
