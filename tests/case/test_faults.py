"""Faults of a case: each is named with file, key, value and what is allowed."""

import math

import pytest

from fem.case.case import Case, CaseError
from tests.helpers.messages import assert_states, refused

FAMILY_KEYS = "name, count, angle, ring_turn, stiffness, toe, hold, slack, breaking_load, friction"
SLACK_RULES = ('"taken up"', '"0 %"', '"100 %"', '"cut at 45 deg"')
UNKNOWN = ("colour", "tube.colour", "rubber.c1", "threads.1.colour", "pressure.colour")


@pytest.mark.parametrize(
    ("key", "value", "facts"),
    [
        ("colour", 1, ("title, note, tube, rubber",)),
        ("tube.colour", 1, ("bore_radius, wall, length",)),
        ("rubber.c1", "1 kPa", ("bulk_ratio, trusted_stretch",)),
        ("threads.1.colour", 1, (FAMILY_KEYS,)),
        ("pressure.colour", 1, ("end, steps",)),
        *((key, None, ("missing",)) for key in ("title", "tube", "tube.wall", "rubber")),
        *((key, None, ("missing",)) for key in ("rubber.shear_modulus", "pressure.end")),
        ("rubber.law", None, ("missing", "'neo-Hookean', 'Mooney-Rivlin'")),
        ("threads.1.angle", None, ("missing", "angle", "ring_turn")),
        ("tube.wall", "-1 mm", ("greater than 0 mm",)),
        ("tube.wall", "0 mm", ("greater than 0 mm",)),
        ("tube.length", "-1 cm", ("greater than 0 mm",)),
        ("tube.bore_radius", "0 m", ("greater than 0 mm",)),
        ("rubber.law", "Boyle", ("'neo-Hookean', 'Mooney-Rivlin'",)),
        ("rubber.shear_modulus", "0 kPa", ("greater than 0 kPa",)),
        ("rubber.bulk_ratio", 9.0, ("equal to 10",)),
        ("rubber.bulk_ratio", math.nan, ("finite",)),
        ("rubber.bulk_ratio", math.inf, ("finite",)),
        ("threads.1.angle", "90 deg", ("less than 90 deg",)),
        ("threads.1.angle", "-90 deg", ("greater than -90 deg",)),
        ("threads.1.angle", "100 deg", ("less than 90 deg",)),
        ("threads.1.angle", "0.3", ("unit", "an angle", '"3 deg"')),
        ("threads.1.angle", 0.3, ("unit", "an angle", '"3 deg"')),
        ("threads.0.count", 0, ("equal to 1",)),
        ("threads.0.count", -3, ("equal to 1",)),
        ("threads.0.count", 501, ("equal to 500",)),
        *(("threads.0.count", value, ("integer",)) for value in (2.5, True, "12")),
        ("threads.0.toe", math.nan, ("finite",)),
        ("threads.0.toe", 0.0, ("greater than 0",)),
        ("threads.0.toe", 0.3, ("equal to 0.2",)),
        ("threads.0.stiffness", "-1 N", ("greater than 0 N",)),
        ("threads.0.hold", "glued", ("'bonded', 'sliding' or 'geodesic'",)),
        ("threads.0.slack", "loose", SLACK_RULES),
        ("threads.0.slack", 0.03, SLACK_RULES),
        ("threads.0.slack", "-3 %", ("0 %", "100 %")),
        ("threads.0.slack", "cut at 3 mm", ("an angle", '"3 deg"')),
        ("threads.0.ring_turn", "1 turn", ("angle", "ring_turn")),
        ("threads.0.friction", 0.2, ("bonded", 'hold = "sliding"', '"geodesic"')),
        ("threads.0.friction", -0.2, ("equal to 0",)),
        ("threads.0.breaking_load", "0 N", ("greater than 0 N",)),
        ("threads.0.name", "1st", ("letter", "31")),
        ("threads.0.name", "two words", ("letter", "31")),
        ("pressure.end", "0 kPa", ("greater than 0 kPa",)),
        ("pressure.end", "15 mm", ("a pressure or stress", '"3 kPa"')),
        ("pressure.steps", 0, ("equal to 1",)),
        ("pressure.steps", 1001, ("equal to 1000",)),
        ("title", "", ("at least 1 character",)),
        ("title", 3, ("string",)),
        ("tube", 3, ("[tube]",)),
    ],
)
def test_fault_is_named_with_key_value_and_what_is_allowed(put, ready, refuse, key, value, facts):
    put(ready, key, value)
    (line,) = refuse(ready)
    head, _, rest = line.partition(": ")
    named = key.replace(".0", "[1]").replace(".1", "[2]")
    shown = f'"{value}"' if isinstance(value, str) else value
    assert head == (named if value is None or key in UNKNOWN else f"{named} = {shown}")
    assert_states(rest, *facts)


