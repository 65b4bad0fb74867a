"""Old values of user files: replaced by the new ones, with one notice that names both."""

import warnings

import pytest
from typer.testing import CliRunner

from fem import Case
from fem.cli import app
from fem.core.errors import InputError
from fem.core.renamed import COLUMNS, VALUES, RenamedWarning, with_new_values
from fem.measurements.bench import read_bench
from fem.quantities import table
from fem.quantities.column import by_name
from fem.study.plan import Study
from fem.trust import parse
from tests.helpers.compared import make_study_result
from tests.helpers.messages import assert_states, refused


def notices(read):
    """Return what `read` returns, and the texts of its notices."""
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("default", RenamedWarning)
        found = read()
    return found, [str(one.message) for one in caught if one.category is RenamedWarning]


@pytest.fixture
def old_case(make_case, tmp_path):
    """Return a case with an old value, its file, and the case with the new value."""

    def write(old, new):
        case = make_case(threads__1__hold=new)
        file = tmp_path / "old.toml"
        case.save(file)
        file.write_text(file.read_text().replace(f'"{new}"', f'"{old}"'))
        return file, case

    return write


@pytest.mark.parametrize(("old", "new"), VALUES["hold"].items())
def test_old_value_in_a_case_file_is_replaced(old_case, old, new):
    file, case = old_case(old, new)
    found, (notice,) = notices(lambda: Case.load(file))
    assert found == case
    assert_states(notice, str(file), "threads[2].hold", f'"{old}"', f'"{new}"')


def test_old_value_in_a_change_is_replaced(make_case):
    case = make_case()
    found, texts = notices(lambda: case.changed(threads__0__hold="gliding"))
    assert found == make_case(threads__0__hold="sliding")
    assert len(texts) == 1
    with pytest.warns(RenamedWarning) as caught:
        case.changed(threads__0__hold="gliding")
    assert caught[0].filename == __file__


def test_old_values_in_a_study_give_one_notice_each(old_case):
    file, _ = old_case("gliding", "sliding")
    (first, second) = ("threads.A.hold", "threads.B.hold")
    data = {
        "title": "t",
        "case": file.name,
        "set": {second: "free path"},
        "vary": [
            {"field": first, "values": ["bonded", "gliding"]},
            {"field": "threads.A.angle", "values": [f"{angle} deg" for angle in range(30)]},
        ],
        "shapes": [{first: "gliding"}],
    }

    def read():
        study = Study.parse(data, file.parent, "my.study.toml")
        return study, [study.case_of(setting) for setting in study.settings]

    (study, cases), texts = notices(read)
    assert {tuple(family.hold for family in case.threads) for case in cases} == {
        ("bonded", "geodesic"),
        ("sliding", "geodesic"),
    }
    assert study.data["vary"][0]["values"] == ["bonded", "sliding"]
    assert sum(study.keeps_shapes(case) for case in cases) == 30
    assert len(texts) == len({*texts}) == 4
    places = [str(file), f"my.study.toml: set.{second}", f"study.toml: {first}", f"[1].{first}"]
    for place in places:
        assert sum(place in text for text in texts) == 1


def test_old_value_in_a_bench_file_is_replaced(make_case, tmp_path):
    file = tmp_path / "old.bench.csv"
    rows = "".join(f"gliding,{pressure},1\n" for pressure in range(1, 20))
    file.write_text(f"hold.B,pressure [kPa],twist [deg]\n{rows}")
    bench, (notice,) = notices(lambda: read_bench(file, make_case()))
    assert [*bench.cases.values()] == [make_case(threads__1__hold="sliding")]
    assert_states(notice, str(file), "threads.B.hold", '"gliding"', '"sliding"')


def test_new_values_and_other_fields_are_kept():
    data = {"title": "gliding", "threads": [{"name": "A", "hold": "sliding"}], "steps": 3}
    assert notices(lambda: with_new_values(data, "file")) == (data, [])


def test_old_names_of_columns_are_refused_with_the_new_ones():
    assert {*COLUMNS.values()} <= {quantity.name for quantity in table.QUANTITIES}
    columns = ["twist_deg", "taut_fraction.A", "rubber_utilisation"]
    for old, new in {"taut.A": "taut_fraction.A", "rubber_used": "rubber_utilisation"}.items():
        with refused(InputError, f'"{old}"', f'"{new}"'):
            by_name([old], columns)
        with refused(InputError, f'"{old}"', f'"{new}"'):
            parse(f"{old} 5 %", make_study_result())
    with pytest.raises(InputError) as refusal:
        by_name(["colour"], columns)
    assert "renamed" not in str(refusal.value)


@pytest.mark.parametrize("action", ["default", "error", "ignore"])
def test_command_prints_one_notice(old_case, tmp_path, action):
    """Whatever the options -W of Python."""
    file, _ = old_case("gliding", "sliding")
    with warnings.catch_warnings():
        warnings.simplefilter(action)
        done = CliRunner().invoke(app, ["mesh", str(file), "-o", str(tmp_path / "a.msh")])
    assert done.exit_code == 0
    (line,) = done.stderr.splitlines()
    assert_states(line, str(file), "threads[2].hold", '"gliding"', '"sliding"')
