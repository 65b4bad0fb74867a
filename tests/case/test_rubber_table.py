"""The table of the rubber: the law that it creates, and refused constants."""

import numpy as np
import pytest
from pydantic import ValidationError

from fem import rubber as laws
from fem.case.rubber_table import rubber_table


def test_table_creates_its_law_in_inside_units():
    yeoh = rubber_table({"law": "Yeoh", "c1": "110 kPa", "c2": "0.02 MPa", "bulk_ratio": 500.0})
    assert yeoh.constitutive_law == laws.Yeoh(0.11, 0.02, 0.0, bulk_ratio=500.0)
    terms = [{"modulus": "630 kPa", "exponent": 1.3}, {"modulus": "-10 kPa", "exponent": -2.0}]
    ogden = rubber_table({"law": "Ogden", "terms": terms})
    assert ogden.constitutive_law == laws.Ogden((0.63, -0.01), (1.3, -2.0))


# --- refused constants ----------------------------------------------------------------------

ONE_TERM = {"modulus": "60 kPa", "exponent": 1.3}


@pytest.mark.parametrize(
    ("law", "changes", "where"),
    [
        ("Yeoh", {"c1": "0 kPa"}, "c1"),
        ("Yeoh", {"c1": "-30 kPa"}, "c1"),
        ("Yeoh", {"c2": 0.0}, "c2"),
        ("Gent", {"limit": 0.0}, "limit"),
        ("Gent", {"limit": -3.0}, "limit"),
        ("Gent", {"limit": np.inf}, "limit"),
        ("Ogden", {"terms": []}, ""),
        ("Ogden", {"terms": [ONE_TERM] * 7}, ""),
        ("Ogden", {"terms": [ONE_TERM, {"modulus": "-60 kPa", "exponent": 1.3}]}, ""),
        ("Ogden", {"terms": [ONE_TERM, {"modulus": "10 kPa", "exponent": -7.9}]}, ""),
        ("Ogden", {"terms": [{**ONE_TERM, "exponent": 0.0}]}, "terms.0"),
        ("Ogden", {"terms": [{**ONE_TERM, "exponent": -0.09}]}, "terms.0"),
        ("Ogden", {"terms": [{**ONE_TERM, "exponent": 20.1}]}, "terms.0.exponent"),
        ("Ogden", {"terms": [{**ONE_TERM, "modulus": 60.0}]}, "terms.0.modulus"),
        ("neo-Hookean", {"trusted_stretch": 1.0}, "trusted_stretch"),
        ("neo-Hookean", {"trusted_stretch": "2"}, "trusted_stretch"),
    ],
)
def test_invalid_constants_are_refused(rubbers, law, changes, where):
    with pytest.raises(ValidationError) as refusal:
        rubber_table({**rubbers[law], **changes})
    (fault,) = refusal.value.errors()
    assert ".".join(map(str, fault["loc"][1:])) == where


def test_rubber_is_the_same_when_written_and_read(rubbers):
    for data in rubbers.values():
        rubber = rubber_table(data)
        assert rubber_table(rubber.model_dump(mode="json", exclude_none=True)) == rubber
