"""The formulas of docs/: numbers, references to them, and that Markdown does not change them."""

import re
from html import unescape
from pathlib import Path

import pytest
from markdown_it import MarkdownIt

from fem.quantities.quantity import Trait
from fem.quantities.table import QUANTITIES

ROOT = Path(__file__).parents[2]
PAGES = sorted((ROOT / "docs").glob("*.md"))
THEORY = (ROOT / "docs" / "theory.md").read_text(encoding="utf-8")
TAGS = [int(number) for number in re.findall(r"\\tag\{(\d+)\}", THEORY)]

CODE = re.compile(r"```.*?```|`[^`\n]*`", re.DOTALL)
FORMULA = re.compile(r"\$\$.+?\$\$|\$[^$\n]+\$", re.DOTALL)
REFERENCE = r"eqs?\. ((?:\(\d+\)(?:, | and | to )?)+)"
FROM_ELSEWHERE = re.compile(rf"docs/theory\.md,? {REFERENCE}|{REFERENCE} of \S*theory\.md")


def formulas(text):
    return FORMULA.findall(CODE.sub("", text))


def numbers(references):
    return {int(n) for text in references for n in re.findall(r"\((\d+)\)", text)}


def test_equations_are_numbered_in_order():
    assert list(range(1, len(TAGS) + 1)) == TAGS


def test_references_on_the_page_exist():
    found = numbers(re.findall(REFERENCE, THEORY))
    assert found
    assert found <= set(TAGS)


def test_references_from_elsewhere_exist():
    files = [
        *PAGES,
        *(f for folder in ("fem", "validation") for f in (ROOT / folder).rglob("*.py")),
    ]
    texts = (" ".join(file.read_text(encoding="utf-8").split()) for file in files)
    found = numbers(
        part for text in texts for match in FROM_ELSEWHERE.findall(text) for part in match
    )
    assert found <= set(TAGS)


def test_cited_sources_are_listed():
    listed = set(re.findall(r"^\| (\w+\d{4}) \|", THEORY, re.MULTILINE))
    assert listed == set(re.findall(r"\[([A-Z]\w+\d{4})\](?!:)", THEORY))


def test_every_measure_is_defined():
    measures = {q.column for q in QUANTITIES if Trait.SOLVER not in q.traits}
    assert measures <= set(re.findall(r"`(\w+)`", THEORY))


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_markdown_leaves_formulas_as_they_are(page):
    """A renderer that does not know formulas must pass them on unchanged."""
    text = page.read_text(encoding="utf-8")
    html = MarkdownIt("commonmark").enable("table").render(text)
    plain = unescape(re.sub(r"<[^>]+>", "", html))
    assert not [formula for formula in formulas(text) if formula not in plain]


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_formulas_are_balanced(page):
    text = CODE.sub("", page.read_text(encoding="utf-8"))
    assert "$" not in FORMULA.sub("", text)
    for formula in formulas(text):
        assert formula.count("{") == formula.count("}"), formula
        assert len(re.findall(r"\\left\b", formula)) == len(re.findall(r"\\right\b", formula))
