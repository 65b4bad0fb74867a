"""Faults of a case: each is named with file, key, value and what is allowed."""

import math

import pytest

from fem.case.case import Case, CaseError

FAMILY_KEYS = "name, count, angle, ring_turn, stiffness, toe, hold, slack, breaking_load, friction"


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("colour", 1, "colour: unknown key; allowed here: title, note, tube, rubber, threads, "),
        ("tube.colour", 1, "tube.colour: unknown key; allowed here: bore_radius, wall, length"),
        ("rubber.c1", "1 kPa", "rubber.c1: unknown key; allowed here: bulk_ratio, trusted_str"),
        ("threads.1.colour", 1, f"threads[2].colour: unknown key; allowed here: {FAMILY_KEYS}"),
        ("pressure.colour", 1, "pressure.colour: unknown key; allowed here: end, steps"),
        ("title", None, "title: this key is missing"),
        ("tube", None, "tube: this key is missing"),
        ("tube.wall", None, "tube.wall: this key is missing"),
        ("rubber", None, "rubber: this key is missing"),
        ("rubber.law", None, "rubber.law: this key is missing; allowed: 'neo-Hookean', 'Mooney-R"),
        ("rubber.shear_modulus", None, "rubber.shear_modulus: this key is missing"),
        ("threads.1.angle", None, "threads[2].angle: this key is missing, or else ring_turn"),
        ("pressure.end", None, "pressure.end: this key is missing"),
        ("tube.wall", "-1 mm", 'tube.wall = "-1 mm": it must be greater than 0 mm'),
        ("tube.wall", "0 mm", 'tube.wall = "0 mm": it must be greater than 0 mm'),
        ("tube.length", "-1 cm", 'tube.length = "-1 cm": it must be greater than 0 mm'),
        ("tube.bore_radius", "0 m", 'tube.bore_radius = "0 m": it must be greater than 0 mm'),
        ("rubber.law", "Boyle", "rubber.law = \"Boyle\": unknown; allowed: 'neo-Hookean', 'Mo"),
        ("rubber.shear_modulus", "0 kPa", 'rubber.shear_modulus = "0 kPa": it must be greater t'),
        ("rubber.bulk_ratio", 9.0, "rubber.bulk_ratio = 9.0: it must be greater than or equal"),
        ("rubber.bulk_ratio", math.nan, "rubber.bulk_ratio = nan: it must be a finite number"),
        ("rubber.bulk_ratio", math.inf, "rubber.bulk_ratio = inf: it must be a finite number"),
        ("threads.1.angle", "90 deg", 'threads[2].angle = "90 deg": it must be less than 90 deg'),
        ("threads.1.angle", "-90 deg", 'threads[2].angle = "-90 deg": it must be greater than -'),
        ("threads.1.angle", "100 deg", 'threads[2].angle = "100 deg": it must be less than 90 d'),
        ("threads.1.angle", "0.3", 'threads[2].angle = "0.3": the unit is missing; write an ang'),
        ("threads.1.angle", 0.3, "threads[2].angle = 0.3: a bare number has no unit; write an a"),
        ("threads.0.count", 0, "threads[1].count = 0: it must be greater than or equal to 1"),
        ("threads.0.count", -3, "threads[1].count = -3: it must be greater than or equal to 1"),
        ("threads.0.count", 501, "threads[1].count = 501: it must be less than or equal to 500"),
        ("threads.0.count", 2.5, "threads[1].count = 2.5: it must be a valid integer"),
        ("threads.0.count", True, "threads[1].count = True: it must be a valid integer"),
        ("threads.0.count", "12", 'threads[1].count = "12": it must be a valid integer'),
        ("threads.0.toe", math.nan, "threads[1].toe = nan: it must be a finite number"),
        ("threads.0.toe", 0.0, "threads[1].toe = 0.0: it must be greater than 0"),
        ("threads.0.toe", 0.3, "threads[1].toe = 0.3: it must be less than or equal to 0.2"),
        ("threads.0.stiffness", "-1 N", 'threads[1].stiffness = "-1 N": it must be greater than'),
        ("threads.0.hold", "glued", "threads[1].hold = \"glued\": it must be 'bonded', 'sliding'"),
        ("threads.0.slack", "loose", 'threads[1].slack = "loose": write "taken up", a slack from'),
        ("threads.0.slack", 0.03, 'threads[1].slack = 0.03: write "taken up", a slack from "0 %"'),
        ("threads.0.slack", "-3 %", 'threads[1].slack = "-3 %": a given slack must be from 0 % to'),
        ("threads.0.slack", "cut at 3 mm", 'threads[1].slack = "cut at 3 mm": this is not an ang'),
        ("threads.0.ring_turn", "1 turn", 'threads[1].ring_turn = "1 turn": angle is given too; '),
        ("threads.0.friction", 0.2, "threads[1].friction = 0.2: a bonded thread does not slide, "),
        ("threads.0.friction", -0.2, "threads[1].friction = -0.2: it must be greater than or equ"),
        ("threads.0.breaking_load", "0 N", 'threads[1].breaking_load = "0 N": it must be greater'),
        ("threads.0.name", "1st", 'threads[1].name = "1st": '),
        ("threads.0.name", "two words", 'threads[1].name = "two words": '),
        ("threads.1.name", "A", 'threads: two families are named "A"; names must differ'),
        (
            "threads.0.angle",
            "89.99 deg",
            'threads: family "A" makes 8417 turns round the tube; at most 1000 ',
        ),
        ("pressure.end", "0 kPa", 'pressure.end = "0 kPa": it must be greater than 0 kPa'),
        ("pressure.end", "15 mm", 'pressure.end = "15 mm": this is not a pressure or stress; '),
        ("pressure.steps", 0, "pressure.steps = 0: it must be greater than or equal to 1"),
        ("pressure.steps", 1001, "pressure.steps = 1001: it must be less than or equal to 1000"),
        ("title", "", 'title = "": '),
        ("title", 3, "title = 3: it must be a valid string"),
        ("tube", 3, "tube = 3: write one table [tube]"),
        ("threads", {}, "threads: this is one of several; write each as a table [[threads]]"),
    ],
)
def test_fault_is_named_with_key_value_and_what_is_allowed(put, ready, refuse, key, value, message):
    put(ready, key, value)
    (line,) = refuse(ready)
    assert line.startswith(message)


