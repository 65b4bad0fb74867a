"""The fast model at one setting: at rest, and where it settles."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import takewhile
from typing import Any

from fem.case.case import Case
from fem.core.errors import InputError
from fem.explore.setting import Setting
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
    note
        Why it ends before that pressure, and which margins are used up; empty if nothing is to be
        said.
    """

    case: Case
    rest: dict[str, Any]
    row: dict[str, Any]
    note: str


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
    row, reason = rest, ""
    if setting.pressure > 0:
        rising = [*takewhile(lambda row: not row["limit"], others)]
        top = others[len(rising) : len(rising) + 1]  # beyond, the tube holds by volume only
        row, reason = [rest, *rising, *top][-1], run.reason
    return Settled(case, rest, row, "; ".join([reason] * bool(reason) + [*_cautions(case, row)]))


def _cautions(case: Case, row: dict[str, Any]) -> Iterator[str]:
    """Yield which margins are used up in a row, a clause each."""
    for family in case.threads:
        used = row.get(f"thread_used.{family.name}", 0.0)
        if used > 1:
            yield f"threads {family.name} BREAK: {100 * used:.0f} % of their breaking load"
    stretch, trusted = row["wall_stretch_max"], case.rubber.trusted_stretch
    if trusted is not None and stretch > trusted:
        yield (
            f"wall stretch {stretch:.3g} is BEYOND {trusted:.3g}, up to which the constants of "
            "the rubber were fitted"
        )
