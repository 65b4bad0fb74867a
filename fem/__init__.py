"""Predict how a pneumatic actuator made of an elastomer tube and threads turns, moves and bulges.

>>> from fem import Case, solve
>>> result = solve(Case.load("cases/greenhouse_wrist.toml"))  # doctest: +SKIP
>>> result.steps  # doctest: +SKIP

The import is quick and changes nothing in the host process: names are loaded when they are used.
"""

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fem.case.case import Case, CaseError
    from fem.solving.single import solve

__version__ = "0.1.0"

_HOME = {
    "Case": "fem.case.case",
    "CaseError": "fem.case.case",
    "solve": "fem.solving.single",
}
"""Module of each public name."""

__all__ = ["Case", "CaseError", "solve"]


def __getattr__(name: str) -> Any:
    if name not in _HOME:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(_HOME[name]), name)


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
