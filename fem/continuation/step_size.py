"""Adaptive steps: what is cut, what grows, and when to give up."""

from __future__ import annotations

CUT = 0.25
"""A failed step is cut to a quarter."""

EASY, FAIR = 6, 12
"""A step of so many iterations lets the next be four times, or twice, as long."""

SMALLEST_STEP = 1e-3
"""The path ends where a step this share of the demanded one does not converge."""


def growth_after(iterations: int) -> float:
    """Return by what a step is multiplied after one of so many iterations."""
    return 4.0 if iterations <= EASY else 2.0 if iterations <= FAIR else 1.0


def toward(target: float, here: float, step: float) -> float:
    """Return `here` + `step`, or `target` itself where that is as near."""
    return target if abs(step) >= (1 - 1e-9) * abs(target - here) else here + step