def test_families_are_a_list_of_tables(put, ready, refuse):
    put(ready, "threads", {})
    (line,) = refuse(ready)
    assert_states(line, "threads: ", "[[threads]]")


def test_names_of_families_differ(put, ready, refuse):
    put(ready, "threads.1.name", "A")
    (line,) = refuse(ready)
    assert_states(line, "threads: ", '"A"')


def test_turns_of_a_thread_are_limited(put, ready, refuse):
    put(ready, "threads.0.angle", "89.99 deg")
    (line,) = refuse(ready)
    assert_states(line, "threads: ", '"A"', "8417 turns", "at most 1000")


@pytest.mark.parametrize(
    "value",
    [1.5, 3, True, math.nan, math.inf, "1.5", "3 kPa", "thick", "", "nan mm", "1e999 mm", [], {}],
    ids=repr,
)
def test_value_that_is_not_a_length_is_refused_with_the_unit(put, ready, refuse, value):
    put(ready, "tube.wall", value)
    (line,) = refuse(ready)
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    assert line.startswith(f"tube.wall = {shown}: ")
    assert_states(line, "a length", '"3 mm"')


def test_each_fault_has_its_own_line(put, ready, refuse):
    put(ready, "tube.wall", "-1 mm")
    put(ready, "threads.1.count", 2.5)
    put(ready, "pressure.end", None)
    put(ready, "rubber.law", "Boyle")
    put(ready, "end", {"force": "1 kg"})
    put(ready, "colour", "red")
    keys = {line.split(" = ")[0].split(":")[0] for line in refuse(ready)}
    assert keys == {
        *("tube.wall", "threads[2].count", "pressure.end", "rubber.law", "end.force", "colour")
    }


def test_long_value_is_cut_in_the_message(put, ready, refuse):
    put(ready, "tube.wall", "thick" * 100)
    (line,) = refuse(ready)
    assert len(line) < 200
    assert_states(line, "thick", "...: ", "a length")


@pytest.mark.parametrize(
    "text",
    [
        "title = ",
        "[tube\n",
        'title = "a"\ntitle = "b"\n',
        "steps = 1.2.3\n",
        "no toml at all",
        f"steps = {'9' * 5000}",
        "deep = " + "[" * 100_000,
    ],
    ids=lambda text: text[:12],
)
def test_broken_toml_is_refused(refuse, text):
    (line,) = refuse(text)
    assert line.startswith("not valid TOML: ")


def test_empty_file_is_refused_with_all_required_keys(refuse):
    *keys, drive = refuse("")
    assert [line.split(": ")[0] for line in keys] == ["title", "tube", "rubber"]
    assert_states(drive, "[pressure], [volume], [gas]")


def test_missing_file_is_refused(tmp_path):
    path = tmp_path / "nowhere.toml"
    with refused(CaseError, f"{path}: ", "No such file"):
        Case.load(path)


def test_directory_is_refused(tmp_path):
    with refused(CaseError, f"{tmp_path}: ", "Is a directory"):
        Case.load(tmp_path)


@pytest.mark.parametrize("content", [b"\x7fELF\xff\xfe\x00", 'title = "Düse"'.encode("latin-1")])
def test_file_that_is_not_text_is_refused(tmp_path, content):
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with refused(CaseError, f"{path}: ", "UTF-8"):
        Case.load(path)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        *(("tube__wall", "1e-9 mm"), ("tube__length", "1e300 mm"), ("pressure__end", "1e300 kPa")),
        *(("rubber__shear_modulus", "1e-300 Pa"), ("rubber__shear_modulus", "1e300 Pa")),
        ("threads__0__stiffness", "1e12 N"),
        ("volume", {"added": "1e-4 mL", "steps": 5}),
        ("gas", {"mass": "1e-4 mg", "steps": 5}),
    ],
)
def test_unrealistic_size_is_refused_with_its_bound(make_case, key, value):
    with pytest.raises(CaseError, match=r"it must be at (least|most) "):
        make_case(**{key: value})
