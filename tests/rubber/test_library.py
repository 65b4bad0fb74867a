"""The library of materials: its content, and its use in a case."""

import re

import numpy as np
import pytest

from fem.case.case import Case, CaseError
from fem.case.rubber_table import rubber_table
from fem.rubber import Ogden, Yeoh
from fem.rubber.library import materials
from tests.helpers.messages import refused

SILICONE = "platinum-cure silicone, Shore 00-30"

# Nominal stress (MPa) measured at 100 %, first loading: L. Marechal et al., Soft Robotics 8(3),
# 2021, doi 10.1089/soro.2019.0115; read from the open data at the source.
AT_100_PERCENT = {
    SILICONE: 0.02972,
    "platinum-cure silicone, Shore 00-50": 0.04095,
    "platinum-cure silicone, Shore 10A": 0.11296,
    "platinum-cure silicone, Shore 20A": 0.31836,
    "platinum-cure silicone, Shore 30A": 0.43712,
}


@pytest.fixture(params=materials())
def material(request):
    return materials()[request.param]


def law_of(name):
    return rubber_table(materials()[name].rubber).constitutive_law


@pytest.mark.parametrize("name", AT_100_PERCENT)
def test_own_fits_agree_with_the_measured_stress(name):
    """Two constants cannot fit the whole curve: the error at its end is up to 2.3 %."""
    first, second = law_of(name).dW(np.array(2.0**2 + 1), np.array(4 + 1 / 4))
    stress = 2 * (2 - 1 / 4) * (first + second / 2)
    assert stress == pytest.approx(AT_100_PERCENT[name], rel=0.025)
    assert materials()[name].rubber["trusted_stretch"] == 2.0


def test_only_these_are_own_fits():
    assert {name for name, material in materials().items() if material.own_fit} == {*AT_100_PERCENT}


def test_moduli_of_silicones_increase_with_hardness():
    """The materials are ordered by the scale of the durometer, and so are their moduli."""
    moduli = [law_of(name).shear_modulus for name in AT_100_PERCENT]
    assert moduli == sorted(moduli)


def test_published_constants():
    assert law_of("silicone, Shore 28A") == Yeoh(0.11, 0.02)
    rubber = law_of("vulcanised natural rubber")
    assert isinstance(rubber, Ogden)
    # kg/cm2 in the paper, MPa in later books: 0.63, 0.0012 and -0.01, which make mu 0.4225 MPa
    assert rubber.shear_modulus == pytest.approx(0.4225, rel=1e-12)


def test_source_is_given(material):
    assert re.search(r"(19|20)\d\d", material.source)
    assert re.fullmatch(r"(10\.\d{4,}/\S+)?", material.doi)
    assert material.doi or material.read == "second-hand"
    assert material.read in ("at the source", "second-hand", "from memory")
    assert len(material.strain_range) > 5


def test_trusted_stretch_is_given_if_the_range_is_known(material):
    assert ("trusted_stretch" not in material.rubber) == (material.strain_range == "not known")


def test_case_by_name_is_the_case_by_constants(make_case, material):
    named = make_case(rubber={"material": material.name})
    assert named == make_case(rubber=material.rubber)
    assert named.hash == make_case(rubber=material.rubber).hash


def test_saved_case_does_not_need_the_library(make_case, tmp_path):
    """The constants are saved, not the name."""
    case = make_case(rubber={"material": SILICONE})
    case.save(tmp_path / "case.toml")
    assert SILICONE not in (tmp_path / "case.toml").read_text(encoding="utf-8")
    assert Case.load(tmp_path / "case.toml") == case


def test_bulk_ratio_may_be_given_with_the_name():
    data = {"material": SILICONE, "bulk_ratio": 500.0}
    assert rubber_table(data) == rubber_table(materials()[SILICONE].rubber | {"bulk_ratio": 500.0})
    assert data == {"material": SILICONE, "bulk_ratio": 500.0}


@pytest.mark.parametrize("name", ["cheese", "", 30, None, [SILICONE]])
def test_unknown_material_is_refused_with_the_known_ones(name):
    with refused(ValueError, "material", *(f'"{known}"' for known in materials())):
        rubber_table({"material": name})


@pytest.mark.parametrize("key", ["law", "c1", "shear_modulus", "trusted_stretch", "colour"])
def test_constants_with_the_name_are_refused(key):
    with refused(ValueError, "bulk_ratio", key):
        rubber_table({"material": SILICONE, key: "3 kPa", "bulk_ratio": 500.0})


def test_error_of_a_case_names_the_material(make_case):
    with refused(CaseError, 'rubber.material = "cheese"', f'"{SILICONE}"'):
        make_case(rubber={"material": "cheese"})


def test_materials_cannot_be_changed_by_a_caller():
    materials().clear()
    assert SILICONE in materials()
