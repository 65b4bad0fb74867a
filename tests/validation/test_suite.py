"""The validation suite: what is recorded, what is reported, and how a failure is shown."""

import math
import re
import sys

import pytest

from fem.core.errors import InputError
from tests.helpers.messages import assert_states, refused
from validation.check import RECORD, Drawing, Quantity, at_most, draw, verify
from validation.full_list import formatted
from validation.kinds import Kind
from validation.page import page, picture, typeset, write_result
from validation.run import run
from validation.suite import FOLDER, READINGS, Check, SuiteResult, chapters
from validation.table import markdown

FE = Quantity("twist (deg)", "X 1900", 2.0, 2.02, 0.02, by="FE", mesh="1x24x40")
FAST = Quantity("twist (deg)", "X 1900", 2.0, 2.0, 1e-6, by="fast")
OWN = Quantity("worked, twist", "X 1900", 1.0, 1.0, 1e-8)
SHARED = Quantity("slack", "X 1900", 0.1, 0.1, 1e-8, by="both")
OFF = Quantity("tension (N)", "X 1900", 1.0, 1.5, 0.1, by="FE")


def result_of(*quantities, failure="", **more):
    checks = [Check("helix", "test_a", 0.5, failure, list(quantities), **more)]
    return SuiteResult(checks)


@pytest.mark.parametrize(
    ("quantity", "passes"),
    [
        (Quantity("F", "s", 2.0, 2.02, 0.011), True),
        (Quantity("F", "s", 2.0, 2.02, 0.009), False),
        (Quantity("F", "s", -2.0, -2.02, 0.011), True),
        (Quantity("F", "s", 0.0, 0.1, 0.2, scale=1.0), True),
        (Quantity("F", "s", 0.0, math.nan, 1e9, scale=1.0), False),
        (at_most("F", "s", 0.1, 0.11), False),
        (at_most("F", "s", 0.0, 0.0), True),
        (at_most("F", "s", 0.0, 1e-9), False),
    ],
)
def test_quantity_passes_within_its_tolerance(quantity, passes):
    assert quantity.passed == passes
    assert (quantity.utilisation <= 1) == passes


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("30 deg, 5 kPa, n T of B (N)", Kind.TENSION),
        ("psi = 0.02, M (N mm)", Kind.TORQUE),
        ("E (N mm)", Kind.ENERGY),
        ("free, energy_gap", Kind.EQUILIBRIUM),
    ],
)
def test_kind_follows_from_the_name(name, kind):
    assert Quantity(name, "s", 1.0, 1.0, 0.0).kind is kind


def test_kind_may_be_given():
    assert at_most("psi, error", "s", 1.0, 0.0, Kind.CONVERGENCE).kind is Kind.CONVERGENCE


def test_unknown_kind_is_refused():
    with refused(ValueError, "girth (mm)"):
        Quantity("girth (mm)", "s", 1.0, 1.0, 0.0)


def test_every_quantity_is_recorded_and_every_failure_reported(capsys):
    RECORD.clear()
    draw(Drawing("t", "x", "y", {"exact": ([0.0], [0.0])}))
    bad = [OFF, Quantity("V (mm3)", "s", 1.0, 9.0, 0.1)]
    with refused(AssertionError, "2 of 3", OFF.name, "V (mm3)"):
        verify([bad[0], FE, bad[1]])
    assert [q for q in RECORD if isinstance(q, Quantity)] == [bad[0], FE, bad[1]]
    assert "ok   FE twist" in capsys.readouterr().out
    RECORD.clear()


def test_empty_check_fails():
    with pytest.raises(AssertionError):
        verify([])


def test_values_of_both_models_share_a_row_of_the_full_list():
    table = result_of(FE, FAST, OWN, SHARED).values
    assert list(table.quantity) == ["twist (deg)", "worked, twist", "slack"]
    assert list(table.kind) == [Kind.TWIST, Kind.TWIST, Kind.THREAD]
    twist, worked, slack = table.to_dict("records")
    assert (twist["FE"], twist["fast"], twist["mesh"]) == (2.02, 2.0, "1x24x40")
    assert twist["error.FE"] == pytest.approx(0.01) and twist["tolerance.fast"] == 1e-6
    assert math.isnan(worked["FE"]) and worked["error.formula"] == 0.0 and worked["formula"] == 1.0
    assert slack["FE"] == slack["fast"] == 0.1


