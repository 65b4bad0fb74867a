"""Predict how a pneumatic actuator made of an elastomer tube and threads twists, moves and bulges.

>>> from fem import Case, solve
>>> result = solve(Case.load("cases/greenhouse_wrist.toml"))  # doctest: +SKIP
>>> result.steps  # doctest: +SKIP
>>> result.plot().savefig("wrist.png")  # doctest: +SKIP

The import is quick and changes nothing in the host process: names are loaded when they are used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fem.case.case import Case, CaseError
    from fem.compare.comparison import Comparison, compare_with_bench
    from fem.core.errors import InputError
    from fem.measurements.bench import Bench, read_bench
    from fem.results.result import Result
    from fem.solving.batch import solve_many
    from fem.solving.single import solve
    from fem.study.plan import Study
    from fem.study.runner import solve_study
    from fem.study.study_result import StudyResult
    from fem.trust.analysis import Trust
    from fem.trust.corrected import CorrectedModel

__version__ = "0.1.0"

_MODULES = {
    "Bench": "fem.measurements.bench",
    "Case": "fem.case.case",
    "CaseError": "fem.case.case",
    "Comparison": "fem.compare.comparison",
    "CorrectedModel": "fem.trust.corrected",
    "InputError": "fem.core.errors",
    "Result": "fem.results.result",
    "Study": "fem.study.plan",
    "StudyResult": "fem.study.study_result",
    "Trust": "fem.trust.analysis",
    "compare_with_bench": "fem.compare.comparison",
    "read_bench": "fem.measurements.bench",
    "solve": "fem.solving.single",
    "solve_many": "fem.solving.batch",
    "solve_study": "fem.study.runner",
}
"""Module of each public name."""

__all__ = [
    "Bench",
    "Case",
    "CaseError",
    "Comparison",
    "CorrectedModel",
    "InputError",
    "Result",
    "Study",
    "StudyResult",
    "Trust",
    "compare_with_bench",
    "read_bench",
    "solve",
    "solve_many",
    "solve_study",
]


def __getattr__(name: str) -> Any:
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_MODULES[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
