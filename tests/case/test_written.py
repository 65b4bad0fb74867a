"""Cases that are written and read again are equal."""

import copy
import math
import string

import jsonschema
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fem.case.case import Case
from fem.case.thread_family import MAX_TURNS
from fem.core.schema_base import schema_of_file
from fem.core.units import ANGLE, read
from fem.rubber.library import materials


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
        "hold": st.sampled_from(["bonded", "sliding", "geodesic"]),
        "slack": st.one_of(
            st.just("taken up"),
            st.builds("{!r} %".format, st.floats(0, 100)),
            st.builds("cut at {!r} deg".format, st.floats(-45, 45)),
        ),
        "breaking_load": quantity(0.1, 1e4, "N", "kN"),
    },
)
SLIDING_DATA = st.fixed_dictionaries(
    {"hold": st.sampled_from(["sliding", "geodesic"])}, optional={"friction": st.floats(0, 2)}
)
ANGLE_DATA = st.one_of(
    st.fixed_dictionaries({"angle": quantity(-45, 45, "deg")}),
    st.fixed_dictionaries({"ring_turn": quantity(-0.1, 0.1, "turn", "rad")}),
)


def merged(*tables):
    return st.builds(lambda *parts: {k: v for part in parts for k, v in part.items()}, *tables)


FAMILIES = st.one_of(merged(FAMILY_DATA, ANGLE_DATA), merged(FAMILY_DATA, ANGLE_DATA, SLIDING_DATA))
STEPS = st.integers(1, 1000)
VOLUMES = quantity(1, 1e3, "mL", "mm^3", "L")
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
    """Return whether the threads of `data` fit on its tube; see the two bounds below."""
    tube = Case.parse({**data, "threads": []}).tube
    aspect = tube.length / tube.outer_radius
    for family in data["threads"]:
        key = "angle" if "angle" in family else "ring_turn"
        given = read(family[key], ANGLE)
        turn = math.tan(given) * aspect if key == "angle" else given
        if abs(turn) >= 2 * math.pi * MAX_TURNS:
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
def test_parsing_does_not_change_its_data_and_the_schema_agrees(data):
    before = copy.deepcopy(data)
    Case.parse(data)
    assert data == before
    jsonschema.validate(data, schema_of_file(Case))


def test_every_ready_case_is_loaded_and_saved(ready_cases, tmp_path):
    assert ready_cases
    for file in ready_cases:
        case = Case.load(file)
        case.save(tmp_path / file.name)
        assert Case.load(tmp_path / file.name) == case


def test_byte_order_mark_is_ignored(cases_folder, tmp_path):
    """Some editors write one before UTF-8; it is not part of the text."""
    ready = cases_folder / "greenhouse_wrist.toml"
    marked = tmp_path / "marked.toml"
    marked.write_bytes(b"\xef\xbb\xbf" + ready.read_bytes())
    assert Case.load(marked) == Case.load(ready)
