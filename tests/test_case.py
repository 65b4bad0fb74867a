"""Cases: read, checked, written, hashed; every fault is named with file, key, value and mend."""

import copy
import json
import math
import string
import tomllib

import jsonschema
import pytest
import tomlkit
from hypothesis import given
from hypothesis import strategies as st

from fem.case import BARE_SECTORS, MOST_TURNS, Case, CaseError, schema
from fem.rubber.library import materials
from fem.units import ANGLE, read


@pytest.fixture
def ready(cases_folder):
    """Return the data of the ready case, as read from its file."""
    return tomllib.loads((cases_folder / "greenhouse_wrist.toml").read_text(encoding="utf-8"))


@pytest.fixture
def refuse(tmp_path):
    """Return a function that writes data to a file and returns why it is refused, by lines."""

    def load(data):
        path = tmp_path / "wrist.toml"
        path.write_text(data if isinstance(data, str) else tomlkit.dumps(data), encoding="utf-8")
        with pytest.raises(CaseError) as refusal:
            Case.load(path)
        lines = str(refusal.value).split("\n")
        assert all(line.startswith(f"{path}: ") for line in lines)
        return [line.removeprefix(f"{path}: ") for line in lines]

    return load


def put(data, key, value):
    """Set a dotted key, such as ``threads.0.angle``; a value of None removes it."""
    *parents, last = (int(part) if part.isdigit() else part for part in key.split("."))
    for parent in parents:
        data = data[parent]
    if value is None:
        del data[last]
    else:
        data[last] = value


def test_ready_case_holds_what_its_file_says(make_case):
    case = make_case()
    first, second = case.threads
    assert (case.tube.bore_radius, case.tube.wall, case.tube.length) == (5.0, 1.5, 60.0)
    assert (case.tube.outer_radius, case.rubber.shear_modulus) == (6.5, 0.06)
    assert (first.name, first.count, first.stiffness) == ("A", 12, 200.0)
    # the degrees are converted by one product, rounded once
    assert first.angle == pytest.approx(math.radians(20), rel=4e-16)
    assert second.angle == pytest.approx(math.radians(-30), rel=4e-16)
    assert (case.pressure.end, case.pressure.steps) == (0.015, 5)


def test_pressures_end_exactly_at_the_asked_one_and_leave_out_rest(make_case):
    values = make_case(pressure__end="7 kPa", pressure__steps=3).pressure.values
    assert values == pytest.approx([0.007 / 3, 0.014 / 3, 0.007], rel=4e-16)  # round-off
    assert values[-1] == 0.007


# --- written and read back ------------------------------------------------------------------


def quantity(low, high, *units):
    return st.builds("{!r} {}".format, st.floats(low, high), st.sampled_from(units))


LENGTHS = quantity(0.01, 500, "mm", "cm")
STRESSES = quantity(1e-3, 1e3, "kPa", "MPa")
RUBBER_DATA = st.one_of(
    st.fixed_dictionaries(
        {"law": st.just("neo-Hookean"), "shear_modulus": STRESSES},
        optional={"bulk_ratio": st.floats(10, 1e6)},
    ),
    st.fixed_dictionaries(
        {
            "law": st.just("Mooney-Rivlin"),
            "c1": STRESSES,
            "c2": st.one_of(STRESSES, st.just("0 kPa")),
        },
        optional={"bulk_ratio": st.floats(10, 1e6), "trusted_stretch": st.floats(1.1, 10)},
    ),
    st.fixed_dictionaries({"law": st.just("Yeoh"), "c1": STRESSES, "c2": STRESSES}),
    st.fixed_dictionaries(
        {"law": st.just("Gent"), "shear_modulus": STRESSES, "limit": st.floats(1, 100)}
    ),
    st.fixed_dictionaries(
        {
            "law": st.just("Ogden"),
            "terms": st.lists(
                st.fixed_dictionaries({"modulus": STRESSES, "exponent": st.floats(1, 9)}),
                min_size=1,
                max_size=6,
            ),
        }
    ),
    st.builds(lambda name: {"material": name}, st.sampled_from(sorted(materials()))),
)
NAMES = st.builds(
    str.__add__,
    st.sampled_from(string.ascii_letters),
    st.text(string.ascii_letters + string.digits + "_-", max_size=31),
)
FAMILY_DATA = st.fixed_dictionaries(
    {
        "name": NAMES,
        "count": st.integers(1, 500),
        "stiffness": quantity(0.1, 1e4, "N", "kN"),
    },
    optional={
        "toe": st.floats(1e-6, 0.2),
        "hold": st.sampled_from(["bonded", "gliding", "free path"]),
        "slack": st.one_of(
            st.just("taken up"),
            st.builds("{!r} %".format, st.floats(0, 100)),
            st.builds("cut at {!r} deg".format, st.floats(-45, 45)),
        ),
        "breaking_load": quantity(0.1, 1e4, "N", "kN"),
    },
)
GLIDING_DATA = st.fixed_dictionaries(
    {"hold": st.sampled_from(["gliding", "free path"])}, optional={"friction": st.floats(0, 2)}
)
ANGLE_DATA = st.one_of(
    st.fixed_dictionaries({"angle": quantity(-45, 45, "deg")}),
    st.fixed_dictionaries({"ring_turn": quantity(-0.1, 0.1, "turn", "rad")}),
)


