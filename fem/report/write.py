"""A folder with a result or a study in it, written as one page."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fem.core.atomic_write import need_folder, write_text
from fem.core.errors import InputError
from fem.report.page import light_enough
from fem.report.result import result_pages
from fem.report.study import study_pages
from fem.results.folder import Contents, contents
from fem.results.result import Result
from fem.study.study_result import StudyResult

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
    write_text(file, light_enough(pages))
    return file


def _pages(folder: Path) -> Iterator[str]:
    """Return the pages of what lies in a folder: it is read at once, they are made one by one."""
    if contents(folder) is Contents.STUDY:
        return study_pages(StudyResult.load(folder), folder)
    return result_pages(Result.load(folder))
