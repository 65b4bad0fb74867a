"""A rubber given by the name of a material of the library."""

import jsonschema
import pytest

from fem.case.case import Case
from fem.case.rubber_table import rubber_table
from fem.core.schema_base import schema_of_file
from fem.rubber.library import materials
from tests.helpers.messages import assert_states

MATERIAL = "platinum-cure silicone, Shore 10A"


def test_named_material_is_replaced_by_its_law(put, ready, make_case):
    put(ready, "rubber", {"material": MATERIAL, "bulk_ratio": 500.0})
    jsonschema.validate(ready, schema_of_file(Case))
    case = Case.parse(ready)
    assert case.rubber == rubber_table(materials()[MATERIAL].rubber | {"bulk_ratio": 500.0})
    assert make_case(rubber__bulk_ratio=500.0, rubber__material=MATERIAL) == case


def test_case_of_a_named_material_is_written_with_its_law(put, ready, tmp_path):
    put(ready, "rubber", {"material": MATERIAL})
    case = Case.parse(ready)
    case.save(tmp_path / "case.toml")
    assert Case.load(tmp_path / "case.toml") == case


@pytest.mark.parametrize(
    ("rubber", "named", "allowed"),
    [
        ({"material": "cheese"}, 'rubber.material = "cheese": ', f'"{MATERIAL}"'),
        ({"material": 3}, "rubber.material = 3: ", f'"{MATERIAL}"'),
        ({"material": MATERIAL, "law": "Yeoh"}, f'rubber.material = "{MATERIAL}": ', "bulk_ratio"),
    ],
)
def test_material_that_cannot_be_used_is_named(put, ready, refuse, rubber, named, allowed):
    put(ready, "rubber", rubber)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(ready, schema_of_file(Case))
    (line,) = refuse(ready)
    assert line.startswith(named)
    assert_states(line, allowed)
