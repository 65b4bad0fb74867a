"""The book of validations: what is recorded, how it is told, and how a failure shows."""

import math
import re
import sys

import pytest

from fem.core.errors import InputError
from validation.book import FOLDER, READINGS, Book, Check, chapters
from validation.check import RECORD, Drawing, Quantity, at_most, draw, verify
from validation.page import page, picture, typeset
from validation.run import run
from validation.table import markdown

FE = Quantity("twist (deg)", "X 1900", 2.0, 2.02, 0.02, by="FE", mesh="1x24x40")
FAST = Quantity("twist (deg)", "X 1900", 2.0, 2.0, 1e-6, by="fast")
OWN = Quantity("worked", "X 1900", 1.0, 1.0, 1e-8)
SHARED = Quantity("slack", "X 1900", 0.1, 0.1, 1e-8, by="both")
OFF = Quantity("tension (N)", "X 1900", 1.0, 1.5, 0.1, by="FE")


def book(*quantities, failure="", **more):
    checks = [Check("helix", "test_a", 0.5, failure, list(quantities), **more)]
    return Book(checks)


@pytest.mark.parametrize(
    ("quantity", "passes"),
    [
        (Quantity("q", "s", 2.0, 2.02, 0.011), True),
        (Quantity("q", "s", 2.0, 2.02, 0.009), False),
        (Quantity("q", "s", -2.0, -2.02, 0.011), True),
        (Quantity("q", "s", 0.0, 0.1, 0.2, scale=1.0), True),
        (Quantity("q", "s", 0.0, math.nan, 1e9, scale=1.0), False),
        (at_most("q", "s", 0.1, 0.11), False),
    ],
)
def test_quantity_passes_within_its_tolerance(quantity, passes):
    assert quantity.passed == passes


def test_every_quantity_is_recorded_and_every_failure_told(capsys):
    RECORD.clear()
    draw(Drawing("t", "x", "y", {"exact": ([0.0], [0.0])}))
    bad = [OFF, Quantity("other", "s", 1.0, 9.0, 0.1)]
    with pytest.raises(AssertionError, match=r"2 of 3 quantities(.|\n)*tension(.|\n)*other"):
        verify([bad[0], FE, bad[1]])
    assert [q for q in RECORD if isinstance(q, Quantity)] == [bad[0], FE, bad[1]]
    assert "ok   FE twist" in capsys.readouterr().out
    RECORD.clear()


def test_nothing_checked_is_a_failure():
    with pytest.raises(AssertionError, match="nothing"):
        verify([])


def test_models_stand_side_by_side():
    table = book(FE, FAST, OWN, SHARED).table
    assert list(table.quantity) == ["twist (deg)", "worked", "slack"]
    twist, worked, slack = table.to_dict("records")
    assert (twist["FE"], twist["fast"], twist["mesh"]) == (2.02, 2.0, "1x24x40")
    assert twist["error.FE"] == pytest.approx(0.01) and twist["tolerance.fast"] == 1e-6
    assert math.isnan(worked["FE"]) and worked["error.formula"] == 0.0 and worked["formula"] == 1.0
    assert slack["FE"] == slack["fast"] == 0.1


def test_equal_names_are_kept_apart():
    again = Quantity("twist (deg)", "X 1900", 2.0, 2.03, 0.02, by="FE")
    assert list(book(FE, again, FAST).table.FE) == [2.02, 2.03]


def test_yes_or_no_is_written_among_figures():
    """Where one model has only such a figure, and the other none, a column has no number at all."""
    upheld = Quantity("greatest at 60 deg", "X 1900", 1.0, True, 0.0, by="FE")
    assert "| 1 " in markdown(book(upheld, OWN))