@pytest.mark.parametrize(
    "value",
    [1.5, 3, True, math.nan, math.inf, "1.5", "3 kPa", "thick", "", "nan mm", "1e999 mm", [], {}],
    ids=repr,
)
def test_value_that_is_no_length_is_named_and_the_unit_asked_for(put, ready, refuse, value):
    put(ready, "tube.wall", value)
    (line,) = refuse(ready)
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    assert line.startswith(f"tube.wall = {shown}: ")
    assert line.endswith('write a length with its unit, such as "3 mm"')


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
    assert "thick" in line
    assert "...: this is not a length" in line


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


def test_empty_file_lacks_everything_that_has_no_default(refuse):
    assert refuse("") == [
        *(f"{key}: this key is missing" for key in ["title", "tube", "rubber"]),
        "just one of the tables [pressure], [volume], [gas] is due; none is there",
    ]


def test_file_that_is_not_there_is_refused(tmp_path):
    path = tmp_path / "nowhere.toml"
    with pytest.raises(CaseError, match="cannot be read: No such file") as refusal:
        Case.load(path)
    assert str(refusal.value).startswith(f"{path}: ")


def test_directory_is_refused(tmp_path):
    with pytest.raises(CaseError, match="cannot be read: Is a directory"):
        Case.load(tmp_path)


@pytest.mark.parametrize("content", [b"\x7fELF\xff\xfe\x00", 'title = "Düse"'.encode("latin-1")])
def test_file_that_is_not_text_is_refused(tmp_path, content):
    path = tmp_path / "case.toml"
    path.write_bytes(content)
    with pytest.raises(CaseError, match="not a text file in UTF-8") as refusal:
        Case.load(path)
    assert str(refusal.value).startswith(f"{path}: ")


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
def test_size_that_no_device_has_is_refused_with_the_bound(make_case, key, value):
    with pytest.raises(CaseError, match=r"it must be at (least|most) "):
        make_case(**{key: value})
