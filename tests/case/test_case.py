"""Cases: values, changed copies, and the sectors of a tube."""

import math

import pytest

from fem.case.case import BARE_SECTORS, CaseError
from tests.helpers.messages import refused


def test_ready_case_has_the_values_of_its_file(make_case):
    case = make_case()
    first, second = case.threads
    assert (case.tube.bore_radius, case.tube.wall, case.tube.length) == (5.0, 1.5, 60.0)
    assert (case.tube.outer_radius, case.rubber.shear_modulus) == (6.5, 0.06)
    assert (first.name, first.count, first.stiffness) == ("A", 12, 200.0)
    # the degrees are converted by one product, rounded once
    assert first.angle == pytest.approx(math.radians(20), rel=4e-16)
    assert second.angle == pytest.approx(math.radians(-30), rel=4e-16)
    assert (case.pressure.end, case.pressure.steps) == (0.015, 5)


def test_changed_copy_differs_in_the_named_keys_only(make_case):
    case = make_case()
    before = case.model_dump_json()
    changed = case.changed(threads__1__angle="10 deg", pressure__steps=3)
    assert case.model_dump_json() == before
    assert changed.threads[1].angle == pytest.approx(math.radians(10), rel=4e-16)  # round-off
    assert changed.pressure.steps == 3
    assert changed.changed(threads__1__angle="-30 deg", pressure__steps=5) == case


def test_change_names_a_family(make_case):
    case = make_case()
    assert case.changed(threads__B__angle="10 deg") == case.changed(threads__1__angle="10 deg")
    with refused(CaseError, "threads.C.angle", "A, B"):
        case.changed(threads__C__angle="10 deg")


def test_change_to_an_alternative_replaces_it(make_case):
    case = make_case()
    by_turn = case.changed(threads__0__ring_turn="1 turn", volume={"added": "1 mL", "steps": 2})
    assert (by_turn.pressure, by_turn.threads[0].ring_turn) == (None, pytest.approx(2 * math.pi))
    back = by_turn.changed(threads__0__angle="20 deg", pressure={"end": "15 kPa", "steps": 5})
    assert back == case


def test_change_to_none_removes_a_key(make_case):
    case = make_case()
    moved = case.changed(move={"twist": "1 deg", "steps": 2}, threads__0__breaking_load="1 N")
    assert moved != case
    assert moved.changed(move=None, threads__0__breaking_load=None) == case


@pytest.mark.parametrize(
    "change",
    [
        {"volume__steps": 3},
        {"move__twist": "1 deg"},
        {"tub__wall": "1 mm"},
        {"tube__colour": "1 mm"},
        {"colour": "1 mm"},
        {"threads__7__angle": "1 deg"},
        {"threads__first__angle": "1 deg"},
        {"title__wall": "1 mm"},
        {"tube__wall__inner": "1 mm"},
        {"tube__wall": 1.0},
        {"tube__wall": "-1 mm"},
        {"threads__0__name": "B"},
    ],
    ids=str,
)
def test_change_that_cannot_be_made_is_refused(make_case, change):
    with pytest.raises(CaseError) as refusal:
        make_case(**change)
    (key,) = change
    named = key.split("__")[-1] if key != "threads__0__name" else '"B"'
    assert named in str(refusal.value)


def test_case_is_frozen(make_case):
    with pytest.raises(ValueError, match="frozen"):
        make_case().tube.wall = 3.0


@pytest.mark.parametrize(
    ("counts", "sectors"),
    [
        ([12, 12], 12),
        ([12, 18], 6),
        ([12, 24], 12),
        ([7], 7),
        ([1], 1),
        ([8, 9], 1),
        ([6, 10, 15], 1),
    ],
)
def test_sectors_are_the_greatest_common_divisor_of_the_counts(make_case, counts, sectors):
    threads = [
        {"name": f"F{number}", "count": count, "angle": "20 deg", "stiffness": "200 N"}
        for number, count in enumerate(counts)
    ]
    assert make_case(threads=threads).sectors == sectors


def test_bare_tube_has_sectors_too(make_case):
    assert make_case(threads=[]).sectors == BARE_SECTORS


def test_repr_shows_quantities_with_their_units(make_case):
    case = make_case(threads__0__slack="cut at 45 deg", threads__0__ring_turn="90 deg")
    assert repr(case.tube) == "Tube(bore_radius='5 mm', wall='1.5 mm', length='60 mm')"
    assert "tube=Tube(bore_radius='5 mm'," in repr(case)
    assert "shear_modulus='60 kPa'" in repr(case.rubber)
    assert "pressure=Pressure(end='15 kPa', steps=5)" in repr(case)
    assert "ring_turn='90 deg'" in repr(case.threads[0]) and "angle=" not in repr(case.threads[0])
    assert "slack='cut at 45 deg'" in repr(case.threads[0])
    assert "None" not in repr(case)
