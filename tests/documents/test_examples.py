"""The examples of README and docs run; TOML and CSV blocks are cases, studies, bench files."""

import tomllib

import pytest

from fem.case.case import Case
from fem.measurements.bench import read_bench
from fem.study.plan import Study
from tests.helpers.documents import PAGES, ROOT, all_blocks, blocks, name_of
from tests.helpers.example_runner import copy_of_project, run_python, run_shell

CASES = ROOT / "cases"
STUDY_TABLES = {"set", "vary", "scatter", "shapes"}


@pytest.fixture(scope="module")
def ready_study():
    return tomllib.loads((CASES / "small_reach.study.toml").read_text(encoding="utf-8"))


@pytest.mark.parametrize("block", all_blocks("toml"), ids=str)
def test_toml_is_a_case_or_a_study(block, ready, ready_study):
    """What has no title is a part of one: it replaces these tables of a ready one."""
    part = tomllib.loads(block.text)
    if "case" in part or STUDY_TABLES & set(part):
        Study.parse(part if "title" in part else ready_study | part, CASES)
    else:
        drives = {"pressure", "volume", "gas"}
        kept = {
            key: value
            for key, value in ready.items()
            if not drives & set(part) or key not in drives
        }
        Case.parse(part if "title" in part else kept | part)


@pytest.mark.parametrize("block", all_blocks("csv"), ids=str)
def test_csv_is_a_bench_file(block, tmp_path):
    file = tmp_path / "bench.csv"
    file.write_text(block.text, encoding="utf-8")
    study = Study.load(CASES / "greenhouse_wrist.study.toml")
    assert len(read_bench(file, study.base).table) > 0


def test_case_with_both_families_is_the_ready_one(ready):
    shown = tomllib.loads(blocks(ROOT / "docs" / "case-format.md", "toml")[0].text)
    other = {"name": "B", "angle": "-30 deg"}
    shown["threads"].append({**shown["threads"][0], **other})
    assert Case.parse(shown) == Case.parse(ready).changed(note="")


def test_languages_are_known():
    known = {"python", "sh", "toml", "csv", "text"}
    assert {block.language for page in PAGES for block in blocks(page)} <= known


@pytest.mark.slow
@pytest.mark.parametrize(
    "page", [page for page in PAGES if blocks(page, "python", "sh")], ids=name_of
)
def test_examples_run(page, tmp_path, monkeypatch):
    """All of a page in their order, in one copy of the project: later ones use earlier results.

    A `text` block is part of the output of the block before it.
    """
    copy_of_project(tmp_path)
    monkeypatch.chdir(tmp_path)
    namespace, output = {"__name__": "__main__"}, ""
    for block in blocks(page, "python", "sh", "text"):
        if block.language == "text":
            assert block.text.strip() in output, block
        elif block.language == "python":
            output = run_python(block, namespace)
        else:
            output = run_shell(block, tmp_path, monkeypatch)
