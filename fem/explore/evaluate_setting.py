"""The fast model at one setting: at rest, and where it settles."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.explore.setting import Setting
from fem.results.termination import REACHED, Termination
from fem.solving.batch import solve_batch


@dataclass(frozen=True)
class Settled:
    """Where the fast model settles.

    Attributes
    ----------
    case
        The case of the setting.
    rest, row
        Rows of the step table at rest, and at the pressure of the setting or at the last one
        before the path ends.
    termination
        Why the path ends before that pressure, or that it does not.
    """

    case: Case
    rest: dict[str, Any]
    row: dict[str, Any]
    termination: Termination


def settle(setting: Setting, base: Case) -> Settled:
    """Return where the fast model settles.

    Raises
    ------
    InputError
        If the setting makes no case, or one without a solution even at rest.
    """
    case = setting.case(base)
    try:
        (run,) = solve_batch([case])
    except ArithmeticError as error:
        raise InputError(f"this setting has no solution even at rest: {error}") from None
    rest, *others = run.rows
    row, end = rest, REACHED
    if setting.pressure > 0:
        rising = [*takewhile(lambda row: not row["limit"], others)]
        top = others[len(rising) : len(rising) + 1]  # beyond, the tube holds by volume only
        row, end = [rest, *rising, *top][-1], run.termination
    return Settled(case, rest, row, end)