def test_summary_counts():
    assert book(FE, FAST, OWN, SHARED).summary() == (
        "4 figures of 1 chapter were checked (2 of the FE model, 2 of the fast model): "
        "all are within their tolerances."
    )
    assert "1 are off" in book(FE, OFF, failure="OffError: one").summary()
    assert "1 checks broke down" in book(failure="ZeroDivisionError").summary()
    later = book(FE, OFF, failure="ZeroDivisionError: after it").summary()
    assert "1 are off, and 1 checks broke down" in later
    assert "nothing to check" in Book([]).summary()
    assert "Broken off" in Book(book(FE).checks, interrupted=True).summary()


def test_book_passes_only_if_all_does():
    assert book(FE).passed
    assert not book(OFF, failure="off").passed
    assert not Book([]).passed
    assert not Book(book(FE).checks, interrupted=True).passed


def test_what_is_off_is_marked_in_table_and_page():
    found = book(FE, OFF, failure="OffError: one")
    (line,) = (line for line in markdown(found).splitlines() if "OFF" in line)
    assert "tension (N)" in line
    shown = page(found, "Some.")
    assert 'class="off"' in shown and "1 off" in shown
    assert not re.search(r"""(src|href)=["']?(https?:)?//""", shown)


def test_table_tells_whose_figure_is_off_and_of_what_it_is_a_share():
    wrong = Quantity("twist (deg)", "X 1900", 2.0, math.nan, 1e-6, by="fast")
    scaled = Quantity("w (mm)", "X 1900", 0.1, 0.2, 0.01, scale=30.0, by="FE")
    bound = at_most("gap", "X 1900", 0.5, 0.4)
    twist, w, gap = markdown(book(FE, wrong, scaled, bound)).splitlines()[-3:]
    assert "OFF (fast)" in twist and "| nan" in twist
    assert "1.0e-02 of 30" in w and "OFF" not in w
    assert "≤ 5.0e-01" in gap and "0.4" in gap


def test_share_of_nothing_is_refused():
    with pytest.raises(ValueError, match="nil: a share of nothing"):
        Quantity("nil", "X 1900", 0.0, 0.1, 1e-3)


def test_check_that_broke_down_is_told():
    found = book(failure="ZeroDivisionError: what happened")
    assert "**broke down**: helix, test_a" in markdown(found)
    assert "what happened" in page(found, "Some.")


def test_picture_keeps_its_letters():
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
    with pytest.raises(InputError, match=r"no_such: allowed are .*balloon"):
        run(["no_such"])


def test_chapter_whose_library_is_missing_is_left_out_and_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "felupe", None)
    found = run(["independent_solver"], whole=True)
    assert found.omitted and not found.passed and not found.by_chapter()
    line = "left out**: independent_solver, test_bare_tube: FElupe is missing: pip install"
    assert line in markdown(found)
    assert "FElupe is missing" in page(found, "Some.")
    with_others = Book([*book(FE).checks, *found.checks])
    assert with_others.passed and "1 figures of 1 chapter" in with_others.summary()


def test_library_of_one_chapter_is_imported_by_one_file():
    """It is under the GPL: nothing that runs outside its chapter may need it."""
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
def test_second(): verify([at_most("q", "s", 0.1, 0.0)])
def test_first(): verify([at_most("q", "s", 0.1, 0.2)])
''',
}


def test_each_way_to_fail_is_told_and_stops_no_other_chapter(tmp_path, monkeypatch):
    for name, text in CHAPTERS.items():
        (tmp_path / name).write_text(text)
    monkeypatch.setattr("validation.book.FOLDER", tmp_path)
    monkeypatch.setattr("validation.run.FOLDER", tmp_path)
    monkeypatch.setenv("PYTEST_ADDOPTS", "-k no_such_test")
    found = run()
    assert [(check.name, check.broken) for check in found.checks] == [
        ("import", True),
        ("test_nothing", True),
        ("test_second", False),
        ("test_first", False),
    ]
    assert [bool(check.failure) for check in found.checks] == [True, True, False, True]
    assert not found.passed and not found.interrupted
