"""Sentences on why a solve ended, made from its data."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from fem.continuation.termination import TerminationKind as Kind
from fem.quantities import table
from fem.quantities.column import IF_BONDED, MESH_ERROR, Measure
from fem.results.run import IncompleteSolve, Run
from fem.results.termination import STATE_COLUMNS, Termination, ballooned

PRESSURE, DISPLACEMENT = Measure(table.pressure), Measure(table.displacement)
TWIST, BORE = Measure(table.twist), Measure(table.bore_stretch)

PURPOSES = {MESH_ERROR: "mesh error", IF_BONDED: "friction"}
"""Purposes of the additional solves, by their columns."""

SOLVED_HOW = {MESH_ERROR: "on a coarser mesh", IF_BONDED: "with bonded threads"}
"""How the additional solves differ; the words follow "the FE model"."""


def limit_name(bore_stretch: float) -> str:
    """Return the name of an extreme of the pressure: a balloon limit or another one."""
    return "balloon limit" if ballooned(bore_stretch) else "pressure limit"


def limit_text(row: Mapping[str, Any]) -> str:
    """Return name, place and bore stretch of the extreme of the pressure in a row."""
    return (
        f"{limit_name(row[BORE.column])} at {PRESSURE.text(row)}, "
        f"{TWIST.title} {TWIST.text(row, '.1f')}, {BORE.title} {BORE.text(row)}"
    )


def path_note(run: Run) -> str:
    """Return the limit on a path, or that its last state follows."""
    return limit_text(run.limit_row) if run.limit_row else "last state found"


def outcome(run: Run) -> str:
    """Return whether a run solved all requested steps, and if not, why."""
    return "all steps solved" if run.reached else f"stopped early: {short_reason(run.termination)}"


def short_reason(end: Termination) -> str:
    """Return why a solve ended early; of a limit point only its name and pressure."""
    if end.kind is Kind.LIMIT_POINT and end.bore_stretch is not None:
        return f"{limit_name(end.bore_stretch)} at {PRESSURE.text(vars(end))}"
    return reason(end)


def explanation(end: Termination) -> str:
    """Return why a solve ended early, with what a limit point means."""
    if end.kind is not Kind.LIMIT_POINT:
        return reason(end)
    return (
        f"{short_reason(end)}, {BORE.title} {BORE.text(vars(end))}: "
        "no equilibrium beyond this pressure"
    )


def reason(end: Termination) -> str:
    """Return why a solve ended early, in one clause; empty if it did not."""
    numbers = vars(end)
    match end.kind:
        case Kind.REACHED:
            return ""
        case Kind.LIMIT_POINT:
            return limit_text(numbers)
        case Kind.STABILITY_LOST:
            where = _before_step(end)
            return f"stability lost at {where}: the tube buckles, wrinkles or snaps through"
        case Kind.STRETCH_LIMIT:
            return f"stretch limit at {_place(end)}: beyond it, {_overstretched(end)}"
        case Kind.NOT_CONVERGED:
            hint = "; try smaller loads or more steps" if end.step == 1 else ""
            return f"no equilibrium found beyond {_before_step(end)}{hint}"
        case Kind.THREADS_TOO_SHORT:
            problem = "the tube buckles" if end.buckles else "no equilibrium was found"
            share = f"{100 * (end.taken_up or 0.0):.3g} % of the missing length"
            return f"the threads are too short for this tube: {problem} beyond {share}"
        case Kind.END_LOADS:
            text = f"no equilibrium with the loads on the free end beyond {_place(end)}"
            if end.allowed_stretch is not None:
                return f"{text}: {_overstretched(end)}"
            return f"{text}: the tube buckles or snaps through" if end.buckles else text
        case Kind.INTERRUPTED:
            return (
                f"interrupted after {_place(end)}"
                if end.pressure_kPa is not None
                else "interrupted"
            )
        case Kind.NO_REST:
            return f"no solution even at rest: {end.error}"
        case Kind.ERROR:
            return end.error


def _before_step(end: Termination) -> str:
    return f"{_place(end)} before step {end.step} of {end.steps}"


def _place(end: Termination) -> str:
    """Return where a path ended."""
    numbers = {name: getattr(end, name) or 0.0 for name in STATE_COLUMNS}
    return ", ".join(
        [PRESSURE.text(numbers), DISPLACEMENT.text(numbers), TWIST.text(numbers, ".1f")]
    )


def _overstretched(end: Termination) -> str:
    return f"the wall stretch would exceed {end.allowed_stretch:g}"


def incomplete(solve: IncompleteSolve) -> str:
    """Return where and why an additional solve ended before its run."""
    end, steps = solve.termination, solve.steps
    purpose, model = PURPOSES[solve.solve], f"the FE model {SOLVED_HOW[solve.solve]}"
    if end.interrupted:
        return f"{purpose}: the solve of {model} was interrupted"
    if end.kind is Kind.NO_REST:
        return f"{purpose}: {model} has no solution even at rest: {end.error}"
    where = f"after step {steps}" if steps else "before step 1"
    return f"{purpose}: {model} ended {where}: {reason(end)}"