def merged(*tables):
    return st.builds(lambda *parts: {k: v for part in parts for k, v in part.items()}, *tables)


FAMILIES = st.one_of(merged(FAMILY_DATA, ANGLE_DATA), merged(FAMILY_DATA, ANGLE_DATA, GLIDING_DATA))
STEPS = st.integers(1, 1000)
VOLUMES = quantity(1e-3, 1e3, "mL", "mm^3", "L")
DRIVE_DATA = st.one_of(
    st.fixed_dictionaries({"pressure": st.fixed_dictionaries({"end": STRESSES, "steps": STEPS})}),
    st.fixed_dictionaries({"volume": st.fixed_dictionaries({"added": VOLUMES, "steps": STEPS})}),
    st.fixed_dictionaries(
        {
            "gas": st.fixed_dictionaries(
                {"mass": quantity(1e-3, 1e3, "mg", "g"), "steps": STEPS},
                optional={
                    "line_volume": VOLUMES,
                    "ambient": STRESSES,
                    "temperature": st.one_of(quantity(200, 400, "K"), quantity(-70, 120, "°C")),
                },
            )
        }
    ),
)
AXIAL_DATA = st.one_of(
    st.fixed_dictionaries({"axial": st.just("held")}),
    st.fixed_dictionaries(
        {},
        optional={
            "force": quantity(-1e3, 1e3, "N", "kN"),
            "axial_spring": quantity(0, 1e3, "N/mm", "kN/m"),
        },
    ),
)
TWIST_DATA = st.one_of(
    st.fixed_dictionaries({"twist": st.just("held")}),
    st.fixed_dictionaries(
        {},
        optional={
            "torque": quantity(-1e3, 1e3, "N mm", "N m"),
            "twist_spring": quantity(0, 1e3, "N mm/rad", "N m/deg"),
        },
    ),
)
END_DATA = st.one_of(
    st.just({}),
    st.fixed_dictionaries({"end": merged(AXIAL_DATA, TWIST_DATA)}),
    st.fixed_dictionaries(
        {
            "end": AXIAL_DATA,
            "move": st.fixed_dictionaries(
                {"twist": quantity(-9, 9, "turn", "deg"), "steps": STEPS}
            ),
        }
    ),
    st.fixed_dictionaries(
        {
            "end": TWIST_DATA,
            "move": st.fixed_dictionaries({"displacement": quantity(0, 100, "mm"), "steps": STEPS}),
        }
    ),
)
TEXT = st.text(st.characters(exclude_categories=["Cs"]), min_size=1, max_size=40)
TABLES = st.fixed_dictionaries(
    {
        "title": TEXT,
        "tube": st.fixed_dictionaries({"bore_radius": LENGTHS, "wall": LENGTHS, "length": LENGTHS}),
        "rubber": RUBBER_DATA,
        "threads": st.lists(FAMILIES, max_size=3, unique_by=lambda family: family["name"]),
    },
    optional={"note": TEXT},
)
CASE_DATA = merged(TABLES, DRIVE_DATA, END_DATA)


@pytest.fixture(scope="module")
def scratch(tmp_path_factory):
    return tmp_path_factory.mktemp("cases") / "case.toml"


