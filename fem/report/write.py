"""Writing the report of a result or a study."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from fem.core.atomic_write import need_folder, write_text
from fem.core.errors import InputError
from fem.report.page import first_within_limit
from fem.report.result import result_pages
from fem.report.study import study_pages
from fem.results.folder import Contents, contents
from fem.results.result import Result
from fem.study.study_result import StudyResult

NAME = "report.html"
"""Default file name of the page."""


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
        If the folder has neither, or is damaged; if the page would be too large; or if the folder
        of the page does not exist.
    OSError
        If the page cannot be written.
    """
    folder = Path(folder)
    file = Path(file) if file else folder / NAME
    if file.is_dir():
        raise InputError(f"{file}: this is a folder; a file is required, such as {file / NAME}")
    pages = _pages(folder)
    need_folder(file)
    write_text(file, first_within_limit(pages))
    return file


def _pages(folder: Path) -> Iterator[str]:
    """Return versions of the page of a folder, which is read at once; pages are made lazily."""
    if contents(folder) is Contents.STUDY:
        return study_pages(StudyResult.load(folder), folder)
    return result_pages(Result.load(folder))
