"""The pack: views as one binary file for the page, the report and the live explorer.

A pack is

- the length N of the head, a little-endian uint32;
- the head, N bytes of JSON in UTF-8, padded with spaces so that 4 + N is a multiple of 8;
- the blob, arrays one after the other, little-endian, each starting at a multiple of 4.

An array in the head is a reference ``{"at", "count", "type"}``: its first byte in the blob, its
number of elements, and ``"i1"``, ``"u1"``, ``"i2"``, ``"u2"``, ``"u4"`` or ``"f4"``. Equal arrays
are stored once. The head is::

    {"title": title of all views,
     "light": direction to the light: right, up, towards the viewer,
     "behind": opacity of the shape at rest where it is behind something,
     "keys": {"marks": {"title", "colour"}, "start": {"title", "colour"}},
     "models": {"fe": its title, "fast": ..., "bench": ...},
     "scales": {"stretch": SCALE, "tension": SCALE},       "tension" only if there are threads
     "columns": [COLUMN, ...],                    columns of the table of values
     "drive": name of the column that is the x axis of curves,
     "curves": [name of the column, ...],         columns of the first curves
     "views": [
       {"name", "model", "title": of the model, "note": why the path ended early, or "",
        "mmPerUnit": mm per unit of the points,
        "length", "radius": greatest height and greatest distance from the axis (mm),
        "steps": [{"label", "row": {all numbers of the step table; null if not finite}}, ...],
        "solids": [{"role", "quantity": of the scale, or "", "colour": [r, g, b] from 0 to 1,
                    "opacity", "ambient": fraction of its colour without direct light,
                    "frames": [FRAME, ...]}, ...]}, ...]}

    COLUMN = {"name": in the step table, "title", "unit", "factor": value in this unit divided by
              the value in the row, "digits": decimals}
    SCALE = {"title", "unit", "low", "high", "colours": u1, 256 times r, g, b}
            and for tension "none": [r, g, b] from 0 to 255 and "none_title"
    FRAME = {"points": i2, x, y, z, "normals": i1, unit vectors times 127,
             "values": u1, numbers of colours, 255 for no tension, or null,
             "triangles": u2 or u4, corners; null if drawn only in the tube cut open,
             "cut": the same for the tube cut open; null if equal}

A solid has one frame per step, or one for all steps; a frame has no points if the solid is unknown
at that step. A view without shapes has plates, marks and the shape at rest.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from fem.quantities import table
from fem.quantities.column import Measure
from fem.scene import appearance
from fem.scene.colours import NO_TENSION_RGB, Scale, Scales, scales_of
from fem.scene.result_view import ResultView
from fem.scene.solids import Solid, without_body
from fem.wording.tables import PRESSURE, readout_columns

MAX_INT16 = 32767

FIRST_CURVES = (table.twist, table.displacement)
"""Quantities of the first curves."""

type Head = dict[str, Any]


def pack(views: Sequence[ResultView], title: str, scales: Scales | None = None) -> bytes:
    """Return views as a pack.

    Parameters
    ----------
    views
        The views, shown together.
    title
        Their common title.
    scales
        Colour scales; None for scales that fit the views.
    """
    blob = Blob()
    columns = readout_columns([view.case for view in views])
    shared = scales or scales_of(views)
    head = {
        "title": title,
        "light": appearance.LIGHT,
        "behind": appearance.HIDDEN_OPACITY,
        "keys": {
            "marks": {"title": appearance.MARK_TITLE, "colour": appearance.MARK},
            "start": {"title": appearance.START_TITLE, "colour": appearance.START},
        },
        "models": appearance.MODEL_TITLES,
        "scales": {scale.quantity: _scale(scale, blob) for scale in shared},
        "drive": PRESSURE.column,
        "curves": [quantity.column for quantity in FIRST_CURVES],
        "columns": [column_data(column) for column in columns],
        "views": [_view(view, shared, blob) for view in views],
    }
    text = json.dumps(head, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-(4 + len(text)) % 8)
    return len(text).to_bytes(4, "little") + text + bytes(blob)


class Blob:
    """Arrays one after the other; equal arrays are stored once."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._known: dict[tuple[str, bytes], Head] = {}

    def __bytes__(self) -> bytes:
        """Return all of it."""
        return bytes(self._bytes)

    def put(self, array: Any, kind: str) -> Head:
        """Return the reference to an array, stored with elements of this type."""
        data = np.ascontiguousarray(array, dtype=f"<{kind}")
        key = kind, data.tobytes()
        if key not in self._known:
            self._known[key] = {"at": len(self._bytes), "count": data.size, "type": kind}
            self._bytes += key[1] + bytes(-len(key[1]) % 4)
        return self._known[key]


