"""The committed table and the README's summary agree with each other and with the chapters."""

import re
import subprocess
import sys
from collections import Counter

from tests.helpers.messages import refused
from validation.check import MODELS
from validation.kinds import Kind
from validation.renew import README, SUMMARY, TABLE, summary_of, with_marked
from validation.run import WHOLE
from validation.suite import COMPUTED_BY, FOLDER, chapters
from validation.table import CHAPTERS, ROWS, sources

TEXT = TABLE.read_text(encoding="utf-8")
WORST = re.compile(r"(\d+): (\S+) ≤ (\S+)")
"""Number of values, error and tolerance."""


def rows_under(head):
    """Return the rows of a table as dictionaries."""
    lines = TEXT.splitlines()
    start = lines.index(f"| {' | '.join(head)} |") + 2
    found = []
    for line in lines[start:]:
        if not line.startswith("|"):
            break
        cells = [cell.strip() for cell in re.split(r"(?<!\\)\|", line)[1:-1]]
        found.append(dict(zip(head, cells, strict=True)))
    return found


def numbers(text):
    return [int(number.replace(",", "")) for number in re.findall(r"\d[\d,]*", text)]


def values_by_chapter():
    """Return the number of values in the rows of each chapter."""
    found, name = Counter(), ""
    for row in rows_under(ROWS):
        name = row["chapter"] or name
        found[name] += int(row["values"])
    return found


def test_table_can_be_read():
    lines = TEXT.splitlines()
    assert len(lines) <= 300
    assert not {"**OUTSIDE**", "**skipped**", "**ended with an error**"} & set(TEXT.split())


def test_readme_has_the_summary_of_the_table():
    readme = README.read_text(encoding="utf-8")
    assert with_marked(readme, SUMMARY, summary_of(TEXT)) == readme


def test_each_row_has_a_kind_and_is_within_tolerance():
    for row in rows_under(ROWS):
        assert row["kind of quantity"] in set(Kind) and row["source"]
        cells = [row[by] for by in COMPUTED_BY if row[by]]
        assert cells
        for cell in cells:
            _, error, tolerance = WORST.fullmatch(cell).groups()
            assert float(error) <= float(tolerance)


def test_counts_add_up_to_the_summary():
    total, count, *by_model = numbers(summary_of(TEXT))
    by_chapter = values_by_chapter()
    assert sum(by_chapter.values()) == total
    assert len(by_chapter) == count
    for model, expected in zip(MODELS, by_model, strict=True):
        cells = (WORST.match(row[model]) for row in rows_under(ROWS))
        assert sum(int(cell[1]) for cell in cells if cell) == expected


def test_chapters_are_those_of_the_files_with_their_titles_and_sources():
    known, by_chapter = chapters(), values_by_chapter()
    rows = rows_under(CHAPTERS)
    assert [row["chapter"] for row in rows] == [f"[{name}](test_{name}.py)" for name in known]
    for row, chapter in zip(rows, known.values(), strict=True):
        assert row["subject"] == chapter.title.removesuffix(".")
        assert row[CHAPTERS[2]] == sources(chapter)
        assert int(row["values"]) == by_chapter[chapter.name]


def test_chapters_have_as_many_checks_as_pytest_finds():
    command = [sys.executable, "-m", "pytest", "validation", "--collect-only", "-q", "-m", WHOLE]
    listed = subprocess.run(
        command, cwd=FOLDER.parent, capture_output=True, text=True, check=True
    ).stdout
    found = Counter(re.findall(r"^validation/test_(\w+)\.py::", listed, re.MULTILINE))
    names = [re.match(r"\[(\w+)\]", row["chapter"])[1] for row in rows_under(CHAPTERS)]
    checks = [int(row["checks"]) for row in rows_under(CHAPTERS)]
    assert dict(zip(names, checks, strict=True)) == dict(found)


def test_marked_text_replaces_an_older_one():
    page = "before\n<!-- other -->\nold\n<!-- end -->\n<!-- mark -->\nold\n<!-- end -->\nafter\n"
    marked = (
        "before\n<!-- other -->\nold\n<!-- end -->\n<!-- mark -->\n\\1 new\n<!-- end -->\nafter\n"
    )
    assert with_marked(page, "mark", r"\1 new") == marked
    with refused(ValueError, "mark", "0"):
        with_marked("nothing", "mark", "new")
