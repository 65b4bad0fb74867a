"""The case as tables with units, and the problem in a few sentences."""

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


def case_tables(case: Case) -> list[TextTable]:
    """Return the tables of a case: tube, rubber, drive, free end, move."""
    drive = "pressure" if case.pressure else "volume" if case.volume else "air"
    radius = f"{case.tube.outer_radius:.6g} mm"
    outer = ["outer radius", radius, "Bore radius plus wall thickness."]
    tables = [
        _part_table("Tube at rest", case.tube, [outer]),
        _part_table("Rubber", case.rubber, _rubber_extra(case)),
        _part_table(f"Drive: {drive}", case.drive),
        _part_table("Free end", case.end),
    ]
    if case.move:
        tables.append(_part_table("Move of the free end, after the drive", case.move))
    return tables


def family_table(case: Case) -> TextTable | None:
    """Return the thread families side by side; None for a tube without threads."""
    if not case.threads:
        return None
    shown = [_family_cells(case, family) for family in case.threads]
    meanings = {name: text for f in case.threads for name, (_, text) in _rows(f).items()}
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
    "ring_turn": "Rotation of the thread ring; it sets the helix angle.",
    "slack_set": "Slack at this helix angle; negative slack stretches the thread.",
    "length": "Natural length of one thread between the plates.",
}


def _family_cells(case: Case, family: ThreadFamily) -> dict[str, str]:
    """Return the fields of a family and values computed from them, as text by key."""
    data = {name: value for name, (value, _) in _rows(family).items() if name != "name"}
    helix = family.helix(case.tube)
    return data | {
        "angle": f"{math.degrees(family.angle) + 0.0:.5g} deg",
        "ring_turn": f"{math.degrees(helix.ring_turn) + 0.0:.5g} deg",
        "slack_set": f"{100 * family.slack_strain + 0.0:.4g} %",
        "length": f"{family.natural(helix.length):.5g} mm",
    }


def problem_sentences(case: Case) -> list[str]:
    """Return sentences on the drive, the end conditions and the move."""
    sentences = [_drive_sentence(case), _end_sentence(case)]
    if case.move:
        if case.move.displacement is None:
            place = f"about the axis to {show(case.move.twist or 0.0, ANGLE)}"
        else:
            place = f"along the axis to {show(case.move.displacement, LENGTH)}"
        sentences.append(
            f"Then the free end is moved {place} (measured from rest) in "
            f"{_steps(case.move.steps)}, with the drive kept constant."
        )
    return sentences


def _drive_sentence(case: Case) -> str:
    steps = _steps(case.drive.steps)
    if case.pressure:
        end = show(case.pressure.end, STRESS)
        return f"The gauge pressure in the bore is raised from zero to {end} in {steps}."
    if case.volume:
        added = show(case.volume.added, VOLUME)
        return f"{added} of liquid are pumped into the full bore in {steps}."
    assert case.gas
    mass = show(case.gas.mass, MASS)
    return f"{mass} of air are fed into the closed bore and its line in {steps}."


def _end_sentence(case: Case) -> str:
    end = case.end
    if end.axial == end.twist == "held":
        return "The free end is fixed: the force and the torque on it are the results."
    moves = "fixed along the axis" if end.axial == "held" else "free to move along the axis"
    turns = "fixed in rotation" if end.twist == "held" else "free to rotate"
    sentence = f"The base plate is fixed; the free end is {moves} and {turns}"
    loads = [
        *([f"a dead load of {show(end.force, FORCE)}"] if end.force else []),
        *([f"a dead torque of {show(end.torque, TORQUE)}"] if end.torque else []),
        *(["an axial spring"] if end.axial_spring else []),
        *(["a torsional spring"] if end.twist_spring else []),
    ]
    return f"{sentence}, with {' and '.join(loads)}." if loads else f"{sentence}."


def _steps(count: int) -> str:
    return "one step" if count == 1 else f"{count} equal steps"


def _rubber_extra(case: Case) -> list[list[str]]:
    """Return the small-strain shear modulus, and the library material with these constants."""
    from fem.case.rubber_table import rubber_table
    from fem.rubber.library import materials

    rubber, rows = case.rubber, []
    if "shear_modulus" not in type(rubber).model_fields:
        modulus = f"{1e3 * rubber.constitutive_law.shear_modulus:.5g} kPa"
        rows.append(["shear modulus at rest", modulus, "At small strain, from the constants."])
    for material in materials().values():
        if rubber_table(material.rubber) == rubber:
            source = f"{material.source} ({material.read})"
            rows.append(["library material", material.name, source])
    return rows


def _part_table(caption: str, part: BaseModel, extra: Sequence[Sequence[str]] = ()) -> TextTable:
    rows = [[_label(name), value, meaning] for name, (value, meaning) in _rows(part).items()]
    return TextTable(caption, HEADS, [*rows, *extra], text_columns=(0, 2))


def _rows(part: BaseModel) -> dict[str, tuple[str, str]]:
    """Return value with unit and description of each field of a part that has a value."""
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
