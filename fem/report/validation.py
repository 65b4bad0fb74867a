"""What the tool is held against: the last run of the whole validation, a row to each chapter."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib.resources import files

from fem.wording.text_table import TextTable

CHAPTER = re.compile(r"^## (.+)\n\n`[^`]*/test_(\w+)\.py`\..* (\d+) checks?\.$", re.MULTILINE)
"""How a section of `validation/TABLE.md` opens: title, chapter, source, number of checks."""


@dataclass(frozen=True)
class Held:
    """The summary of the validation, and its chapters."""

    summary: str
    chapters: TextTable


def held() -> Held | None:
    """Return what the table of the validation says; None where it is not installed."""
    try:
        text = files("validation").joinpath("TABLE.md").read_text(encoding="utf-8")
    except (ModuleNotFoundError, FileNotFoundError):
        return None
    summary = " ".join(text.split("\n\n", 2)[1].split())
    rows = [[title, name, count] for title, name, count in CHAPTER.findall(text)]
    titles = ["subject", "chapter of tubewright validate", "checks"]
    return Held(summary, TextTable("Chapters of the validation", titles, rows, words=(0, 1)))
