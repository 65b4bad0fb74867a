"""README.md and docs/: their fenced blocks, tables, headings and links."""

import re
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PAGES = [ROOT / "README.md", *sorted((ROOT / "docs").rglob("*.md"))]

FENCE = re.compile(r"^```([^\n]*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def name_of(page):
    """Return the name of a page for the names of tests."""
    return str(page.relative_to(ROOT))


@dataclass(frozen=True)
class Block:
    """A fenced block: the page, the line of its fence, the language, the text."""

    page: Path
    line: int
    language: str
    text: str

    def __str__(self):
        return f"{name_of(self.page)}:{self.line}"


def blocks(page, *languages):
    """Return the fenced blocks of a page, or only those in some languages."""
    text = page.read_text(encoding="utf-8")
    found = [
        Block(page, text.count("\n", 0, match.start()) + 1, match[1], match[2])
        for match in FENCE.finditer(text)
    ]
    return [block for block in found if not languages or block.language in languages]


def all_blocks(*languages):
    """Return the fenced blocks of all pages in some languages."""
    return [block for page in PAGES for block in blocks(page, *languages)]


def tables(page):
    """Return the tables of a page: pairs of the first cell of the head, and the rows of cells."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    found = []
    for lines in re.findall(r"(?:^\|.*\n)+", text, re.MULTILINE):
        head, _, *rows = [_cells(line) for line in lines.splitlines()]
        found.append((head[0], rows))
    return found


def _cells(line):
    return [cell.strip() for cell in re.split(r"(?<!\\)\|", line.strip()[1:-1])]


def table(page, head):
    """Return the rows of the one table whose first column has this head."""
    (rows,) = (rows for name, rows in tables(page) if name == head)
    return rows


def code(cell):
    """Return the code spans in a cell."""
    return re.findall(r"`([^`]+)`", cell)


def anchors(page):
    """Return the anchors of the headings, as a code host makes them."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    headings = re.findall(r"^#+ (.*)$", text, re.MULTILINE)
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


def links(page):
    """Return the targets of the links and pictures of a page."""
    text = FENCE.sub("", page.read_text(encoding="utf-8"))
    return re.findall(r"\]\(([^)\s]+)\)", text)
