"""The schema of a case: it is up to date, and refuses what the code refuses."""

import json
import tomllib

import jsonschema
import pytest

from fem.case.case import Case
from fem.core.schema_base import schema_of_file


def test_schema_file_is_the_schema_of_the_code(cases_folder):
    stored = json.loads((cases_folder / "case.schema.json").read_text(encoding="utf-8"))
    assert stored == schema_of_file(Case)


def test_schema_is_valid_and_accepts_every_ready_case(ready_cases):
    checker = jsonschema.Draft202012Validator
    checker.check_schema(schema_of_file(Case))
    for file in ready_cases:
        checker(schema_of_file(Case)).validate(tomllib.loads(file.read_text(encoding="utf-8")))


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
def test_schema_refuses_what_the_code_refuses(put, ready, refuse, key, value):
    put(ready, key, value)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(ready, schema_of_file(Case))
    assert refuse(ready)