def fits(data):
    """Tell whether the threads of `data` can be wound on its tube; see the two bounds below."""
    tube = Case.parse({**data, "threads": []}).tube
    aspect = tube.length / tube.outer_radius
    for family in data["threads"]:
        key = "angle" if "angle" in family else "ring_turn"
        given = read(family[key], ANGLE)
        turn = math.tan(given) * aspect if key == "angle" else given
        if abs(turn) >= 2 * math.pi * MOST_TURNS:
            return False
        # at up to 36 degrees no thread is stretched by more than a quarter: cos(36.87 deg) is 4/5
        if abs(turn) > math.tan(math.radians(36)) * aspect:
            return False
    return True


@given(data=CASE_DATA.filter(fits))
def test_saved_case_is_read_back_equal(scratch, data):
    case = Case.parse(data)
    case.save(scratch)
    again = Case.load(scratch)
    assert again == case
    assert again.hash == case.hash


@given(data=CASE_DATA.filter(fits))
def test_parsing_leaves_its_data_alone_and_the_schema_agrees(data):
    before = copy.deepcopy(data)
    Case.parse(data)
    assert data == before
    jsonschema.validate(data, schema())


def test_every_ready_case_loads_and_comes_back(cases_folder, tmp_path):
    files = sorted(cases_folder.glob("*.toml"))
    assert files
    for file in files:
        case = Case.load(file)
        case.save(tmp_path / file.name)
        assert Case.load(tmp_path / file.name) == case


# --- the schema -----------------------------------------------------------------------------


def test_schema_file_is_the_schema_of_the_code(cases_folder):
    stored = json.loads((cases_folder / "case.schema.json").read_text(encoding="utf-8"))
    assert stored == schema()


def test_schema_is_valid_and_accepts_every_ready_case(cases_folder):
    checker = jsonschema.Draft202012Validator
    checker.check_schema(schema())
    for file in cases_folder.glob("*.toml"):
        checker(schema()).validate(tomllib.loads(file.read_text(encoding="utf-8")))


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("tube.wall", 1.5),
        ("tube.wall", "1.5"),
        ("tube.wall", None),
        ("tube.colour", "red"),
        ("colour", "red"),
        ("rubber.law", "Boyle"),
        ("rubber.c1", "3 kPa"),
        ("threads.0.count", 0),
        ("threads.0.count", 2.5),
        ("threads.0.name", "two words"),
        ("threads.0.toe", 0.5),
        ("threads.0.hold", "glued"),
        ("threads.0.slack", "loose"),
        ("threads.0.slack", "-3 %"),
        ("threads.0.ring_turn", "1 turn"),
        ("threads.0.angle", None),
        ("threads.0.friction", 3),
        ("pressure.steps", 1001),
        ("pressure", None),
        ("volume", {"added": "1 mL", "steps": 2}),
        ("move", {"displacement": "1 mm", "twist": "1 deg", "steps": 2}),
        ("move", {"steps": 2}),
        ("end", {"axial": "loose"}),
        ("title", ""),
    ],
)
def test_schema_refuses_what_the_code_refuses(ready, refuse, key, value):
    put(ready, key, value)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(ready, schema())
    assert refuse(ready)


# --- faults ---------------------------------------------------------------------------------

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
        ("threads.0.hold", "glued", "threads[1].hold = \"glued\": it must be 'bonded', 'gliding'"),
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
def test_fault_is_named_with_key_value_and_what_is_allowed(ready, refuse, key, value, message):
    put(ready, key, value)
    (line,) = refuse(ready)
    assert line.startswith(message)


@pytest.mark.parametrize(
    "value",
    [1.5, 3, True, math.nan, math.inf, "1.5", "3 kPa", "thick", "", "nan mm", "1e999 mm", [], {}],
    ids=repr,
)
def test_value_that_is_no_length_is_named_and_the_unit_asked_for(ready, refuse, value):
    put(ready, "tube.wall", value)
    (line,) = refuse(ready)
    shown = f'"{value}"' if isinstance(value, str) else str(value)
    assert line.startswith(f"tube.wall = {shown}: ")
    assert line.endswith('write a length with its unit, such as "3 mm"')


def test_each_fault_has_its_own_line(ready, refuse):
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


