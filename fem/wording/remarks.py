"""Sentences on a result: when threads tighten, which limits are near, what is incomplete."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.quantities import table
from fem.quantities.column import Measure
from fem.results.checks import Check, Level, Limit, PathPoint, checks, state_checks
from fem.results.result import Result
from fem.results.run import Run
from fem.results.termination import Termination
from fem.wording.run_sections import NAMES, place_text
from fem.wording.tables import PRESSURE
from fem.wording.termination import incomplete, limit_text, outcome, reason

JUST_TAUT = 1e-9
"""A thread whose mean strain is within this of zero is just taut."""

TAUT, FULLY = 0.5, 0.99
"""Taut fractions from which a family is called "mostly taut", and "taut"."""


def remarks(result: Result) -> list[str]:
    """Return remarks on threads, limits and additional solves, one a line."""
    case = result.case
    found = [(run, checks(run, case)) for run in result.runs]
    lines = [_meshed(own) for _, own in found]
    for family in case.threads:
        states = [tautness(run, case, family) for run in result.runs]
        lines.append(f"threads {family.name}: {_by_model(result, states)}")
        lines += _remarks(found, case, Limit.BREAKING_LOAD, family.name)
    lines += _remarks(found, case, Limit.LOCKING)
    lines += _remarks(found, case, Limit.NARROW_BORE)
    lines += [_necking(run, own) for run, own in found]
    lines += [incomplete(other) for run in result.runs for other in run.incomplete]
    return [*filter(None, lines), *capstan(case)]


def run_sentence(run: Run, case: Case) -> str:
    """Return how a run ended, which limit it passed, and why it must not be trusted."""
    parts = [f"{NAMES[run.model]}: {outcome(run)}"]
    if run.limit_row and not run.ends_at_limit:
        parts.append(f"the path passes a {limit_text(run.limit_row)}")
    for one in checks(run, case):
        if one.level is not Level.PASSED:
            continue
        if one.limit is Limit.BALANCE and one.name != "energy_gap":
            parts.append("NOT IN EQUILIBRIUM at the ends: do not trust this run")
        elif one.limit is Limit.UNSTABLE and one.passed_at:
            parts.append(f"UNSTABLE from {PRESSURE.text(one.passed_at.row)}")
        elif one.limit is Limit.TRUSTED_STRETCH:
            parts.append(_beyond_fitted(one))
    return "; ".join(dict.fromkeys(parts))


def cautions(case: Case, row: dict[str, Any], end: Termination) -> str:
    """Return why a path ended at a row, and which limits are passed there; empty if none are."""
    passed = [one for one in state_checks([row], case) if one.level is Level.PASSED]
    parts = [
        f"threads {one.name} BREAK: {100 * _share(one):.0f} % of their breaking load"
        for one in passed
        if one.limit is Limit.BREAKING_LOAD
    ]
    parts += [_beyond_fitted(one) for one in passed if one.limit is Limit.TRUSTED_STRETCH]
    return "; ".join(filter(None, [reason(end), *parts]))


def _beyond_fitted(one: Check) -> str:
    return (
        f"wall stretch {one.value:.3g} EXCEEDS {one.allowed:.3g}, up to which the rubber constants "
        "were fitted"
    )


def _share(one: Check) -> float:
    """Return the value as a share of what is allowed."""
    return one.value / one.allowed if one.allowed else 0.0


def _remarks(
    found: Sequence[tuple[Run, list[Check]]], case: Case, limit: Limit, name: str = ""
) -> list[str]:
    """Return the remarks on one limit of the states, run by run."""
    return [
        _remark(run, case, one)
        for run, own in found
        for one in own
        if (one.limit, one.name) == (limit, name)
    ]


def _remark(run: Run, case: Case, one: Check) -> str:
    """Return how near a run comes to a limit of its states; empty if it is far from it."""
    if one.level not in (Level.NEAR, Level.PASSED):
        return ""
    name = NAMES[run.model]
    match one.limit:
        case Limit.BREAKING_LOAD:
            text = f"threads {one.name} ({name}): peak tension up to {_percent(_share(one))} "
            text += "of the breaking load"
            if one.passed_at is None:
                return text
            first = one.passed_at.before is None
            where = "before inflation" if first else f"at {_at(run, case, one.passed_at)}"
            return f"{text}; they BREAK {where}: later states are invalid"
        case Limit.LOCKING:
            return f"rubber ({name}): strain up to {_percent(one.value)} of the locking limit"
        case Limit.NARROW_BORE if one.worst:
            return (
                f"bore ({name}): radius falls to {one.value:.2g} of its rest value at "
                f"{_at(run, case, one.worst)}; a real tube would fold before"
            )
    return ""


def _at(run: Run, case: Case, where: PathPoint) -> str:
    return place_text(run, case, where.row, where.before, where.share)


def _necking(run: Run, own: Sequence[Check]) -> str:
    """Return that sliding threads may have caused the limit; empty if none could."""
    names = [one.name for one in own if one.limit is Limit.NECKING]
    if not names:
        return ""
    return (
        f"threads {', '.join(names)} ({NAMES[run.model]}) slide to where the tube is narrow, which "
        "may cause the limit; it may be higher if they stay on their helices"
    )


def _meshed(own: Sequence[Check]) -> str:
    """Return how the mesh differs from the case, or that it is the full tube; else empty."""
    changed = [
        f"family {one.name} has {one.value:.0f} threads instead of {one.allowed:.0f}"
        for one in own
        if one.limit is Limit.THREADS_MESHED and one.level is Level.PASSED
    ]
    if changed:
        return f"coarse mesh: {', '.join(changed)}"
    if any(one.limit is Limit.FULL_TUBE for one in own):
        return "the full tube is meshed, which is slow: the thread counts have no common divisor"
    return ""


def _by_model(result: Result, texts: Sequence[str]) -> str:
    """Return the text of each run with its model, or one text if all are the same."""
    if len(set(texts)) == 1:
        return texts[0]
    names = (NAMES[run.model] for run in result.runs)
    return "; ".join(f"{text} ({name})" for text, name in zip(texts, names, strict=True))


def tautness(run: Run, case: Case, family: ThreadFamily) -> str:
    """Return where along the path the threads of a family tighten and slacken."""
    rows = run.path
    name = family.name
    taut = [row[Measure(table.taut_fraction, name).column] >= TAUT for row in rows]
    stretched = rows[0][Measure(table.thread_strain, name).column]
    parts = []
    if stretched > JUST_TAUT:
        slack = family.slack_strain
        short = f"{_percent(-slack)} too short, " if slack < 0 else ""
        parts.append(f"{short}stretched by {_percent(stretched)} before inflation")
    elif abs(stretched) <= JUST_TAUT:  # the next state decides
        if len(rows) == 1:
            return "just taut at rest"
        taut[0] = taut[1]
        parts += ["taut from the start"] if taut[0] else []
    for number in range(1, len(rows)):
        if taut[number] != taut[number - 1]:
            word = _state(rows[number][Measure(table.taut_fraction, name).column])
            share = _crossing(rows[number - 1], rows[number], name)
            parts.append(
                f"{word} from {place_text(run, case, rows[number], rows[number - 1], share)}"
            )
    return ", ".join(parts) or ("slack throughout" if len(rows) > 1 else "slack before inflation")


def _percent(share: float) -> str:
    return f"{100 * share:{'.2g' if share < 0.995 else '.0f'}} %"


def _state(share: float) -> str:
    """Return the word for a family with a taut fraction."""
    word = "taut" if share >= TAUT else "slack"
    return word if max(share, 1 - share) > FULLY else f"mostly {word}"


def _crossing(before: dict[str, Any], after: dict[str, Any], name: str) -> float:
    """Return where between two rows a family tightens or slackens, 0 to 1."""
    strain, strain_after = (
        row[Measure(table.thread_strain, name).column] for row in (before, after)
    )
    if strain * strain_after < 0:
        return strain / (strain - strain_after)
    column = Measure(table.taut_fraction, name).column
    share, share_after = before[column], after[column]
    return (TAUT - share) / (share_after - share)


def capstan(case: Case) -> list[str]:
    """Return the most that friction changes the tension from end to end of a thread."""
    tube = case.tube
    ratios = [
        f"{family.helix(tube).capstan_ratio(family.friction or 0.0):.3g} ({family.name})"
        for family in case.threads
        if family.friction is not None
    ]
    if not ratios:
        return []
    return [
        "friction: tension changes along a thread by at most the factor "
        f"{', '.join(ratios)}; the values for sliding and for bonded threads estimate its effect"
    ]
