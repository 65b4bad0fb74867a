"""Exhibits as one binary, for the page, the report and the live explorer: the pack.

A pack is

- the length N of the head, a little-endian uint32;
- the head, N bytes of JSON in UTF-8, padded with spaces so that 4 + N is a multiple of 8;
- the blob, arrays one after the other, little-endian, each beginning at a multiple of 4.

Where the head has an array it holds a reference ``{"at", "count", "type"}``: its first byte in the
blob, its number of elements, and ``"i1"``, ``"u1"``, ``"i2"``, ``"u2"``, ``"u4"`` or ``"f4"``.
Equal arrays are stored once. The head is::

    {"title": what is shown,
     "light": towards it: to the right, up, towards the viewer,
     "behind": opacity of the shape at rest where it is behind something,
     "keys": {"marks": {"title", "colour"}, "start": {"title", "colour"}},
     "models": {"fe": its title, "fast": ..., "bench": ...},
     "scales": {"stretch": SCALE, "tension": SCALE},       no tension where there are no threads
     "columns": [COLUMN, ...],                    what is read out
     "drive": name of the column against which curves are drawn,
     "curves": [name of the column, ...],         what curves show at first
     "exhibits": [
       {"name", "model", "title": of the model, "note": why the path ended early, or "",
        "grain": mm to a unit of the points,
        "length", "radius": greatest height and greatest distance from the axis (mm),
        "steps": [{"label", "row": {every figure of the step table; null if it is none}}, ...],
        "solids": [{"role", "quantity": of the scale, or "", "colour": [r, g, b] of 0 to 1,
                    "opacity", "ambient": share of its colour that no shade takes,
                    "frames": [FRAME, ...]}, ...]}, ...]}

    COLUMN = {"name": of the step table, "title", "unit", "factor": what the numbers of the rows
              are multiplied by to have the unit, "digits": after the point}
    SCALE = {"title", "unit", "low", "high", "colours": u1, 256 times r, g, b}
            and for tension "none": [r, g, b] of 0 to 255 and "none_title"
    FRAME = {"points": i2, x, y, z in grains, "normals": i1, unit vectors times 127,
             "values": u1, numbers of colours, 255 of tension being none, or null,
             "triangles": u2 or u4, corners, null for what is there in the tube cut open only,
             "cut": the same for the tube cut open, null where it does not differ}

A solid has a frame to each step, or one for all; where it is not known at a step its frame has no
points. An exhibit of which only figures are known has plates, marks and the shape at rest.
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
from fem.scene import appearance as look
from fem.scene.colours import NONE, Scale, Scales, scales_of
from fem.scene.result_view import Exhibit
from fem.scene.solids import Solid, without_body
from fem.wording.tables import PRESSURE, readout_columns

MOST = 32767
"""The greatest int16."""

FIRST_CURVES = (table.twist, table.displacement)
"""What curves show at first."""

type Head = dict[str, Any]


def pack(exhibits: Sequence[Exhibit], title: str, scales: Scales | None = None) -> bytes:
    """Return exhibits, shown together under a title, as a pack.

    Parameters
    ----------
    exhibits
        What is shown.
    title
        What heads it.
    scales
        The scales of the colours; None for those that the exhibits fill.
    """
    blob = Blob()
    shared = scales or scales_of(exhibits)
    head = {
        "title": title,
        "light": look.LIGHT,
        "behind": look.BEHIND,
        "keys": {
            "marks": {"title": look.MARK_TITLE, "colour": look.MARK},
            "start": {"title": look.START_TITLE, "colour": look.START},
        },
        "models": look.MODEL_TITLES,
        "scales": {scale.quantity: _scale(scale, blob) for scale in shared},
        "drive": PRESSURE.column,
        "curves": [quantity.column for quantity in FIRST_CURVES],
        "columns": [described(column) for column in readout_columns([e.case for e in exhibits])],
        "exhibits": [_exhibit(exhibit, shared, blob) for exhibit in exhibits],
    }
    text = json.dumps(head, separators=(",", ":"), allow_nan=False).encode()
    text += b" " * (-(4 + len(text)) % 8)
    return len(text).to_bytes(4, "little") + text + bytes(blob)


class Blob:
    """Arrays one after the other, equal ones once."""

    def __init__(self) -> None:
        self._bytes = bytearray()
        self._known: dict[tuple[str, bytes], Head] = {}

    def __bytes__(self) -> bytes:
        """Return all of it."""
        return bytes(self._bytes)

    def put(self, array: Any, kind: str) -> Head:
        """Return the reference to an array, stored as elements of this kind."""
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
        head |= {"none": NONE, "none_title": look.NO_TENSION_TITLE}
    return head


def described(measure: Measure) -> Head:
    """Return what a page says of a column of the step table."""
    return {
        "name": measure.column,
        "title": measure.title,
        "unit": measure.shown_unit,
        "factor": measure.quantity.factor,
        "digits": measure.quantity.decimals,
    }


def _exhibit(exhibit: Exhibit, scales: Scales, blob: Blob) -> Head:
    frames = _frames(exhibit)
    points = np.concatenate([solid.points for solids in frames for solid in solids])
    rises = [row[table.displacement.column] for row in exhibit.rows]
    grain = float(np.abs(points).max()) / MOST
    return {
        "name": exhibit.name,
        "model": exhibit.model,
        "title": exhibit.title,
        "note": exhibit.note,
        "grain": grain,
        "length": exhibit.case.tube.length + float(np.nanmax([0.0, *rises])),
        "radius": float(np.hypot(points[:, 0], points[:, 1]).max()),
        "solids": [_solid(states, grain, scales, blob) for states in zip(*frames, strict=True)],
        "steps": [
            {"label": label, "row": _numbers(row)}
            for label, row in zip(exhibit.labels, exhibit.rows, strict=True)
        ],
    }


def _frames(exhibit: Exhibit) -> list[list[Solid]]:
    """Return the solids at each step, the same ones in the same order."""
    if exhibit.shapes:
        states = zip(exhibit.shapes, exhibit.rows, strict=True)
        return [exhibit.tessellation.solids(shape, row) for shape, row in states]
    steps = [
        {solid.role: solid for solid in without_body(exhibit.case.tube, row)}
        for row in exhibit.rows
    ]
    known = {role: solid for step in steps for role, solid in step.items()}
    return [[step.get(role) or _unseen(solid) for role, solid in known.items()] for step in steps]


def _unseen(solid: Solid) -> Solid:
    """Return a solid of which nothing is known."""
    nothing, none = np.empty((0, 3)), np.empty((0, 3), dtype=int)
    return replace(solid, points=nothing, normals=nothing, triangles=none, opened=none)


def _numbers(row: dict[str, Any]) -> Head:
    """Return the numbers of a row, null for what is infinite or not a number."""
    numbers = {name: value for name, value in row.items() if not isinstance(value, str)}
    return {
        name: value if isinstance(value, int) else float(value) if math.isfinite(value) else None
        for name, value in numbers.items()
    }


def _solid(states: Sequence[Solid], grain: float, scales: Scales, blob: Blob) -> Head:
    first = states[0]
    scale = next((scale for scale in scales if scale.quantity == first.quantity), None)
    shown = states[:1] if first.role == "start" else states
    return {
        "role": first.role,
        "quantity": first.quantity,
        "colour": first.colour,
        "opacity": first.opacity,
        "ambient": look.AMBIENT[first.role],
        "frames": [_frame(solid, grain, scale, blob) for solid in shown],
    }


def _frame(solid: Solid, grain: float, scale: Scale | None, blob: Blob) -> Head:
    kind = "u2" if len(solid.points) <= 2**16 else "u4"
    same = np.array_equal(solid.triangles, solid.opened)
    whole = len(solid.triangles) or same
    numbers = scale.index(solid.values) if scale and solid.values is not None else None
    return {
        "points": blob.put(np.rint(solid.points / grain), "i2"),
        "normals": blob.put(np.rint(127 * solid.normals), "i1"),
        "values": None if numbers is None else blob.put(numbers, "u1"),
        "triangles": blob.put(solid.triangles, kind) if whole else None,
        "cut": None if same else blob.put(solid.opened, kind),
    }