def test_long_value_is_cut_in_the_message(ready, refuse):
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


# --- the hash -------------------------------------------------------------------------------


def test_hash_does_not_depend_on_the_spelling(ready):
    spelt = copy.deepcopy(ready)
    spelt["tube"] = {"length": "6 cm", "wall": " 0.15cm", "bore_radius": "0.005 m"}
    spelt["rubber"] = {"shear_modulus": "0.06 MPa", "law": "neo-Hookean", "bulk_ratio": 1000}
    spelt["threads"][0].update(stiffness="0.2 kN", toe=0.001, angle="20 °")
    spelt["threads"][1].update(slack=" taken  up")
    del spelt["threads"][0]["hold"], spelt["threads"][0]["slack"]
    spelt["end"] = {"twist": "free", "torque": "-0 N m"}
    assert Case.parse(spelt).hash == Case.parse(ready).hash
    assert Case.parse(spelt) == Case.parse(ready)


def test_hash_does_not_tell_zero_from_negative_zero(make_case):
    plain, negative = (make_case(threads__0__angle=f"{sign}0.0 deg") for sign in ("", "-"))
    assert plain == negative
    assert plain.hash == negative.hash


CHANGES = {
    "title": "Another",
    "note": "Another.",
    "tube.bore_radius": "5.000001 mm",
    "tube.wall": "1.6 mm",
    "tube.length": "61 mm",
    "rubber.bulk_ratio": 1001.0,
    "rubber.trusted_stretch": 1.5,
    "threads.0.name": "C",
    "threads.0.count": 24,
    "threads.0.angle": "-20 deg",
    "threads.0.stiffness": "201 N",
    "threads.0.toe": 2e-3,
    "threads.0.ring_turn": "1 turn",
    "threads.0.hold": "free path",
    "threads.0.slack": "3 %",
    "threads.0.breaking_load": "12 N",
    "threads.0.friction": 0.2,
    "pressure.end": "16 kPa",
    "pressure.steps": 6,
    "volume": {"added": "1 mL", "steps": 5},
    "gas": {"mass": "1 mg", "steps": 5},
    "end.axial": "held",
    "end.twist": "held",
    "end.force": "1 N",
    "end.torque": "1 N mm",
    "end.axial_spring": "1 N/mm",
    "end.twist_spring": "1 N mm/rad",
    "move": {"twist": "1 deg", "steps": 5},
}
LAWS = {
    "neo-Hookean": {"shear_modulus": "60 kPa"},
    "Mooney-Rivlin": {"c1": "20 kPa", "c2": "10 kPa"},
    "Yeoh": {"c1": "30 kPa", "c2": "1 kPa", "c3": "1 Pa"},
    "Gent": {"shear_modulus": "60 kPa", "limit": 50.0},
    "Ogden": {"terms": [{"modulus": "60 kPa", "exponent": 2.0}]},
}
CHANGES_BY_LAW = {
    "neo-Hookean": {"rubber.shear_modulus": "61 kPa"},
    "Mooney-Rivlin": {"rubber.c1": "21 kPa", "rubber.c2": "11 kPa"},
    "Yeoh": {"rubber.c1": "31 kPa", "rubber.c2": "2 kPa", "rubber.c3": "2 Pa"},
    "Gent": {"rubber.shear_modulus": "61 kPa", "rubber.limit": 51.0},
    "Ogden": {"rubber.terms.0.modulus": "61 kPa", "rubber.terms.0.exponent": 3.0},
}


def leaves(data, prefix=""):
    if isinstance(data, dict):
        return {key for name in data for key in leaves(data[name], f"{prefix}{name}.")}
    if isinstance(data, list):
        return leaves(data[0], f"{prefix}0.")
    return {prefix.removesuffix(".")}


@pytest.mark.parametrize("law", CHANGES_BY_LAW)
def test_hash_changes_with_every_field(make_case, law):
    case = make_case(rubber={"law": law, **LAWS[law]}, threads__0__hold="gliding")
    changes = CHANGES | CHANGES_BY_LAW[law]
    assert leaves(case.model_dump(mode="json")) == {"rubber.law", *changes}
    hashes = {case.changed(**{key.replace(".", "__"): changes[key]}).hash for key in changes}
    assert len(hashes | {case.hash}) == len(changes) + 1


