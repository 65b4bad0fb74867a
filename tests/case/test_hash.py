"""The hash of a case: it depends on values, not on the way they are written."""

import copy

import pytest

from fem.case.case import Case


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


def test_hash_of_zero_and_negative_zero_is_the_same(make_case):
    plain, negative = (make_case(threads__0__angle=f"{sign}0.0 deg") for sign in ("", "-"))
    assert plain == negative
    assert plain.hash == negative.hash


WORDS = {"title": "Another", "note": "Another.", "rubber.trusted_stretch": 1.5}
"""Fields that do not affect the results."""

CHANGES = {
    "tube.bore_radius": "5.000001 mm",
    "tube.wall": "1.6 mm",
    "tube.length": "61 mm",
    "rubber.bulk_ratio": 1001.0,
    "threads.0.name": "C",
    "threads.0.count": 24,
    "threads.0.angle": "-20 deg",
    "threads.0.stiffness": "201 N",
    "threads.0.toe": 2e-3,
    "threads.0.ring_turn": "1 turn",
    "threads.0.hold": "geodesic",
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
def test_hash_changes_with_every_field_that_changes_values(make_case, law):
    case = make_case(rubber={"law": law, **LAWS[law]}, threads__0__hold="sliding")
    changes = CHANGES | CHANGES_BY_LAW[law]
    assert leaves(case.model_dump(mode="json")) == {"rubber.law", *changes, *WORDS}
    hashes = {case.changed(**{key.replace(".", "__"): changes[key]}).hash for key in changes}
    assert len(hashes | {case.hash}) == len(changes) + 1
    for key, value in WORDS.items():
        other = case.changed(**{key.replace(".", "__"): value})
        assert other != case
        assert (other.hash, other.key) == (case.hash, case.key)


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
def test_hash_changes_with_every_value_of_optional_keys(make_case, tables):
    assert len({make_case(**table).hash for table in tables}) == len(tables)


def test_hash_depends_on_the_law(make_case, rubbers):
    assert len({make_case(rubber=data).hash for data in rubbers.values()}) == len(rubbers)


def test_hash_depends_on_the_order_of_the_families(make_case, ready):
    # the order is that of the columns in every table
    assert make_case(threads=ready["threads"][::-1]).hash != make_case().hash
