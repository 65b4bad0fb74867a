"""The pack: its content is that of the views, stored once, and small."""

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from fem.browser.pack import Blob, pack
from fem.scene import appearance
from fem.scene.colours import NO_TENSION_INDEX, NO_TENSION_RGB, scales_of
from fem.scene.result_view import result_views, solids
from fem.solving.single import solve

SIZES = {"i1": 1, "u1": 1, "i2": 2, "u2": 2, "u4": 4, "f4": 4}


class Unpacked:
    """A pack read by its description alone."""

    def __init__(self, packed):
        length = int.from_bytes(packed[:4], "little")
        assert (4 + length) % 8 == 0
        self.head = json.loads(packed[4 : 4 + length].decode("utf-8"))
        self.blob = packed[4 + length :]

    def array(self, ref):
        assert ref["at"] % 4 == 0
        end = ref["at"] + ref["count"] * SIZES[ref["type"]]
        assert end <= len(self.blob)
        return np.frombuffer(self.blob[ref["at"] : end], f"<{ref['type']}")


def references(part):
    """Yield all references in the head."""
    if isinstance(part, dict):
        if set(part) == {"at", "count", "type"}:
            yield part
            return
        part = list(part.values())
    for inner in part if isinstance(part, list) else []:
        yield from references(inner)


@pytest.fixture(scope="module")
def shown(result):
    return result_views(result)


@pytest.fixture(scope="module")
def unpacked(shown):
    return Unpacked(pack(shown, "Wrist, both"))


def test_solids_are_unpacked_as_they_were_packed(shown, unpacked):
    scales = scales_of(shown)
    by = {scale.quantity: scale for scale in scales}
    for view, head in zip(shown, unpacked.head["views"], strict=True):
        unit = head["mmPerUnit"]
        assert unit < 0.003
        for step in range(3):
            originals = view.builder.solids(view.shapes[step], view.rows[step])
            for solid, packed in zip(originals, head["solids"], strict=True):
                assert (packed["role"], packed["quantity"]) == (solid.role, solid.quantity)
                assert packed["colour"] == pytest.approx(solid.colour)
                frame = packed["frames"][min(step, len(packed["frames"]) - 1)]
                points = unpacked.array(frame["points"]).reshape(-1, 3) * unit
                assert points == pytest.approx(solid.points, abs=0.51 * unit)
                normals = unpacked.array(frame["normals"]).reshape(-1, 3) / 127
                assert normals == pytest.approx(solid.normals, abs=0.51 / 127)
                if frame["triangles"] is None:
                    assert solid.role == "cut"
                else:
                    corners = unpacked.array(frame["triangles"])
                    assert np.array_equal(corners, solid.triangles.ravel())
                opened = frame["cut"] or frame["triangles"]
                assert np.array_equal(unpacked.array(opened), solid.opened.ravel())
                if solid.values is None:
                    assert frame["values"] is None
                else:
                    numbers = unpacked.array(frame["values"])
                    assert np.array_equal(numbers, by[solid.quantity].index(solid.values))


def test_a_thread_without_tension_has_its_own_index(unpacked):
    threads = next(s for s in unpacked.head["views"][1]["solids"] if s["role"] == "threads")
    at_rest, last = (unpacked.array(threads["frames"][k]["values"]) for k in (0, -1))
    assert set(at_rest) == {NO_TENSION_INDEX}
    assert NO_TENSION_INDEX not in last
    assert unpacked.head["scales"]["tension"]["none"] == list(NO_TENSION_RGB)


def test_the_head_has_steps_scales_and_columns(shown, unpacked):
    head = unpacked.head
    assert head["title"] == "Wrist, both"
    assert [one["title"] for one in head["views"]] == ["FE model", "fast model"]
    for view, one in zip(shown, head["views"], strict=True):
        assert (one["name"], one["model"], one["note"]) == ("Greenhouse wrist", view.model, "")
        assert [step["label"] for step in one["steps"]] == ["at rest", "7.5 kPa", "15 kPa"]
        for step, row in zip(one["steps"], view.rows, strict=True):
            assert step["row"] == {name: row[name] for name in row if name != "model"}
        heights = [solids(view, k)[0].points[:, 2].max() for k in range(3)]
        assert one["length"] == pytest.approx(max(heights))
        assert one["radius"] == pytest.approx(1.5 * 6.5 + 0.02 * 6.5, rel=1e-2), "the base's mark"
    scales = scales_of(shown)
    for scale in scales:
        stored = head["scales"][scale.quantity]
        assert [stored[name] for name in ("low", "high")] == [scale.low, scale.high]
        assert stored["unit"] == scale.unit
        assert np.array_equal(unpacked.array(stored["colours"]).reshape(-1, 3), scale.colours)
    columns = {column["name"]: column for column in head["columns"]}
    assert columns["twist_deg"] == {
        "name": "twist_deg",
        "title": "twist",
        "unit": "deg",
        "factor": 1.0,
        "digits": 2,
    }
    names = ["pressure_kPa", "twist_deg", "displacement_mm", "bulge_mm"]
    assert list(columns) == [*names, "tension_N.A", "tension_N.B"]
    assert columns["tension_N.B"]["title"] == "tension B"
    assert head["drive"] == "pressure_kPa"
    assert head["curves"] == ["twist_deg", "displacement_mm"]