@pytest.mark.parametrize(
    "tables",
    [
        [
            {"volume": {"added": added, "steps": steps}}
            for added, steps in [("1 mL", 5), ("2 mL", 5), ("1 mL", 6)]
        ],
        [
            {"gas": {"mass": "1 mg", "steps": 5, **more}}
            for more in [
                {},
                {"mass": "2 mg"},
                {"steps": 6},
                {"line_volume": "1 mL"},
                {"ambient": "90 kPa"},
                {"temperature": "300 K"},
            ]
        ],
        [
            {"move": {**where, "steps": steps}}
            for where, steps in [
                ({"twist": "1 deg"}, 5),
                ({"twist": "2 deg"}, 5),
                ({"twist": "1 deg"}, 6),
                ({"displacement": "1 mm"}, 5),
                ({"displacement": "2 mm"}, 5),
            ]
        ],
        [
            {"threads__0__slack": slack}
            for slack in ["taken up", "0 %", "3 %", "4 %", "cut at 3 deg", "cut at 4 deg"]
        ],
        [{"threads__0__ring_turn": turn} for turn in ["1 turn", "2 turn", "-1 turn"]],
    ],
    ids=["volume", "gas", "move", "slack", "ring_turn"],
)
def test_hash_changes_with_every_value_of_what_may_be_left_out(make_case, tables):
    assert len({make_case(**table).hash for table in tables}) == len(tables)


def test_hash_tells_the_laws_apart(make_case, rubbers):
    assert len({make_case(rubber=data).hash for data in rubbers.values()}) == len(rubbers)


def test_hash_depends_on_the_order_of_the_families(make_case, ready):
    # the order is that of the columns in every table
    assert make_case(threads=ready["threads"][::-1]).hash != make_case().hash


# --- changed copies and sectors -------------------------------------------------------------


def test_changed_copy_differs_in_the_named_keys_only(make_case):
    case = make_case()
    before = case.model_dump_json()
    changed = case.changed(threads__1__angle="10 deg", pressure__steps=3)
    assert case.model_dump_json() == before
    assert changed.threads[1].angle == pytest.approx(math.radians(10), rel=4e-16)  # round-off
    assert changed.pressure.steps == 3
    assert changed.changed(threads__1__angle="-30 deg", pressure__steps=5) == case


def test_change_to_an_alternative_takes_its_place(make_case):
    case = make_case()
    by_turn = case.changed(threads__0__ring_turn="1 turn", volume={"added": "1 mL", "steps": 2})
    assert (by_turn.pressure, by_turn.threads[0].ring_turn) == (None, pytest.approx(2 * math.pi))
    back = by_turn.changed(threads__0__angle="20 deg", pressure={"end": "15 kPa", "steps": 5})
    assert back == case


def test_change_to_none_takes_a_key_away(make_case):
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


def test_byte_order_mark_is_passed_over(cases_folder, tmp_path):
    """Some editors put one before UTF-8; it is no part of the text."""
    ready = cases_folder / "greenhouse_wrist.toml"
    marked = tmp_path / "marked.toml"
    marked.write_bytes(b"\xef\xbb\xbf" + ready.read_bytes())
    assert Case.load(marked) == Case.load(ready)


@pytest.mark.parametrize(
    ("key", "value"),
    [
        *(("tube__wall", "1e-9 mm"), ("tube__length", "1e300 mm"), ("pressure__end", "1e300 kPa")),
        *(("rubber__shear_modulus", "1e-300 Pa"), ("rubber__shear_modulus", "1e300 Pa")),
        ("threads__0__stiffness", "1e12 N"),
    ],
)
def test_size_that_no_device_has_is_refused_with_the_bound(make_case, key, value):
    with pytest.raises(CaseError, match=r"it must be at (least|most) "):
        make_case(**{key: value})


# --- the angle from the turn of the ring ----------------------------------------------------


def test_ring_turn_gives_the_angle_on_the_outer_radius(make_case):
    """tan(alpha) = R phi / L by definition; 60 / 6.5 rad is 45 degrees on this tube."""
    case = make_case(threads__0__ring_turn=f"{60 / 6.5!r} rad", threads__1__ring_turn="-0.5 turn")
    assert case.threads[0].angle == pytest.approx(math.pi / 4, rel=1e-15)
    assert case.threads[1].angle == pytest.approx(-math.atan(6.5 * math.pi / 60), rel=1e-15)
    # and back: the helix then winds through as much
    assert case.threads[1].turn_rate(6.5) * 60 == pytest.approx(-math.pi, rel=1e-15)


