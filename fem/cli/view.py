"""The command `view`: results in a window, on a page, as a picture or as a film.

Slow modules are imported inside the functions.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from fem.cli import view_options as options
from fem.cli.app import CAUTION, NOT_INSTALLED, app, fail, plain_errors, print_written
from fem.cli.view_options import LAST, WEB, WINDOW
from fem.core.errors import InputError

if TYPE_CHECKING:
    from fem.scene.result_view import ResultView

MAX_LENGTHS = 50
"""Maximum visible height, in lengths of the longest tube at rest: a tube is still recognisable
(our own choice)."""


@app.command()
def view(
    context: typer.Context,
    results: options.Results,
    bench: options.Bench = None,
    web: options.Web = False,
    port: options.Port = None,
    browser: options.Browser = True,
    png: options.Png = None,
    step: options.Step = LAST,
    dpi: options.Dpi = 300,
    transparent: options.Transparent = False,
    movie: options.Movie = None,
    seconds: options.Seconds = 5.0,
    height: options.Height = None,
    cut: options.Cut = False,
    start: options.Start = True,
) -> None:
    """Show results in a window, on a page, as a picture or film."""
    with plain_errors():
        output = options.chosen_output(context)
        appearance = {"cut": cut, "start": start, "height_mm": options.height_of(height)}
        if output == WEB:
            serve(results, bench, port=port, browser=browser)
        elif output == WINDOW:
            open_window(results, bench, cut=cut, start=start)
        elif png:
            save_still(results, bench, png, step, dpi=dpi, transparent=transparent, **appearance)
        elif movie:
            save_movie(results, bench, movie, seconds=seconds, **appearance)


def load(
    folders: Sequence[Path], bench: Path | None, height_mm: float | None = None
) -> list[ResultView]:
    """Return the views of results, each followed by its measurements.

    Raises
    ------
    InputError
        If a folder is not a result or has no shapes; if the measurements cannot be used; or if the
        visible height (mm) is too great to recognise the tubes.
    """
    from fem.scene.result_view import load_views

    check_no_study(folders)
    views = load_views(folders)
    if not views:
        raise InputError(f"{', '.join(map(str, folders))}: no state was found, not even at rest")
    limit = MAX_LENGTHS * max(view.case.tube.length for view in views)
    if height_mm is not None and height_mm > limit:
        raise InputError(
            f"--height {height_mm:g} mm: at most {limit:g} mm, "
            f"{MAX_LENGTHS} times the length of the longest tube at rest"
        )
    if bench is None:
        return views
    from fem.scene.measured_view import with_bench

    return with_bench(views, bench)


def _is_study(folder: Path) -> bool:
    from fem.results.folder import Contents, contents

    return contents(folder) is Contents.STUDY


def check_no_study(folders: Iterable[Path]) -> None:
    """Check that no folder is a study.

    Raises
    ------
    InputError
        If one is; the message lists the results that the study has stored.
    """
    for folder in filter(_is_study, folders):
        stored = sorted(path.parent for path in folder.glob("shapes/*/run.json"))
        hint = (
            f"name its stored results: {', '.join(map(str, stored))}"
            if stored
            else "store results of single settings by [[shapes]] in the study file"
        )
        raise InputError(f"{folder}: this is a study; view it alone with --web, or {hint}")


def serve(folders: Sequence[Path], bench: Path | None, **options: Any) -> None:
    """Serve the page of results, or of one study, until Ctrl-C.

    Shapes are read while the browser opens; a shape that cannot be read ends the server.
    Measurements are checked before, as the file is written by hand.
    """
    from fem.web.server import serve as serve_page

    if len(folders) == 1 and _is_study(folders[0]):
        if bench is not None:
            raise InputError("--bench: applies to results, not to a study; use the command compare")
        from fem.web.study import StudyHandler

        study = StudyHandler(folders[0])
        serve_page(study.first(), study.title, base=study.base, study=study, **options)
        return
    from fem.scene.result_view import load_cases

    check_no_study(folders)
    cases = load_cases(folders)
    views = partial(load, folders, None) if bench is None else load(folders, bench)
    serve_page(views, joined(cases), base=next(iter(cases.values())), **options)


def open_window(folders: Sequence[Path], bench: Path | None, **appearance: Any) -> None:
    """Open the window and wait until it is closed."""
    from fem.scene.still.layout import check_count
    from fem.scene.window import need_screen
    from fem.scene.window.window import Window

    views = load(folders, bench)
    need_screen()
    check_count(views)
    typer.echo(CAUTION)
    Window(views, joined(view.name for view in views), **appearance).open()


def save_still(
    folders: Sequence[Path], bench: Path | None, file: Path, step: str, **options: Any
) -> None:
    """Write the picture of a step.

    Raises
    ------
    InputError
        If the longest path does not have the step.
    """
    from fem.scene.still import check_still
    from fem.scene.still import save_still as save

    check_still(file)
    views = load(folders, bench, options["height_mm"])
    last = max(len(view.rows) for view in views) - 1
    number = last if step == LAST else int(step) if step.isdecimal() else -1
    if not 0 <= number <= last:
        raise InputError(f"--step {step}: allowed: {LAST}, or 0 (rest) to {last}")
    save(views, file, step=number, **options)
    print_written(file)


def save_movie(folders: Sequence[Path], bench: Path | None, file: Path, **options: Any) -> None:
    """Write a film of the path."""
    from fem.scene.film import save_movie as save
    from fem.scene.film.writer import NoEncoderError, check_film
    from fem.wording.progress import Bars

    try:
        check_film(file)
    except NoEncoderError as error:
        fail(str(error), NOT_INSTALLED)
    views = load(folders, bench, options["height_mm"])
    with Bars("pictures") as bars:
        save(views, file, report=partial(bars.report, "drawing"), **options)
    print_written(file)


def joined(names: Iterable[str]) -> str:
    """Return names as one title, without repetitions."""
    return " · ".join(dict.fromkeys(names))