def test_the_head_has_light_colours_and_titles(shown, unpacked):
    head = unpacked.head
    assert (head["light"], head["behind"]) == ([*appearance.LIGHT], appearance.HIDDEN_OPACITY)
    assert head["models"]["fast"] == shown[1].title
    for role, key in head["keys"].items():
        solid = next(one for one in head["views"][0]["solids"] if one["role"] == role)
        assert key["colour"] == solid["colour"]
    for solid in head["views"][0]["solids"]:
        assert solid["ambient"] == appearance.AMBIENT[solid["role"]]


def test_equal_arrays_are_stored_once(shown, unpacked):
    refs = {(ref["at"], ref["count"], ref["type"]) for ref in references(unpacked.head)}
    arrays = [ref["type"].encode() + unpacked.array(ref).tobytes() for ref in _unique(unpacked)]
    assert len(set(arrays)) == len(arrays) == len(refs)
    stored = sum(-(-count * SIZES[kind] // 4) * 4 for _, count, kind in refs)
    assert stored == len(unpacked.blob), "bytes without a reference"
    twice = pack([shown[0], shown[0]], "twice")
    one = pack([shown[0]], "twice")
    assert len(Unpacked(twice).blob) == len(Unpacked(one).blob)


def _unique(unpacked):
    seen = {}
    for ref in references(unpacked.head):
        seen[ref["at"], ref["count"], ref["type"]] = ref
    return seen.values()


def test_values_that_are_nan_are_null(shown):
    spare = [dict(row, **{"twist_deg.mesh_error": float("nan")}) for row in shown[1].rows]
    head = Unpacked(pack([replace(shown[1], rows=spare)], "odd")).head
    assert head["views"][0]["steps"][1]["row"]["twist_deg.mesh_error"] is None


def test_a_view_without_shapes_has_plates_and_marks(shown):
    """As in the pictures; they are empty at a step whose twist was not measured."""
    unknown = shown[0].rows[1] | {"twist_deg": math.nan}
    rows = [shown[0].rows[0], unknown, shown[0].rows[2]]
    measured = replace(shown[0], model="bench", shapes=[], rows=rows)
    unpacked = Unpacked(pack([shown[1], measured], "both"))
    head = unpacked.head["views"][1]
    assert head["title"] == appearance.MODEL_TITLES["bench"]
    assert head["steps"][2]["row"]["twist_deg"] == shown[0].rows[2]["twist_deg"]
    assert head["length"] == 60, "it grows shorter"
    by_role = {solid["role"]: solid["frames"] for solid in head["solids"]}
    assert list(by_role) == ["plates", "marks", "start"]
    assert [len(by_role[role]) for role in by_role] == [3, 3, 1]
    for role in ("plates", "marks"):
        first, none, last = by_role[role]
        assert none["points"]["count"] == none["triangles"]["count"] == 0
        expected = next(solid for solid in solids(measured, 2) if solid.role == role)
        points = unpacked.array(last["points"]).reshape(-1, 3) * head["mmPerUnit"]
        assert points == pytest.approx(expected.points, abs=0.51 * head["mmPerUnit"])
        assert first["triangles"]["count"] == expected.triangles.size


def test_the_requested_drive_is_a_column(make_case):
    case = make_case(pressure=None, volume={"added": "1 mL", "steps": 1})
    head = Unpacked(pack(result_views(solve(case, "fast")), "syringe")).head
    column = next(column for column in head["columns"] if column["name"] == "added_mL")
    assert (column["title"], column["unit"], column["digits"]) == ("added", "mL", 3)
    last = head["views"][0]["steps"][-1]
    assert last["row"]["added_mL"] == pytest.approx(1.0)
    assert last["label"].startswith("1 mL added, ")


def test_indices_of_many_points_have_four_bytes():
    blob = Blob()
    ref = blob.put(np.array([0, 70_000]), "u4")
    assert ref == {"at": 0, "count": 2, "type": "u4"}
    assert blob.put(np.array([1, 2, 3]), "u1")["at"] == 8
    assert blob.put(np.array([1, 2, 3]), "i1")["at"] == 12, "another type"
    assert blob.put(np.array([1, 2, 3]), "u1")["at"] == 8
    assert len(bytes(blob)) == 16


def test_a_tube_without_threads_has_no_scale_of_tension(make_case):
    case = make_case(threads=[], pressure={"end": "5 kPa", "steps": 1})
    head = Unpacked(pack(result_views(solve(case, "fast")), "bare")).head
    assert list(head["scales"]) == ["stretch"]
    assert "threads" not in {solid["role"] for solid in head["views"][0]["solids"]}


def test_the_pack_of_the_ready_case_is_small(make_case):
    """Six steps of both models on the standard mesh, before compression."""
    both = result_views(solve(make_case()))
    assert [len(view.rows) for view in both] == [6, 6]
    assert len(pack(both, "Greenhouse wrist")) < 1.2e6
