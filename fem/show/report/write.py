"""A folder with a result or a study in it, written as one page."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from fem.complaint import InputError
from fem.result import Result
from fem.show.report.page import light_enough
from fem.show.report.result import result_pages
from fem.show.report.study import study_pages
from fem.study.outcome import PROVENANCE, Outcome

NAME = "report.html"
"""File of the page, unless another is asked for."""


def write_report(folder: str | Path, file: str | Path | None = None) -> Path:
    """Write the report of a result or a study; return its file.

    Parameters
    ----------
    folder
        Folder of a result or of a study.
    file
        The page; `report.html` in that folder unless given.

    Raises
    ------
    InputError
        If there is neither in the folder, it is damaged, or the page would be too heavy.
    OSError
        If the page cannot be written.
    """
    folder = Path(folder)
    file = Path(file) if file else folder / NAME
    if file.is_dir():
        raise InputError(f"{file}: this is a folder; name a file, such as {file / NAME}")
    pages = _pages(folder)
    if file.parent.exists() and not file.parent.is_dir():
        raise InputError(f"{file.parent}: this is a file; a folder is needed")
    file.parent.mkdir(parents=True, exist_ok=True)
    new = file.with_name(f".{file.name}.new")  # an older report stays until this one is whole
    try:
        with new.open("w", encoding="utf-8") as page:  # better refused before the work than after
            page.write(light_enough(pages))
        new.replace(file)
    finally:
        new.unlink(missing_ok=True)
    return file


def _pages(folder: Path) -> Iterator[str]:
    """Return the pages of what lies in a folder: it is read at once, they are made one by one."""
    if _is_study(folder / PROVENANCE):
        return study_pages(Outcome.load(folder), folder)
    return result_pages(Result.load(folder))


def _is_study(file: Path) -> bool:
    """Return whether a run.json is that of a study; whoever reads it says what is wrong with it."""
    try:
        told = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(told, dict) and "study" in told
