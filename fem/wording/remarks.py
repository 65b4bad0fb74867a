"""Sentences on a result: when threads tighten, what margin is left, what second solves lack."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.results.result import Result
from fem.results.run import Run
from fem.results.termination import Termination
from fem.wording.run_sections import NAMES, on_path, place
from fem.wording.termination import incomplete, reason

JUST_TAUT = 1e-9
"""A mean strain within this of zero is that of a thread just taut."""

HALF, WHOLE = 0.5, 0.99
"""A family is taut if at least half of its length is, and wholly so if this share is."""

NARROW = 0.3
"""It is told if the bore at half length narrows to less than this share of its radius."""

CLOSE = 0.8
"""It is told if more than this share of a margin is used up."""


def remarks(result: Result) -> list[str]:
    """Return what is to be said of threads, margins and second solves, a line each."""
    case = result.case
    lines = [_spread(run, case) or _whole(run, case) for run in result.runs]
    for family in case.threads:
        states = [tautness(run, case, family) for run in result.runs]
        lines.append(f"threads {family.name}: {_by_model(result, states)}")
        lines += [_breaking(run, case, family) for run in result.runs]
    lines += [_locking(run) for run in result.runs]
    lines += [_narrowing(run, case) for run in result.runs]
    lines += [_necking(run, case) for run in result.runs]
    lines += [incomplete(other) for run in result.runs for other in run.incomplete]
    return [*filter(None, lines), *capstan(case)]


def _by_model(result: Result, said: Sequence[str]) -> str:
    """Return what is said of each run, once if it is the same of all."""
    if len(set(said)) == 1:
        return said[0]
    names = (NAMES[run.model] for run in result.runs)
    return "; ".join(f"{text} ({name})" for text, name in zip(said, names, strict=True))


def tautness(run: Run, case: Case, family: ThreadFamily) -> str:
    """Return where along the path the threads of a family tighten and slacken."""
    rows = on_path(run)
    name = family.name
    taut = [row[f"taut.{name}"] >= HALF for row in rows]
    stretched = rows[0][f"thread_strain.{name}"]
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
            word = _word(rows[number][f"taut.{name}"])
            share = _crossing(rows[number - 1], rows[number], name)
            said.append(f"{word} from {place(run, case, rows[number], rows[number - 1], share)}")
    return ", ".join(said) or ("slack throughout" if len(rows) > 1 else "slack before inflation")


def _percent(share: float) -> str:
    return f"{100 * share:{'.2g' if share < 0.995 else '.0f'}} %"


def _word(share: float) -> str:
    """Return what a family is of whose length this share is taut."""
    word = "taut" if share >= HALF else "slack"
    return word if max(share, 1 - share) > WHOLE else f"mostly {word}"


def _crossing(before: dict[str, Any], after: dict[str, Any], name: str) -> float:
    """Return the share of the way between two rows at which a family tightens or slackens."""
    strain, strain_after = (row[f"thread_strain.{name}"] for row in (before, after))
    if strain * strain_after < 0:
        return strain / (strain - strain_after)
    share, share_after = (row[f"taut.{name}"] for row in (before, after))
    return (HALF - share) / (share_after - share)


def _breaking(run: Run, case: Case, family: ThreadFamily) -> str:
    """Return how near to its breaking load a family comes; empty if it does not come near."""
    rows, name = on_path(run), f"thread_used.{family.name}"
    used = [row.get(name, 0.0) for row in rows]
    if max(used) <= CLOSE:
        return ""
    text = f"threads {family.name} ({NAMES[run.model]}): peak tension up to {_percent(max(used))} "
    text += "of the breaking load"
    over = next((number for number, share in enumerate(used) if share > 1), None)
    if over is None:
        return text
    where = "before inflation"
    if over:
        share = (1 - used[over - 1]) / (used[over] - used[over - 1])
        where = f"at {place(run, case, rows[over], rows[over - 1], share)}"
    return f"{text}; they BREAK {where}, and what follows is void"


def _locking(run: Run) -> str:
    """Return how near the rubber comes to its greatest stretch; empty if it does not come near."""
    used = max(row.get("rubber_used", 0.0) for row in on_path(run))
    if used <= CLOSE:
        return ""
    return f"rubber: strained to {_percent(used)} of where it locks ({NAMES[run.model]})"


def _narrowing(run: Run, case: Case) -> str:
    """Return where the bore is narrowest, if a real tube would have folded; empty if not."""
    row = min(on_path(run), key=lambda row: row["bore_stretch"])
    if row["bore_stretch"] >= NARROW:
        return ""
    return (
        f"bore narrowed to {row['bore_stretch']:.2g} of its radius at "
        f"{place(run, case, row)} ({NAMES[run.model]}); a real tube would have folded"
    )


def _necking(run: Run, case: Case) -> str:
    """Return that threads may have caused the limit by moving sideways; empty if none could."""
    free = [family.name for family in case.threads if family.hold == "free path"]
    if not run.limit_row or not free or run.model == "fast":
        return ""
    return (
        f"threads {', '.join(free)} slip from where the tube is wide to where it is narrow: they "
        f"may have made the limit, and bear more if held on their helices ({NAMES[run.model]})"
    )


def _spread(run: Run, case: Case) -> str:
    """Return which families the mesh spreads over another number of threads; empty if none."""
    meshed = run.mesh.get("threads_meshed", {})
    changed = [
        f"{family.name} spread over {meshed[family.name]} threads ({family.count} in the case)"
        for family in case.threads
        if meshed.get(family.name, family.count) != family.count
    ]
    return f"coarse mesh: {', '.join(changed)}" if changed else ""


def _whole(run: Run, case: Case) -> str:
    """Return that the full tube is meshed for want of equal sectors; empty if it need not be."""
    if run.mesh.get("sectors_of_the_tube") != 1 or case.sectors > 1:
        return ""
    return "the whole tube is meshed, which is slow: the numbers of threads share no divisor"


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
        f"{', '.join(ratios)}; it lies between gliding and bonded"
    ]


def overstretched(run: Run, case: Case) -> str:
    """Return that the wall is stretched further than the rubber is known; empty if it is not."""
    return _beyond_trust(case, max(row["wall_stretch_max"] for row in on_path(run)))


def cautions(case: Case, row: Mapping[str, Any], end: Termination) -> str:
    """Return why a path ended at a row, and which limits are passed there; empty if none are."""
    used = {f.name: row.get(f"thread_used.{f.name}", 0.0) for f in case.threads}
    said = [
        f"threads {name} BREAK: {100 * share:.0f} % of their breaking load"
        for name, share in used.items()
        if share > 1
    ]
    return "; ".join(
        filter(None, [reason(end), *said, _beyond_trust(case, row["wall_stretch_max"])])
    )


def _beyond_trust(case: Case, stretch: float) -> str:
    trusted = case.rubber.trusted_stretch
    if trusted is None or stretch <= trusted:
        return ""
    return (
        f"wall stretch {stretch:.3g} is BEYOND {trusted:.3g}, up to which the constants of the "
        "rubber were fitted"
    )
