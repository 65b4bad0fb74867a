"""What the README shows is true: its case and keys are some, its code runs, its links exist."""

import re
import tomllib
from pathlib import Path

import pytest
from typer.main import get_command

from fem.case.case import Case
from fem.case.drive import AddedVolume, Gas, Pressure
from fem.case.free_end import FreeEnd, Move
from fem.case.rubber_table import Gent, MooneyRivlin, NeoHookean, Ogden, Yeoh
from fem.case.thread_family import ThreadFamily
from fem.cli import app
from fem.core.schema_base import schema_of_file
from fem.solving.single import solve
from fem.study.job_list import JobList
from fem.study.plan import Study

LAWS = [NeoHookean, MooneyRivlin, Yeoh, Gent, Ogden]

ROOT = Path(__file__).parents[2]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks(language):
    found = re.findall(rf"```{language}\n(.*?)```", README, re.DOTALL)
    assert found
    return found


def test_case_is_the_ready_one():
    _, text = blocks("toml")
    ready = Case.load(ROOT / "cases" / "greenhouse_wrist.toml")
    shown = tomllib.loads(text)
    other = {"name": "B", "angle": "-30 deg"}
    shown["threads"].append({**shown["threads"][0], **other})  # the README shows one family
    assert Case.parse(shown) == ready.changed(note="")


def test_study_is_one():
    text, _ = blocks("toml")
    job_list = JobList.of(Study.parse(tomllib.loads(text), ROOT / "cases"))
    assert (len(job_list.cases), len(job_list.study.models)) == (26, 2)


def test_options_of_the_study_are_some():
    known = {name for option in get_command(app).commands["study"].params for name in option.opts}
    known |= {"--no-pictures"}
    (rows,) = (rows for rows in tables("option") if "--dry-run" in rows[0][0])
    assert {text.split()[0] for cell, _ in rows for text in code(cell)} <= known


def table(head):
    """Return the cells of the first table whose first column has this head, row by row."""
    return tables(head)[0]


def tables(head):
    """Return the cells of every table whose first column has this head, row by row."""
    parts = README.split(f"\n| {head} |")[1:]
    lines = [part.split("\n\n")[0].splitlines()[2:] for part in parts]
    assert all(lines)
    return [
        [[cell.strip() for cell in row.strip("|").split("|")] for row in rows] for rows in lines
    ]


def code(cell):
    return re.findall(r"`([^`]+)`", cell)


def test_every_law_is_there_with_its_constants():
    *laws, material = table("rubber")
    assert "material" in material[0]
    assert [code(law)[0] for law, _ in laws] == [
        f'law = "{law.model_fields["law"].default}"' for law in LAWS
    ]
    for (_, constants), law in zip(laws, LAWS, strict=True):
        own = set(law.model_fields) - {"law", "bulk_ratio", "trusted_stretch"}
        inner = {"modulus", "exponent"} if "terms" in own else set()
        assert set(code(constants)) - {"rubber_used"} == own | inner


def test_keys_of_a_family_are_some(make_case):
    for cell, _ in table("thread family"):
        for text in code(cell):
            key, _, value = text.partition(" = ")
            assert key in ThreadFamily.model_fields
            if value:
                make_case(**{f"threads__0__{key}": value.strip('"')})
    said = {text.split(" = ")[0] for cell, _ in table("thread family") for text in code(cell)}
    shown = set(tomllib.loads(blocks("toml")[1])["threads"][0])
    assert said | shown == set(ThreadFamily.model_fields)


def test_keys_of_drives_and_ends_are_all():
    parts = {"pressure": Pressure, "volume": AddedVolume, "gas": Gas, "end": FreeEnd, "move": Move}
    said = {name: set() for name in parts}
    for cells in [*table("drive, just one"), *table("free end, if not free")]:
        name, *keys = code(cells[0])
        said[name.strip("[]")] |= {key.split(" = ")[0] for key in keys}
        if name == "[gas]":
            said["gas"] |= set(code(cells[1]))
    assert said == {name: set(part.model_fields) for name, part in parts.items()}
    assert set(parts) < set(schema_of_file(Case)["properties"])


def test_ready_cases_are_all(ready_cases):
    cases = {f"cases/{path.name}" for path in ready_cases}
    assert {code(name)[0] for name, _ in table("ready case (invented)")} == cases


def test_lifter_does_what_is_said_of_it():
    (row,) = (row for row in table("ready case (invented)") if "lifter" in row[0])
    longest, shortest = map(float, re.findall(r"by ([0-9.]+) mm", row[1]))
    moved = solve(Case.load(ROOT / "cases" / "seedling_lifter.toml"), "fe").steps.displacement_mm
    assert moved.max() == pytest.approx(longest, abs=0.05)
    assert moved.iloc[-1] == pytest.approx(-shortest, abs=0.05)


def test_commands_and_options_are_some():
    commands = {command.name or command.callback.__name__ for command in app.registered_commands}
    assert set(re.findall(r"`tubewright ([a-z-]+)", README)) <= commands
    assert set(re.findall(r"tubewright ([a-z-]+) cases", README)) <= commands


def test_code_runs(monkeypatch, capsys):
    monkeypatch.chdir(ROOT)
    for text in blocks("python"):
        exec(text, {})
    assert "twist_deg" in capsys.readouterr().out


@pytest.mark.parametrize("target", re.findall(r"\]\((?!http)([^)]+)\)", README))
def test_what_is_linked_exists(target):
    assert (ROOT / target).exists()
