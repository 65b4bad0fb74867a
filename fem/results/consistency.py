"""A row of the step table held against its case, and a shape against both."""

from __future__ import annotations

import cmath
import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from fem.case.case import Case
from fem.case.tube import Tube
from fem.quantities.shape import Shape

ALIKE = 1e-4
"""Lengths as shares of the tube's, and turns (rad), are as alike as this.

Files keep coordinates in single precision: some 1e-7 of the tube's length.
"""


NEARLY = 1e-9
"""Figures of one row that follow from each other are as alike as this; they are written in full."""


def contradiction(row: Mapping[str, Any], tube: Tube) -> str:
    """Return in what the figures of a row cannot be, in a clause; empty if they can.

    The stretch follows from the displacement. In the fast model's straight tube the volume follows
    from stretch and bore: pi (b r)^2 s L for a bore of radius r and length L at rest.
    """
    for name in ("stretch", "bore_stretch", "wall_stretch_max", "volume_mm3"):
        if not row[name] > 0:
            return f"{name} = {row[name]:g}: it must be above 0"
    due = 1 + row["displacement_mm"] / tube.length
    if not math.isclose(row["stretch"], due, rel_tol=NEARLY):
        return f"stretch = {row['stretch']:.6g}: the displacement gives {due:.6g}"
    if row["model"] == "fast":
        bore = row["bore_stretch"] * tube.bore_radius
        volume = math.pi * bore**2 * row["stretch"] * tube.length
        if not math.isclose(row["volume_mm3"], volume, rel_tol=1e-6):
            given = f"volume_mm3 = {row['volume_mm3']:.6g}"
            return f"{given}: bore_stretch and stretch give {volume:.6g}"
    return ""


def misfit(shape: Shape, case: Case, row: Mapping[str, Any], meshed: Mapping[str, int]) -> str:
    """Return in what a whole tube is not that of a row, in a clause; empty if it fits.

    Parameters
    ----------
    shape
        The tube.
    case
        What was asked.
    row
        Its row of the step table.
    meshed
        Number of threads in the mesh, by the names of those families where it is told.
    """
    figures = [shape.nodes, shape.displacement, *(family.tension for family in shape.threads)]
    if not all(np.isfinite(figure).all() for figure in figures):
        return "a coordinate or a tension is no number"
    return (
        _other_tube(shape, case)
        or _other_end(shape, case, row)
        or _other_threads(shape, case, meshed)
    )


def _other_tube(shape: Shape, case: Case) -> str:
    """Return which measure of the tube at rest is another one."""
    tube = case.tube
    radius, height = np.hypot(*shape.nodes[:, :2].T), shape.nodes[:, 2]
    for name, found, due in [
        ("length", np.ptp(height), tube.length),
        ("bore radius", radius.min(), tube.bore_radius),
        ("outer radius", radius.max(), tube.outer_radius),
    ]:
        if abs(found - due) > ALIKE * tube.length:
            return f"its {name} at rest is {found:.4g} mm, that of the case {due:.4g} mm"
    return ""


def _other_end(shape: Shape, case: Case, row: Mapping[str, Any]) -> str:
    """Return whether height or turn of the free end is not that of the row."""
    length = case.tube.length
    top = shape.nodes[:, 2] > (1 - ALIKE) * length
    rest = shape.nodes[top]
    now = rest + shape.displacement[top]
    shift, due = float((now - rest)[:, 2].mean()), row["displacement_mm"]
    if abs(shift - due) > ALIKE * length:
        return f"its free end is displaced by {shift:.4g} mm, in the step table by {due:.4g} mm"
    flat = np.vdot(rest[:, 0] + 1j * rest[:, 1], now[:, 0] + 1j * now[:, 1])
    off = cmath.phase(flat * cmath.exp(-1j * math.radians(row["twist_deg"])))
    if abs(off) > ALIKE:
        return f"its free end is turned by {math.degrees(off):.4g} deg more than in the step table"
    return ""


def _other_threads(shape: Shape, case: Case, meshed: Mapping[str, int]) -> str:
    """Return which family has another number of threads: of pieces that begin at the base."""
    for family, threads in zip(case.threads, shape.threads, strict=True):
        count = int((threads.rest[:, 0, 2] < ALIKE * case.tube.length).sum())
        due = meshed.get(family.name, family.count)
        if count != due:
            return f"it has {count} threads {family.name}, {due} are due"
    return ""