def test_equal_names_have_separate_rows():
    again = Quantity("twist (deg)", "X 1900", 2.0, 2.03, 0.02, by="FE")
    assert list(result_of(FE, again, FAST).values.FE) == [2.02, 2.03]


def row_of(result, quantity):
    """Return the cells of a row of the table."""
    lines = markdown(result).splitlines()
    (row,) = (
        [cell.strip() for cell in line.strip("|").split("|")]
        for line in lines
        if f"| {quantity.kind} | {quantity.source} |" in line
    )
    return row


def test_table_has_number_and_worst_error_by_kind_and_source():
    near = Quantity("psi (rad/mm)", "X 1900", 1.0, 1.0018, 0.002, by="FE")
    row = row_of(result_of(FE, near, FAST, OWN), FE)
    assert row == [
        "helix",
        "twist",
        "X 1900",
        "4",
        "2: 1.8e-03 ≤ 2e-03",
        "1: 0 ≤ 1e-06",
        "1: 0 ≤ 1e-08",
    ]


def test_value_of_both_models_counts_once_in_the_total():
    assert row_of(result_of(SHARED), SHARED)[3:] == ["1", "1: 0 ≤ 1e-08", "1: 0 ≤ 1e-08", ""]


def test_boolean_is_a_value():
    """A column of the full list may have no number at all."""
    true = Quantity("largest at 60 deg", "X 1900", 1.0, True, 0.0, by="FE", kind=Kind.TREND)
    assert row_of(result_of(true, OWN), true)[4] == "1: 0 ≤ 0"
    assert "largest at 60 deg" in page(result_of(true, OWN), "Some.")


def test_summary_counts():
    def numbers(result):
        return [int(number) for number in re.findall(r"\d+", result.summary())]

    assert numbers(result_of(FE, FAST, OWN, SHARED)) == [4, 1, 2, 2]
    assert numbers(result_of(FE, OFF, failure="ToleranceError: one"))[4:] == [1]
    assert numbers(result_of(failure="ZeroDivisionError"))[4:] == [0, 1]
    assert numbers(result_of(FE, OFF, failure="ZeroDivisionError: later"))[4:] == [1, 1]
    assert "--whole" in SuiteResult([]).summary()
    assert "Interrupted" in SuiteResult(result_of(FE).checks, interrupted=True).summary()


def test_suite_passes_only_if_all_checks_do():
    assert result_of(FE).passed
    assert not result_of(OFF, failure="off").passed
    assert not SuiteResult([]).passed
    assert not SuiteResult(result_of(FE).checks, interrupted=True).passed


def test_value_outside_tolerance_is_marked_in_table_and_page():
    found = result_of(FE, OFF, failure="ToleranceError: one")
    assert row_of(found, OFF)[4] == "1: 5e-01 > 1e-01 **OUTSIDE**"
    html = page(found, "Some.")
    assert 'class="off"' in html and "1 outside" in html
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", html)


def test_full_list_names_the_model_outside_tolerance_and_the_scale():
    wrong = Quantity("twist (deg)", "X 1900", 2.0, math.nan, 1e-6, by="fast")
    scaled = Quantity("w (mm)", "X 1900", 0.1, 0.2, 0.01, scale=30.0, by="FE")
    bound = at_most("energy_gap", "X 1900", 0.5, 0.4)
    twist, w, gap = formatted(result_of(FE, wrong, scaled, bound).values).to_dict("records")
    assert "OUTSIDE (fast)" in twist["error"] and twist["fast"] == "nan"
    assert w["tolerance"] == "1.0e-02 of 30" and "OUTSIDE" not in w["error"]
    assert gap["expected"] == "≤ 5.0e-01" and gap["formula"] == "0.4"


