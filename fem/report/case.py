"""The job and the case as tables with units, and in a sentence or two."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from fem.case.case import Case
from fem.case.thread_family import ThreadFamily
from fem.core.units import ANGLE, FORCE, LENGTH, MASS, STRESS, TORQUE, VOLUME, show
from fem.wording.text_table import TextTable

if TYPE_CHECKING:
    from pydantic import BaseModel

HEADS = ("field", "value", "meaning")


def case_grids(case: Case) -> list[TextTable]:
    """Return the tables of a case: tube, rubber, drive, free end, move."""
    drive = "pressure" if case.pressure else "volume" if case.volume else "air"
    radius = f"{case.tube.outer_radius:.6g} mm"
    outer = ["outer radius", radius, "Radius of the bore and thickness of the wall."]
    grids = [
        _part_grid("Tube at rest", case.tube, [outer]),
        _part_grid("Rubber", case.rubber, _rubber_extra(case)),
        _part_grid(f"Drive: {drive}", case.drive),
        _part_grid("Free end", case.end),
    ]
    if case.move:
        grids.append(_part_grid("Move of the free end, after the drive", case.move))
    return grids


def family_grid(case: Case) -> TextTable | None:
    """Return the thread families side by side; None for a bare tube."""
    if not case.threads:
        return None
    shown = [_family_cells(case, family) for family in case.threads]
    meanings = {name: words for f in case.threads for name, (_, words) in _rows(f).items()}
    meanings |= MEANINGS
    order = dict.fromkeys([*type(case.threads[0]).model_fields, *MEANINGS])
    cells = [
        [_label(name), *(own.get(name, "–") for own in shown), meanings[name]]
        for name in order
        if any(name in own for own in shown)
    ]
    titles = ["field", *(f"family {family.name}" for family in case.threads), "meaning"]
    return TextTable("Thread families", titles, cells, text_columns=(0, len(titles) - 1))


MEANINGS = {
    "angle": "Helix angle to the axis; positive is right-handed.",
    "ring_turn": "Turn of the ring that holds the threads; it sets the angle.",
    "slack_set": "Slack at that angle; negative slack stretches the thread.",
    "length": "Natural length of one thread between the plates.",
}


def _family_cells(case: Case, family: ThreadFamily) -> dict[str, str]:
    """Return what a family is, as text by key, with what follows from it."""
    data = {name: value for name, (value, _) in _rows(family).items() if name != "name"}
    helix = family.helix(case.tube)
    return data | {
        "angle": f"{math.degrees(family.angle) + 0.0:.5g} deg",
        "ring_turn": f"{math.degrees(helix.ring_turn) + 0.0:.5g} deg",
        "slack_set": f"{100 * family.slack_strain + 0.0:.4g} %",
        "length": f"{family.natural(helix.length):.5g} mm",
    }


def asked(case: Case) -> list[str]:
    """Return what is asked, in sentences."""
    said = [_drive_sentence(case), _end_sentence(case)]
    if case.move:
        if case.move.displacement is None:
            place = f"round the axis to {show(case.move.twist or 0.0, ANGLE)}"
        else:
            place = f"along the axis to {show(case.move.displacement, LENGTH)}"
        said.append(
            f"Then the drive stands still and the free end is moved {place}, measured from rest, "
            f"in {_steps(case.move.steps)}."
        )
    return said


def _drive_sentence(case: Case) -> str:
    steps = _steps(case.drive.steps)
    if case.pressure:
        end = show(case.pressure.end, STRESS)
        return f"The gauge pressure in the bore is raised from zero to {end} in {steps}."
    if case.volume:
        added = show(case.volume.added, VOLUME)
        return f"Into the full bore {added} of liquid are pushed in {steps}."
    assert case.gas
    mass = show(case.gas.mass, MASS)
    return f"Into the closed bore and its line {mass} of air are let in {steps}."


def _end_sentence(case: Case) -> str:
    end = case.end
    if end.axial == end.twist == "held":
        return "The free end is held: it neither moves nor turns, and the loads are the result."
    said = ["The base plate is held"]
    moves = "held along the axis" if end.axial == "held" else "free to move along the axis"
    turns = "held against turning" if end.twist == "held" else "free to turn"
    said.append(f"the free end is {moves} and {turns}")
    loads = [
        *([f"a dead load of {show(end.force, FORCE)}"] if end.force else []),
        *([f"a dead torque of {show(end.torque, TORQUE)}"] if end.torque else []),
        *(["a spring along the axis"] if end.axial_spring else []),
        *(["a torsional spring"] if end.twist_spring else []),
    ]
    return "; ".join(said) + (f"; on it acts {' and '.join(loads)}." if loads else ".")


def _steps(count: int) -> str:
    return "one step" if count == 1 else f"{count} equal steps"


def _rubber_extra(case: Case) -> list[list[str]]:
    """Return what follows from the constants of the rubber, and which material has just these."""
    from fem.case.rubber_table import rubber_table
    from fem.rubber.library import materials

    rubber, rows = case.rubber, []
    if "shear_modulus" not in type(rubber).model_fields:
        modulus = f"{1e3 * rubber.constitutive_law.shear_modulus:.5g} kPa"
        rows.append(["shear modulus at rest", modulus, "Of small strain; it follows."])
    for material in materials().values():
        if rubber_table(material.rubber) == rubber:
            source = f"{material.source} ({material.read})"
            rows.append(["material of the library", material.name, source])
    return rows


def _part_grid(caption: str, part: BaseModel, more: Sequence[Sequence[str]] = ()) -> TextTable:
    rows = [[_label(name), value, meaning] for name, (value, meaning) in _rows(part).items()]
    return TextTable(caption, HEADS, [*rows, *more], text_columns=(0, 2))


def _rows(part: BaseModel) -> dict[str, tuple[str, str]]:
    """Return the fields of a part that have a value: as text with its unit, and what it is."""
    data, fields = part.model_dump(mode="json", exclude_none=True), type(part).model_fields
    return {
        name: (_text(value), fields[name].description or "")
        for name, value in data.items()
        if name in fields
    }


def _text(value: Any) -> str:
    if isinstance(value, list):
        return "; ".join(map(_text, value))
    if isinstance(value, Mapping):
        return ", ".join(f"{_label(key)} {_text(own)}" for key, own in value.items())
    return f"{value:g}" if isinstance(value, float) else str(value)


def _label(name: str) -> str:
    return {"slack_set": "slack at this angle"}.get(name, name.replace("_", " "))
