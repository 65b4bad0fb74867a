"""A folder with a result or a study in it, written as one page."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

from fem.core.atomic_write import in_place_of, need_folder
from fem.core.errors import InputError
from fem.report.page import light_enough
from fem.report.result import result_pages
from fem.report.study import study_pages
from fem.results.result import Result
from fem.study.study_result import PROVENANCE, Outcome

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
        If there is neither in the folder, it is damaged, the page would be too heavy, or the folder
        that it is to stand in is not there.
    OSError
        If the page cannot be written.
    """
    folder = Path(folder)
    file = Path(file) if file else folder / NAME
    if file.is_dir():
        raise InputError(f"{file}: this is a folder; name a file, such as {file / NAME}")
    pages = _pages(folder)
    need_folder(file)
    with in_place_of(file) as new:  # better refused before the work than after
        new.write_text(light_enough(pages), encoding="utf-8")
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
