"""Tables of the pages list what the program has: keys, laws, options, files, columns."""

import re
import shlex

import pytest
from typer.main import get_command

from fem.case.case import Case
from fem.case.drive import AddedVolume, Gas, Pressure
from fem.case.free_end import FreeEnd, Move
from fem.case.rubber_table import Gent, MooneyRivlin, NeoHookean, Ogden, Yeoh
from fem.case.thread_family import ThreadFamily
from fem.case.tube import Tube
from fem.cli import app
from fem.continuation.termination import TerminationKind
from fem.core.schema_base import schema_of_file
from fem.scene.result_view import result_views
from fem.scene.window.window import Window
from fem.solving.single import solve
from fem.study.plan import Scatter, Study
from fem.study.vary import Vary
from tests.helpers.documents import PAGES, ROOT, code, name_of, table, tables
from tools.document_columns import PAGE, renewed
from validation.suite import READINGS, chapters

LAWS = [NeoHookean, MooneyRivlin, Yeoh, Gent, Ogden]
CASE, STUDIES = (ROOT / "docs" / name for name in ("case-format.md", "studies.md"))
VIEWING = ROOT / "docs" / "viewing.md"
README, INDEX = ROOT / "README.md", ROOT / "docs" / "README.md"
COMMANDS = get_command(app).commands


def keys(texts):
    return {text.split(" = ")[0] for text in texts}


# ------------------------------------------------------------------------------------ case format


def test_every_law_has_its_constants():
    *laws, material = table(CASE, "rubber")
    assert "material" in material[0]
    assert [code(law)[0] for law, _ in laws] == [
        f'law = "{law.model_fields["law"].default}"' for law in LAWS
    ]
    common = {
        text for cells in table(CASE, "optional key of `[rubber]`") for text in code(cells[0])
    }
    for (_, constants), law in zip(laws, LAWS, strict=True):
        own = set(law.model_fields) - {"law"}
        inner = {"modulus", "exponent"} if "terms" in own else set()
        assert set(code(constants)) - {"rubber_utilisation"} == own - common | inner
        assert common < own


def test_keys_of_case_and_tube_are_all():
    assert {text for cells in table(CASE, "key of `[tube]`") for text in code(cells[0])} == {
        *Tube.model_fields
    }
    top = {text for cells in table(CASE, "key at the top") for text in code(cells[0])}
    tables = {"tube", "rubber", "threads", "pressure", "volume", "gas", "end", "move"}
    assert top | tables == set(Case.model_fields)
    assert tables < set(schema_of_file(Case)["properties"])


def test_keys_of_a_family_are_all_and_their_values_allowed(make_case):
    rows = table(CASE, "thread family")
    for cells in rows:
        for text in code(cells[0]):
            key, _, value = text.partition(" = ")
            if value:
                make_case(**{f"threads__0__{key}": value.strip('"')})
    assert keys(text for cells in rows for text in code(cells[0])) == set(ThreadFamily.model_fields)


def test_keys_of_drives_and_ends_are_all():
    parts = {"pressure": Pressure, "volume": AddedVolume, "gas": Gas, "end": FreeEnd, "move": Move}
    listed = {name: set() for name in parts}
    rows = [*table(CASE, "drive"), *table(CASE, "free end")]
    for cells in rows:
        name, *names = code(cells[0])
        listed[name.strip("[]")] |= keys(names)
        if name == "[gas]":
            listed["gas"] |= set(code(cells[1]))
    assert listed == {name: set(part.model_fields) for name, part in parts.items()}


def test_keys_of_a_study_are_all():
    listed = keys(text for cells in table(STUDIES, "key") for text in code(cells[0]))
    names = {field.alias or name for name, field in Vary.model_fields.items()}
    known = {*Study.model_fields, *Scatter.model_fields, *names}
    assert {name.strip("[]") for name in listed} == known


# ------------------------------------------------------------------------------- commands, files


def options(command):
    """Return the options of a command: the ways to write each."""
    found = [option for option in COMMANDS[command].params if option.param_type_name == "option"]
    return [{*option.opts, *option.secondary_opts} for option in found]


@pytest.mark.parametrize("command", COMMANDS)
def test_options_are_all(command):
    """Each is there in all its ways, but for --help, and no other."""
    head = f"option of `{command}`"
    found = [rows for page in PAGES for name, rows in tables(page) if name == head]
    assert len(found) == bool(options(command))
    rows = found[0] if found else []
    listed = {text.split()[0] for row in rows for text in code(row[0]) if text.startswith("-")}
    known = options(command)
    assert listed == {name for names in known for name in names}


def test_index_has_all_commands():
    assert {code(cells[0])[0] for cells in table(INDEX, "command")} == set(COMMANDS)


@pytest.mark.parametrize("page", PAGES, ids=name_of)
def test_named_commands_exist(page):
    named = re.findall(r"(?:bin/|`)tubewright ([a-z-]+)", page.read_text(encoding="utf-8"))
    assert set(named) <= set(COMMANDS)


@pytest.mark.parametrize(
    "line", [line for cells in table(README, "task") for line in code(cells[1])[:2]]
)
def test_commands_of_the_table_of_tasks_are_understood(line, monkeypatch):
    """The command accepts their options; the pages run them with all that they need."""
    monkeypatch.chdir(ROOT)
    name, *words = shlex.split(line)
    if name in COMMANDS:
        assert COMMANDS[name].make_context(name, words, resilient_parsing=False)
    else:
        assert (ROOT / line).exists()


def test_keys_of_the_window_are_all(result):
    window = Window(result_views(result), "Wrist", off_screen=True)
    names = {"+": "plus", "−": "minus"}
    keys = [key for cells in table(VIEWING, "key") for key in cells[0].split(", ")]
    assert {names.get(key, key) for key in keys} == set(window._key_actions())
    window.plotter.close()


def test_ready_cases_are_all(ready_cases):
    cases = {f"cases/{path.name}" for path in ready_cases}
    assert {code(name)[0] for name, _ in table(README, "ready case (invented)")} == cases


def test_lifter_moves_as_described():
    (row,) = (row for row in table(README, "ready case (invented)") if "lifter" in row[0])
    longest, shortest = map(float, re.findall(r"by ([0-9.]+) mm", row[1]))
    moved = solve(Case.load(ROOT / "cases" / "seedling_lifter.toml"), "fe").steps.displacement_mm
    assert moved.max() == pytest.approx(longest, abs=0.05)
    assert moved.iloc[-1] == pytest.approx(-shortest, abs=0.05)


def test_reasons_for_the_end_of_a_path_are_all():
    assert [code(cells[0])[0] for cells in table(PAGE, "reason")] == [*TerminationKind]


def test_columns_are_those_of_the_table_of_quantities():
    text = PAGE.read_text(encoding="utf-8")
    assert renewed(text) == text, "run make docs"


# ------------------------------------------------------------------------------------- validation


def test_chapters_and_readings_are_all():
    page = ROOT / "docs" / "validation.md"
    assert {name for cells in table(page, "subject") for name in code(cells[2])} == set(chapters())
    assert {cells[0] for cells in table(page, "note")} == set(READINGS)