def test_zero_without_a_scale_is_refused():
    with refused(ValueError, "twist", "scale"):
        Quantity("twist", "X 1900", 0.0, 0.1, 1e-3)


def test_crashed_check_is_reported():
    found = result_of(failure="ZeroDivisionError: what happened")
    assert "helix, test_a" in markdown(found)
    assert "what happened" in page(found, "Some.")


@pytest.mark.parametrize("csv", [False, True])
def test_full_list_is_written_only_if_requested(tmp_path, csv):
    file = tmp_path / "values.csv"
    written = write_result(result_of(FE, FAST), tmp_path, "Some.", file if csv else None)
    assert sorted(tmp_path.iterdir()) == sorted(written)
    assert file.exists() == csv
    if csv:
        assert [row.split(",")[3] for row in file.read_text().splitlines()[1:]] == ["twist (deg)"]


def test_text_of_a_picture_stays_text():
    curves = {"FE": ([1, 2], [1, 2]), "exact": ([1], [1])}
    drawing = Drawing("Twist", "angle (deg)", "twist", curves)
    assert "angle (deg)" in picture(drawing)
    assert "angle (deg)" in picture(Drawing(**(vars(drawing) | {"log": True})))


@pytest.mark.parametrize("chapter", chapters().values(), ids=lambda chapter: chapter.name)
def test_chapter_states_its_sources_and_can_be_typeset(chapter):
    assert chapter.title.endswith(".")
    assert chapter.entries
    for reading in chapter.readings.values():
        assert reading.startswith(READINGS), f"{chapter.name}: {reading!r}"
    assert "Tolerance" in chapter.text
    typeset(chapter.text, 2)


def test_unknown_chapter_is_refused():
    with refused(InputError, "no_such", "balloon"):
        run(["no_such"])


def test_chapter_without_its_library_is_skipped_and_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "felupe", None)
    found = run(["independent_solver"], whole=True)
    assert found.skipped and not found.passed and not found.by_chapter()
    for text in (markdown(found), page(found, "Some.")):
        assert_states(text, "independent_solver, test_bare_tube", "FElupe", "pip install")
    with_others = SuiteResult([*result_of(FE).checks, *found.checks])
    assert with_others.passed and list(with_others.by_chapter()) == ["helix"]


def test_library_of_one_chapter_is_imported_by_one_file():
    """The library is under the GPL: only its chapter may need it."""
    root = FOLDER.parent
    files = [
        file
        for folder in ("fem", "meshes", "validation")
        for file in root.glob(f"{folder}/**/*.py")
    ]
    users = [
        file.name
        for file in files
        if re.search(r"^\s*(import|from) felupe", file.read_text(), re.MULTILINE)
    ]
    assert users == ["conforming.py"]


CHAPTERS = {
    "conftest.py": "from validation.conftest import pytest_runtest_call",
    "test_absent.py": '"""A."""\nimport no_such_library',
    "test_mute.py": '"""B."""\ndef test_nothing(): pass',
    "test_two.py": '''"""C."""
from validation.check import at_most, verify
def test_second(): verify([at_most("F", "s", 0.1, 0.0)])
def test_first(): verify([at_most("F", "s", 0.1, 0.2)])
''',
}


def test_each_failure_is_reported_and_stops_no_other_chapter(tmp_path, monkeypatch):
    for name, text in CHAPTERS.items():
        (tmp_path / name).write_text(text)
    monkeypatch.setattr("validation.suite.FOLDER", tmp_path)
    monkeypatch.setattr("validation.run.FOLDER", tmp_path)
    monkeypatch.setenv("PYTEST_ADDOPTS", "-k no_such_test")
    found = run()
    assert [(check.name, check.crashed) for check in found.checks] == [
        ("import", True),
        ("test_nothing", True),
        ("test_second", False),
        ("test_first", False),
    ]
    assert [bool(check.failure) for check in found.checks] == [True, True, False, True]
    assert not found.passed and not found.interrupted
