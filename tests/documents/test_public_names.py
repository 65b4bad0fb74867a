"""The public names: docs/python.md lists them, their docstrings are complete and executed."""

import doctest
import inspect
import re
import shutil
from types import SimpleNamespace

import pytest

import fem
from tests.helpers.documents import ROOT, code, table
from tests.helpers.trust_toys import tabulated, two_angles

PAGE = ROOT / "docs" / "python.md"


def members(name):
    """Return a public name and the methods that its class defines, by their names."""
    found = getattr(fem, name)
    own = {name: found}
    if inspect.isclass(found):
        methods = inspect.getmembers(found, inspect.isroutine)
        own |= {
            f"{name}.{key}": one for key, one in methods if key in vars(found) and key[0] != "_"
        }
    return own


def test_page_lists_all_public_names():
    assert {name for cells in table(PAGE, "name") for name in code(cells[0])} == set(fem.__all__)


def test_listed_attributes_exist():
    for cells in table(PAGE, "name"):
        owner = getattr(fem, code(cells[0])[0])
        if inspect.isclass(owner):
            fields = {*dir(owner), *getattr(owner, "__annotations__", {})}
            assert {name for name in code(cells[1]) if name not in fem.__all__} <= fields


@pytest.mark.parametrize("name", fem.__all__)
def test_docstrings_are_complete(name):
    assert ">>> " in inspect.getdoc(getattr(fem, name))
    assert all(inspect.getdoc(member) for member in members(name).values())
    if inspect.isfunction(function := getattr(fem, name)):
        text = inspect.getdoc(function)
        assert "\nRaises\n" in text
        lines = set(re.split(r"[,\n] ?", text.split("\nParameters\n")[1]))
        assert set(inspect.signature(function).parameters) <= lines


def motion(at, pressure):
    """Return invented values of the step table at a setting and pressure."""
    twist = pressure * (at["angle_deg.A"] + 2 * at["angle_deg.B"]) / 15
    motion = {"twist_deg": twist, "displacement_mm": -0.1 * pressure, "bulge_mm": pressure / 10}
    walls = {"bore_stretch": 1.1, "wall_stretch_max": 1 + pressure / 50}
    return motion | walls | {f"tension_N.{name}": abs(twist) for name in "AB"}


@pytest.fixture(scope="module")
def objects(tmp_path_factory):
    """Return the public names, with objects that the examples use, in a folder with cases/."""
    folder = tmp_path_factory.mktemp("examples")
    shutil.copytree(ROOT / "cases", folder / "cases")
    case = fem.Case.load(folder / "cases" / "greenhouse_wrist.toml")
    study = two_angles(6, steps=3)
    study_result = tabulated(
        study, motion, lambda at, p: {"twist_deg": -0.01 * p * at["angle_deg.A"]}
    )
    (folder / "reach").mkdir()
    study_result.save(folder / "reach")
    bench = fem.read_bench(folder / "cases" / "greenhouse_wrist.bench.csv", case)
    names = {name: getattr(fem, name) for name in fem.__all__}
    found = SimpleNamespace(folder=folder, names=names)
    found.names |= {
        "case": case,
        "result": fem.solve(case, "fast"),
        "study": study,
        "study_result": study_result,
        "bench": bench,
        "comparison": fem.compare_with_bench(study_result, bench, ["fast"]),
        "trust": fem.Trust.of(study_result, "twist 3 deg, displacement 5 %"),
    }
    return found


@pytest.mark.slow
@pytest.mark.parametrize("name", fem.__all__)
def test_examples_of_docstrings_run(name, objects, monkeypatch):
    """Where no output is written, only errors fail the example."""
    monkeypatch.chdir(objects.folder)
    if name == "solve_study":
        shutil.rmtree("reach")
    finder, runner = doctest.DocTestFinder(recurse=False), doctest.DocTestRunner()
    tried = 0
    for own, member in members(name).items():
        for test in finder.find(member, own, globs=dict(objects.names)):
            for example in test.examples:
                if not example.want:
                    example.source = _silent(example.source)
            tried += len(test.examples)
            runner.run(test)
    assert tried
    assert runner.failures == 0


@pytest.mark.slow
@pytest.mark.parametrize("name", ["result", "study_result", "comparison", "trust"])
def test_results_are_saved_in_a_new_folder_given_as_text(name, objects, tmp_path):
    folder = tmp_path / "new" / name
    objects.names[name].save(str(folder))
    assert any(folder.iterdir())


def _silent(source):
    """Return an expression as an assignment, so that its value is not compared with nothing."""
    try:
        compile(source, "example", "eval")
    except SyntaxError:
        return source
    return f"_ = {source}"
