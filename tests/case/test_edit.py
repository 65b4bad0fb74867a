"""Plain tables changed by dotted keys."""

import pytest

from fem.case.case import edit
from fem.core.errors import InputError


@pytest.fixture
def data():
    return {
        "pressure": {"end": "1 kPa"},
        "threads": [{"ring_turn": "1 turn"}, {"angle": "1 deg"}],
        "end": {"twist": "free"},
    }


def test_value_is_set_at_its_key(data):
    edit(data, {"threads__1__angle": "2 deg", "pressure__end": "2 kPa", "title": "New"})
    assert data["threads"] == [{"ring_turn": "1 turn"}, {"angle": "2 deg"}]
    assert (data["pressure"], data["title"]) == ({"end": "2 kPa"}, "New")


def test_value_replaces_its_alternative_in_its_own_table(data):
    edit(data, {"threads__0__angle": "3 deg", "volume": {"added": "1 mL"}})
    assert data["threads"] == [{"angle": "3 deg"}, {"angle": "1 deg"}]
    assert "pressure" not in data


def test_alternatives_given_together_both_stay(data):
    edit(data, {"gas": {}, "pressure__end": "2 kPa", "pressure": {"end": "3 kPa"}})
    assert (data["gas"], data["pressure"]) == ({}, {"end": "3 kPa"})


def test_none_removes_a_key_and_nothing_else(data):
    edit(data, {"gas": None, "threads__0__ring_turn": None})
    assert data["threads"][0] == {}
    assert data["pressure"] == {"end": "1 kPa"}


@pytest.mark.parametrize(
    "key", ["move__steps", "threads__2__angle", "end__twist__rate", "end__0__x"]
)
def test_key_in_no_table_is_refused(data, key):
    with pytest.raises(InputError, match=f"^case: there is no key {key.replace('__', '.')}$"):
        edit(data, {key: 1})


def test_material_replaces_law_and_constants(data):
    data["rubber"] = {"law": "Mooney-Rivlin", "c1": "1 kPa", "c2": "1 kPa", "bulk_ratio": 100.0}
    edit(data, {"rubber__material": "cheese"})
    assert data["rubber"] == {"bulk_ratio": 100.0, "material": "cheese"}
