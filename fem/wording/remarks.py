"""Sentences on a result: when threads tighten, which limits are near, what is incomplete."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.quantities import table
from fem.quantities.column import Measure
from fem.results.checks import Check, Level, Limit, Place, checks, state_checks
from fem.results.result import Result
from fem.results.run import Run
from fem.results.termination import Termination
from fem.wording.run_sections import NAMES, place_text
from fem.wording.tables import PRESSURE
from fem.wording.termination import incomplete, limit_text, outcome, reason

JUST_TAUT = 1e-9
"""A mean strain within this of zero is that of a thread just taut."""

HALF, WHOLE = 0.5, 0.99
"""A family is taut if at least half of its length is, and wholly so if this share is."""


def remarks(result: Result) -> list[str]:
    """Return what is worth saying of threads, limits and additional solves, a line each."""
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
    """Return how a run went, which limit it passed, and why it must not be trusted."""
    said = [f"{NAMES[run.model]}: {outcome(run)}"]
    if run.limit_row and not run.ends_at_limit:
        said.append(f"passed on the way: {limit_text(run.limit_row)}")
    for one in checks(run, case):
        if one.level is not Level.PASSED:
            continue
        if one.limit is Limit.BALANCE and one.name != "energy_gap":
            said.append("OUT OF BALANCE at the ends: do not trust this run")
        elif one.limit is Limit.UNSTABLE and one.passed_at:
            said.append(f"UNSTABLE from {PRESSURE.text(one.passed_at.row)}")
        elif one.limit is Limit.TRUSTED_STRETCH:
            said.append(_beyond_trust(one))
    return "; ".join(dict.fromkeys(said))


def cautions(case: Case, row: dict[str, Any], end: Termination) -> str:
    """Return why a path ended at a row, and which limits are passed there; empty if none are."""
    passed = [one for one in state_checks([row], case) if one.level is Level.PASSED]
    said = [
        f"threads {one.name} BREAK: {100 * _share(one):.0f} % of their breaking load"
        for one in passed
        if one.limit is Limit.BREAKING_LOAD
    ]
    said += [_beyond_trust(one) for one in passed if one.limit is Limit.TRUSTED_STRETCH]
    return "; ".join(filter(None, [reason(end), *said]))


def _beyond_trust(one: Check) -> str:
    return (
        f"wall stretch {one.value:.3g} is BEYOND {one.allowed:.3g}, up to which the constants of "
        "the rubber were fitted"
    )


def _share(one: Check) -> float:
    """Return the share of what is allowed that is used up."""
    return one.value / one.allowed if one.allowed else 0.0


def _remarks(
    found: Sequence[tuple[Run, list[Check]]], case: Case, limit: Limit, name: str = ""
) -> list[str]:
    """Return what is said of one limit of the states, run by run."""
    return [
        _remark(run, case, one)
        for run, own in found
        for one in own
        if (one.limit, one.name) == (limit, name)
    ]


def _remark(run: Run, case: Case, one: Check) -> str:
    """Return how near a run comes to a limit of its states; empty if it does not come near."""
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
            return f"{text}; they BREAK {where}, and what follows is void"
        case Limit.LOCKING:
            return f"rubber: strained to {_percent(one.value)} of where it locks ({name})"
        case Limit.NARROW_BORE if one.worst:
            return (
                f"bore narrowed to {one.value:.2g} of its radius at {_at(run, case, one.worst)} "
                f"({name}); a real tube would have folded"
            )
    return ""


def _at(run: Run, case: Case, where: Place) -> str:
    return place_text(run, case, where.row, where.before, where.share)


def _necking(run: Run, own: Sequence[Check]) -> str:
    """Return that threads may have caused the limit by moving sideways; empty if none could."""
    free = [one.name for one in own if one.limit is Limit.NECKING]
    if not free:
        return ""
    return (
        f"threads {', '.join(free)} slip from where the tube is wide to where it is narrow: they "
        f"may have caused the limit, and carry more if held on their helices ({NAMES[run.model]})"
    )


def _meshed(own: Sequence[Check]) -> str:
    """Return in what the mesh differs from the case, or that it is the full tube; else empty."""
    changed = [
        f"{one.name} spread over {one.value:.0f} threads ({one.allowed:.0f} in the case)"
        for one in own
        if one.limit is Limit.THREADS_MESHED and one.level is Level.PASSED
    ]
    if changed:
        return f"coarse mesh: {', '.join(changed)}"
    if any(one.limit is Limit.FULL_TUBE for one in own):
        return "the full tube is meshed, which is slow: the numbers of threads share no divisor"
    return ""


def _by_model(result: Result, said: Sequence[str]) -> str:
    """Return what is said of each run, once if it is the same of all."""
    if len(set(said)) == 1:
        return said[0]
    names = (NAMES[run.model] for run in result.runs)
    return "; ".join(f"{text} ({name})" for text, name in zip(said, names, strict=True))


def tautness(run: Run, case: Case, family: ThreadFamily) -> str:
    """Return where along the path the threads of a family tighten and slacken."""
    rows = run.path
    name = family.name
    taut = [row[Measure(table.taut_fraction, name).column] >= HALF for row in rows]
    stretched = rows[0][Measure(table.thread_strain, name).column]
    said = []
    if stretched > JUST_TAUT:
        slack = family.slack_strain
        short = f"{_percent(-slack)} too short, " if slack < 0 else ""
        said.append(f"{short}stretched by {_percent(stretched)} before inflation")
    elif abs(stretched) <= JUST_TAUT:  # what next?
        if len(rows) == 1:
            return "just taut at rest"
        taut[0] = taut[1]
        said += ["taut from the start"] if taut[0] else []
    for number in range(1, len(rows)):
        if taut[number] != taut[number - 1]:
            word = _word(rows[number][Measure(table.taut_fraction, name).column])
            share = _crossing(rows[number - 1], rows[number], name)
            said.append(
                f"{word} from {place_text(run, case, rows[number], rows[number - 1], share)}"
            )
    return ", ".join(said) or ("slack throughout" if len(rows) > 1 else "slack before inflation")


def _percent(share: float) -> str:
    return f"{100 * share:{'.2g' if share < 0.995 else '.0f'}} %"


def _word(share: float) -> str:
    """Return what a family is of whose length this share is taut."""
    word = "taut" if share >= HALF else "slack"
    return word if max(share, 1 - share) > WHOLE else f"mostly {word}"


def _crossing(before: dict[str, Any], after: dict[str, Any], name: str) -> float:
    """Return the share of the way between two rows at which a family tightens or slackens."""
    strain, strain_after = (
        row[Measure(table.thread_strain, name).column] for row in (before, after)
    )
    if strain * strain_after < 0:
        return strain / (strain - strain_after)
    column = Measure(table.taut_fraction, name).column
    share, share_after = before[column], after[column]
    return (HALF - share) / (share_after - share)


def capstan(case: Case) -> list[str]:
    """Return how much the tension of threads with friction may differ from end to end."""
    tube = case.tube
    ratios = [
        f"{family.name} {family.helix(tube).capstan_ratio(family.friction or 0.0):.3g}"
        for family in case.threads
        if family.friction is not None
    ]
    if not ratios:
        return []
    return [
        "friction: a thread's tension differs from end to end by at most the factor "
        f"{', '.join(ratios)}; it lies between sliding and bonded"
    ]
