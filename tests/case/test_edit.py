"""Plain tables changed by dotted keys."""

import copy

import pytest

from fem.case.case import edit
from fem.core.errors import InputError
from tests.helpers.messages import refused


@pytest.fixture
def data():
    return {
        "pressure": {"end": "1 kPa"},
        "threads": [{"name": "A", "ring_turn": "1 turn"}, {"name": "B-2", "angle": "1 deg"}],
        "end": {"twist": "free"},
    }


def test_value_is_set_at_its_key(data):
    edit(data, {"threads__1__angle": "2 deg", "pressure__end": "2 kPa", "title": "New"})
    assert [*data["threads"][0]] == ["name", "ring_turn"]
    assert data["threads"][1] == {"name": "B-2", "angle": "2 deg"}
    assert (data["pressure"], data["title"]) == ({"end": "2 kPa"}, "New")


def test_value_replaces_its_alternative_in_its_own_table(data):
    edit(data, {"threads__0__angle": "3 deg", "volume": {"added": "1 mL"}})
    assert data["threads"][0] == {"name": "A", "angle": "3 deg"}
    assert data["threads"][1] == {"name": "B-2", "angle": "1 deg"}
    assert "pressure" not in data


def test_alternatives_given_together_both_stay(data):
    edit(data, {"gas": {}, "pressure__end": "2 kPa", "pressure": {"end": "3 kPa"}})
    assert (data["gas"], data["pressure"]) == ({}, {"end": "3 kPa"})


def test_none_removes_a_key_and_nothing_else(data):
    edit(data, {"gas": None, "threads__0__ring_turn": None})
    assert data["threads"][0] == {"name": "A"}
    assert data["pressure"] == {"end": "1 kPa"}


@pytest.mark.parametrize(
    "key", ["move__steps", "threads__2__angle", "end__twist__rate", "end__0__x"]
)
def test_key_of_an_unknown_table_is_refused(data, key):
    with refused(InputError, "case: ", key.replace("__", ".")):
        edit(data, {key: 1})


def test_family_is_given_by_its_name_or_its_index(data):
    by_index = copy.deepcopy(data)
    edit(data, {"threads__A__angle": "3 deg", "threads__B-2__slack": "3 %"})
    edit(by_index, {"threads__0__angle": "3 deg", "threads__1__slack": "3 %"})
    assert data == by_index
    assert data["threads"][0] == {"name": "A", "angle": "3 deg"}


@pytest.mark.parametrize("family", ["C", "2", "a", ""])
def test_unknown_family_is_refused_with_the_known_ones(data, family):
    with refused(InputError, f"threads.{family}.angle", "A, B-2"):
        edit(data, {f"threads__{family}__angle": "3 deg"})


def test_family_itself_is_no_key(data):
    with refused(InputError, "threads.A,", "key of the family", "A, B-2"):
        edit(data, {"threads__A": {"count": 3}})


def test_missing_table_is_named(data):
    with refused(InputError, "gas.steps", "no table [gas]"):
        edit(data, {"gas__steps": 3})


def test_case_without_families_is_named(data):
    data["threads"] = []
    with refused(InputError, "threads.A.angle", "none"):
        edit(data, {"threads__A__angle": "3 deg"})


def test_material_replaces_law_and_constants(data):
    data["rubber"] = {"law": "Mooney-Rivlin", "c1": "1 kPa", "c2": "1 kPa", "bulk_ratio": 100.0}
    edit(data, {"rubber__material": "cheese"})
    assert data["rubber"] == {"bulk_ratio": 100.0, "material": "cheese"}
