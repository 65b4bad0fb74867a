"""What `tubewright view` does in each of its ways. Heavy imports wait inside."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, NamedTuple

import typer

from fem.cli.app import CAUTION, LACKING, fail
from fem.core.errors import InputError

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

LAST = "last"
"""Names the last step."""

MOST_LENGTHS = 50
"""Height that is shown at most, in lengths of the longest tube at rest, which is then still seen to
be one (a choice of our own)."""


class Asked(NamedTuple):
    """What is to be seen: result folders, and a bench file or None."""

    folders: Sequence[Path]
    bench: Path | None

    def load(self) -> list[Exhibit]:
        """Return what there is to see, measurements of a case after its models.

        Raises
        ------
        InputError
            If a folder is no result, or holds nothing that can be drawn; or for the bench file.
        """
        from fem.scene.result_view import load_exhibits

        self.check_no_study()
        shown = load_exhibits(self.folders)
        if not shown:
            named = ", ".join(map(str, self.folders))
            raise InputError(f"{named}: no shape was reached, not even at rest")
        if self.bench is None:
            return shown
        from fem.scene.measured_view import with_bench

        return with_bench(shown, self.bench)

    def check_no_study(self) -> None:
        """Check that no folder is that of a study.

        Raises
        ------
        InputError
            If one is.
        """
        for folder in self.folders:
            if _is_study(folder):
                raise InputError(_instead_of_study(folder))


def height_of(text: str) -> float:
    """Return a height that is to be shown (mm)."""
    from fem.core.units import LENGTH, read

    try:
        height = read(text, LENGTH)
    except ValueError as error:
        raise InputError(f'--height "{text}": {error}') from None
    if height <= 0:
        raise InputError(f'--height "{text}": it must be above 0')
    return height


def check_height(height: float | None, shown: Sequence[Exhibit]) -> None:
    """Check that the tubes are not lost in a height that is to be shown (mm).

    Raises
    ------
    InputError
        If they are.
    """
    most = MOST_LENGTHS * max(exhibit.case.tube.length for exhibit in shown)
    if height is not None and height > most:
        raise InputError(
            f"--height {height:g} mm: at most {most:g} mm, "
            f"{MOST_LENGTHS} times the length of the longest tube at rest"
        )


def _is_study(folder: Path) -> bool:
    from fem.results.folder import Contents, contents

    return contents(folder) is Contents.STUDY


def _instead_of_study(folder: Path) -> str:
    """Return the sentence that says which results of a study can be shown one by one."""
    kept = sorted(path for path in (folder / "shapes").glob("*") if (path / "run.json").exists())
    if kept:
        return (
            f"{folder}: this is a study; --web shows it alone, or name results that it kept: "
            + ", ".join(map(str, kept))
        )
    return (
        f"{folder}: this is a study, which --web alone shows; it kept no results "
        "([[shapes]] in its file says of which settings to keep them)"
    )


def serve(asked: Asked, **options: Any) -> None:
    """Serve the page of results, or of one study, until Ctrl-C.

    Shapes are read while the page is opened; what is wrong with one ends it then. A bench file,
    written by hand, is checked before.
    """
    from fem.web.server import serve as serve_page

    if len(asked.folders) == 1 and _is_study(asked.folders[0]):
        if asked.bench is not None:
            raise InputError("--bench: it goes with results, not with a study; see compare")
        from fem.web.study import StudyRoom

        room = StudyRoom.load(asked.folders[0])
        serve_page(room.first(), room.title, base=room.base, study=room, **options)
        return
    from fem.scene.result_view import load_cases

    asked.check_no_study()
    cases = load_cases(asked.folders)
    shown = asked.load if asked.bench is None else asked.load()
    serve_page(shown, joined(cases), base=next(iter(cases.values())), **options)


def open_window(asked: Asked, *, cut: bool, start: bool) -> None:
    """Open the window until it is closed."""
    from fem.scene.window import need_screen
    from fem.scene.window import open_window as open_it

    shown = asked.load()
    need_screen()
    typer.echo(CAUTION)
    open_it(shown, title_of(shown), cut=cut, start=start)


def save_still(
    asked: Asked, file: Path, step: str, *, height_mm: float | None, **options: Any
) -> None:
    """Write the picture of a step."""
    from fem.scene.still import check_still
    from fem.scene.still import save_still as save

    check_still(file)
    shown = asked.load()
    check_height(height_mm, shown)
    save(shown, file, step=step_number(step, shown), height_mm=height_mm, **options)
    _say_written(file)


def step_number(text: str, shown: Sequence[Exhibit]) -> int:
    """Return the number of a step that the longest path has.

    Raises
    ------
    InputError
        If it has none of that name.
    """
    last = max(len(exhibit.rows) for exhibit in shown) - 1
    if text == LAST:
        return last
    if not text.isdecimal() or int(text) > last:
        raise InputError(f"--step {text}: allowed: {LAST}, or 0 (rest) to {last}")
    return int(text)


def save_movie(asked: Asked, file: Path, *, height_mm: float | None, **options: Any) -> None:
    """Write a film of the path."""
    from fem.scene.film import save_movie as save
    from fem.scene.film.writer import NoEncoderError, check_film
    from fem.wording.progress import Bars

    try:
        check_film(file)
    except NoEncoderError as lack:
        fail(str(lack), LACKING)
    shown = asked.load()
    check_height(height_mm, shown)
    with Bars("pictures") as bars:
        report = partial(bars.report, "drawing")
        save(shown, file, report=report, height_mm=height_mm, **options)
    _say_written(file)


def _say_written(file: Path) -> None:
    typer.echo(f"{file}: {file.stat().st_size / 1e6:.1f} MB")
    typer.echo(CAUTION)


def title_of(shown: Sequence[Exhibit]) -> str:
    """Return the titles of what is shown together, each once."""
    return joined(exhibit.name for exhibit in shown)


def joined(names: Iterable[str]) -> str:
    """Return names as one title, each once."""
    return " · ".join(dict.fromkeys(names))