def _scale(scale: Scale, blob: Blob) -> Head:
    head = {
        "title": scale.title,
        "unit": scale.unit,
        "low": scale.low,
        "high": scale.high,
        "colours": blob.put(scale.colours, "u1"),
    }
    if scale.quantity == "tension":
        head |= {"none": NO_TENSION_RGB, "none_title": appearance.NO_TENSION_TITLE}
    return head


def column_data(measure: Measure) -> Head:
    """Return title, unit and format of a column of the step table."""
    return {
        "name": measure.column,
        "title": measure.title,
        "unit": measure.shown_unit,
        "factor": measure.quantity.factor,
        "digits": measure.quantity.decimals,
    }


def _view(view: ResultView, scales: Scales, blob: Blob) -> Head:
    frames = _frames(view)
    points = np.concatenate([solid.points for solids in frames for solid in solids])
    displacements = [row[table.displacement.column] for row in view.rows]
    unit = float(np.abs(points).max()) / MAX_INT16  # mm
    return {
        "name": view.name,
        "model": view.model,
        "title": view.title,
        "note": view.note,
        "mmPerUnit": unit,
        "length": view.case.tube.length + float(np.nanmax([0.0, *displacements])),
        "radius": float(np.hypot(points[:, 0], points[:, 1]).max()),
        "solids": [_solid(states, unit, scales, blob) for states in zip(*frames, strict=True)],
        "steps": [
            {"label": label, "row": _numbers(row)}
            for label, row in zip(view.labels, view.rows, strict=True)
        ],
    }


def _frames(view: ResultView) -> list[list[Solid]]:
    """Return the solids at each step, always the same ones in the same order."""
    if view.shapes:
        states = zip(view.shapes, view.rows, strict=True)
        return [view.builder.solids(shape, row) for shape, row in states]
    steps = [
        {solid.role: solid for solid in without_body(view.case.tube, row)} for row in view.rows
    ]
    known = {role: solid for step in steps for role, solid in step.items()}
    return [[step.get(role) or _empty(solid) for role, solid in known.items()] for step in steps]


def _empty(solid: Solid) -> Solid:
    """Return a solid without points, for a step at which it is unknown."""
    points, triangles = np.empty((0, 3)), np.empty((0, 3), dtype=int)
    return replace(solid, points=points, normals=points, triangles=triangles, opened=triangles)


def _numbers(row: dict[str, Any]) -> Head:
    """Return the numbers of a row; None for infinite values and nan."""
    numbers = {name: value for name, value in row.items() if not isinstance(value, str)}
    return {
        name: value if isinstance(value, int) else float(value) if math.isfinite(value) else None
        for name, value in numbers.items()
    }


def _solid(states: Sequence[Solid], unit: float, scales: Scales, blob: Blob) -> Head:
    first = states[0]
    scale = next((scale for scale in scales if scale.quantity == first.quantity), None)
    stored = states[:1] if first.role == "start" else states
    return {
        "role": first.role,
        "quantity": first.quantity,
        "colour": first.colour,
        "opacity": first.opacity,
        "ambient": appearance.AMBIENT[first.role],
        "frames": [_frame(solid, unit, scale, blob) for solid in stored],
    }


def _frame(solid: Solid, unit: float, scale: Scale | None, blob: Blob) -> Head:
    kind = "u2" if len(solid.points) <= 2**16 else "u4"
    same = np.array_equal(solid.triangles, solid.opened)
    whole = len(solid.triangles) or same
    numbers = scale.index(solid.values) if scale and solid.values is not None else None
    return {
        "points": blob.put(np.rint(solid.points / unit), "i2"),
        "normals": blob.put(np.rint(127 * solid.normals), "i1"),
        "values": None if numbers is None else blob.put(numbers, "u1"),
        "triangles": blob.put(solid.triangles, kind) if whole else None,
        "cut": None if same else blob.put(solid.opened, kind),
    }