def test_ring_turn_is_kept_when_the_tube_changes(make_case):
    case = make_case(threads__0__ring_turn="3 turn")
    longer = case.changed(tube__length="120 mm", tube__wall="2 mm")
    assert longer.threads[0].ring_turn == case.threads[0].ring_turn
    assert longer.threads[0].angle == pytest.approx(math.atan(7 * 6 * math.pi / 120), rel=1e-15)


def test_ring_turn_is_written_as_given_and_the_angle_is_not(make_case, tmp_path):
    case = make_case(threads__0__ring_turn="3 turn")
    case.save(tmp_path / "case.toml")
    written = tomllib.loads((tmp_path / "case.toml").read_text(encoding="utf-8"))["threads"][0]
    assert written["ring_turn"] == "1080 deg"
    assert "angle" not in written
    again = Case.load(tmp_path / "case.toml")
    assert again == case
    assert (again.hash, hash(again)) == (case.hash, hash(case))
    assert again.threads[0].angle == case.threads[0].angle


def test_too_many_turns_of_the_ring_are_refused(make_case):
    with pytest.raises(CaseError, match='threads: family "A" makes 1010 turns round the tube; '):
        make_case(threads__0__ring_turn="1010 turn")


def test_cut_slack_follows_the_ring(make_case):
    case = make_case(threads__0__ring_turn="1 turn", threads__0__slack="cut at 0 deg")
    # a right triangle with legs L = 60 and R phi = 13 pi
    assert case.threads[0].slack_strain == pytest.approx(
        60 / math.hypot(60, 13 * math.pi) - 1, rel=1e-14
    )


def test_thread_that_would_be_torn_is_refused(make_case):
    line = 'threads: family "B" would be stretched to 2.92 times its length to reach the plate; at'
    with pytest.raises(CaseError, match=line):
        make_case(threads__1__angle="70 deg", threads__1__slack="cut at 0 deg")
    # cos(36.87 deg) is 4/5
    stretched = make_case(threads__1__angle="36.8 deg", threads__1__slack="cut at 0 deg")
    assert stretched.threads[1].slack_strain == pytest.approx(-0.199, abs=1e-3)


def test_fault_of_the_tube_is_told_even_with_a_ring_turn(ready, refuse):
    put(ready, "tube.wall", "-1 mm")
    put(ready, "threads.0.angle", None)
    put(ready, "threads.0.ring_turn", "1 turn")
    assert refuse(ready) == ['tube.wall = "-1 mm": it must be greater than 0 mm']


# --- a material from the library ------------------------------------------------------------

MATERIAL = "platinum-cure silicone, Shore 10A"


def test_named_material_stands_for_its_law(ready, make_case):
    put(ready, "rubber", {"material": MATERIAL, "bulk_ratio": 500.0})
    jsonschema.validate(ready, schema())
    case = Case.parse(ready)
    assert case.rubber == materials()[MATERIAL].rubber.model_copy(update={"bulk_ratio": 500.0})
    assert make_case(rubber__bulk_ratio=500.0, rubber__material=MATERIAL) == case


def test_case_of_a_named_material_is_written_with_its_law(ready, tmp_path):
    put(ready, "rubber", {"material": MATERIAL})
    case = Case.parse(ready)
    case.save(tmp_path / "case.toml")
    assert Case.load(tmp_path / "case.toml") == case


@pytest.mark.parametrize(
    ("rubber", "message"),
    [
        ({"material": "cheese"}, 'rubber.material = "cheese": unknown; allowed: "'),
        ({"material": 3}, "rubber.material = 3: unknown; allowed: "),
        (
            {"material": MATERIAL, "law": "Yeoh"},
            f'rubber.material = "{MATERIAL}": only bulk_ratio may be given besides; leave',
        ),
    ],
)
def test_material_that_cannot_be_used_is_named(ready, refuse, rubber, message):
    put(ready, "rubber", rubber)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(ready, schema())
    (line,) = refuse(ready)
    assert line.startswith(message)
