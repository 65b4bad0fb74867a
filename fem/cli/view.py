"""The command on seeing results: a window, a page, a picture or a film of their shapes.

Heavy imports wait inside.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from fem.cli.app import CAUTION, LACKING, app, fail, plain_errors, say_written
from fem.core.errors import InputError

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

WINDOW, WEB, PNG, MOVIE = "the window", "--web", "--png", "--movie"

BELONGS = {
    "--port": (WEB,),
    "--browser": (WEB,),
    "--step": (PNG,),
    "--dpi": (PNG,),
    "--transparent": (PNG,),
    "--height": (PNG, MOVIE),
    "--seconds": (MOVIE,),
    "--cut": (WINDOW, PNG, MOVIE),
    "--start": (WINDOW, PNG, MOVIE),
}
"""What each option goes with."""

LAST = "last"
"""Names the last step."""

MOST_LENGTHS = 50
"""Height that is shown at most, in lengths of the longest tube at rest, which is then still seen to
be one (a choice of our own)."""


@app.command()
def view(
    context: typer.Context,
    results: Annotated[
        list[Path], typer.Argument(metavar="RESULT...", help="Result folders, side by side.")
    ],
    bench: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Measurements (CSV) of these cases, beside the models."),
    ] = None,
    web: Annotated[bool, typer.Option("--web", help="Serve a page on this machine alone.")] = False,
    port: Annotated[
        int | None,
        typer.Option(min=1, max=65535, help="Its port  [default: any that is free]"),
    ] = None,
    browser: Annotated[bool, typer.Option(help="Open the page in a browser.")] = True,
    png: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a picture: .png, .svg or .pdf."),
    ] = None,
    step: Annotated[
        str, typer.Option(metavar=f"N|{LAST}", help="Its step, 0 for the rest.")
    ] = LAST,
    dpi: Annotated[int, typer.Option(min=50, max=1200, help="Its dots per inch.")] = 300,
    transparent: Annotated[
        bool, typer.Option("--transparent", help="Leave its ground transparent.")
    ] = False,
    movie: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a film: .mp4 or .gif.")
    ] = None,
    seconds: Annotated[float, typer.Option(min=1.0, max=30.0, help="Its length.")] = 5.0,
    height: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help='Height that is shown, such as "90 mm": one scale for several pictures '
            "[default: what the tubes need]",
        ),
    ] = None,
    cut: Annotated[bool, typer.Option("--cut", help="Cut the tube open.")] = False,
    start: Annotated[bool, typer.Option(help="Show the shape at rest too.")] = True,
) -> None:
    """Look at results: in a window, on a page (--web), or as a picture or film."""
    with plain_errors():
        way = chosen_way(context)
        look = {"cut": cut, "start": start, "height_mm": height_of(height)}
        if way == WEB:
            serve(results, bench, port=port, browser=browser)
        elif way == WINDOW:
            open_window(results, bench, cut=cut, start=start)
        elif png:
            save_still(results, bench, png, step, dpi=dpi, transparent=transparent, **look)
        elif movie:
            save_movie(results, bench, movie, seconds=seconds, **look)


def chosen_way(context: typer.Context) -> str:
    """Return how results are to be looked at, by the options that were given.

    Raises
    ------
    InputError
        If they contradict each other, or no file is named.
    """
    values = {f"--{name}": value for name, value in context.params.items()}
    given = [
        f"--{name}"
        for name in context.params
        if getattr(context.get_parameter_source(name), "name", "") == "COMMANDLINE"
    ]
    asked = [name for name in (WEB, PNG, MOVIE) if name in given]
    if len(asked) > 1:
        raise InputError(f"{' and '.join(asked)}: take one of them")
    way = asked[0] if asked else WINDOW
    for name in given:
        if way not in BELONGS.get(name, (way,)):
            raise InputError(f"{name}: it goes with {' and '.join(BELONGS[name])} only")
    if values.get(way) == Path():
        raise InputError(f"{way}: name a file")
    return way


def load(
    folders: Sequence[Path], bench: Path | None, height_mm: float | None = None
) -> list[Exhibit]:
    """Return what there is to see, measurements of a case after its models.

    Raises
    ------
    InputError
        If a folder is no result, or holds nothing that can be drawn; for the bench file; or if the
        tubes are lost in the height that is to be shown (mm).
    """
    from fem.scene.result_view import load_exhibits

    check_no_study(folders)
    shown = load_exhibits(folders)
    if not shown:
        raise InputError(f"{', '.join(map(str, folders))}: no shape was reached, not even at rest")
    most = MOST_LENGTHS * max(exhibit.case.tube.length for exhibit in shown)
    if height_mm is not None and height_mm > most:
        raise InputError(
            f"--height {height_mm:g} mm: at most {most:g} mm, "
            f"{MOST_LENGTHS} times the length of the longest tube at rest"
        )
    if bench is None:
        return shown
    from fem.scene.measured_view import with_bench

    return with_bench(shown, bench)


def height_of(text: str | None) -> float | None:
    """Return a height that is to be shown (mm); None where none is given."""
    from fem.core.units import LENGTH, read

    if text is None:
        return None
    try:
        height = read(text, LENGTH)
    except ValueError as error:
        raise InputError(f'--height "{text}": {error}') from None
    if height <= 0:
        raise InputError(f'--height "{text}": it must be above 0')
    return height


def _is_study(folder: Path) -> bool:
    from fem.results.folder import Contents, contents

    return contents(folder) is Contents.STUDY


def check_no_study(folders: Iterable[Path]) -> None:
    """Check that no folder is that of a study.

    Raises
    ------
    InputError
        If one is; it says which results of the study can be shown one by one.
    """
    for folder in filter(_is_study, folders):
        there = sorted(path.parent for path in folder.glob("shapes/*/run.json"))
        kept = (
            f"shows it alone, or name results that it kept: {', '.join(map(str, there))}"
            if there
            else "alone shows it; it kept no results "
            "([[shapes]] in its file says of which settings to keep them)"
        )
        raise InputError(f"{folder}: this is a study; --web {kept}")


def serve(folders: Sequence[Path], bench: Path | None, **options: Any) -> None:
    """Serve the page of results, or of one study, until Ctrl-C.

    Shapes are read while the page is opened; what is wrong with one ends it then. A bench file,
    written by hand, is checked before.
    """
    from fem.web.server import serve as serve_page

    if len(folders) == 1 and _is_study(folders[0]):
        if bench is not None:
            raise InputError("--bench: it goes with results, not with a study; see compare")
        from fem.web.study import StudyRoom

        room = StudyRoom(folders[0])
        serve_page(room.first(), room.title, base=room.base, study=room, **options)
        return
    from fem.scene.result_view import load_cases

    check_no_study(folders)
    cases = load_cases(folders)
    shown = partial(load, folders, None) if bench is None else load(folders, bench)
    serve_page(shown, joined(cases), base=next(iter(cases.values())), **options)


def open_window(folders: Sequence[Path], bench: Path | None, **look: Any) -> None:
    """Open the window until it is closed."""
    from fem.scene.still.layout import check_count
    from fem.scene.window import need_screen
    from fem.scene.window.window import Window

    shown = load(folders, bench)
    need_screen()
    check_count(shown)
    typer.echo(CAUTION)
    Window(shown, joined(exhibit.name for exhibit in shown), **look).open()


def save_still(
    folders: Sequence[Path], bench: Path | None, file: Path, step: str, **options: Any
) -> None:
    """Write the picture of a step.

    Raises
    ------
    InputError
        If the longest path has no step of that name.
    """
    from fem.scene.still import check_still
    from fem.scene.still import save_still as save

    check_still(file)
    shown = load(folders, bench, options["height_mm"])
    last = max(len(exhibit.rows) for exhibit in shown) - 1
    number = last if step == LAST else int(step) if step.isdecimal() else -1
    if not 0 <= number <= last:
        raise InputError(f"--step {step}: allowed: {LAST}, or 0 (rest) to {last}")
    save(shown, file, step=number, **options)
    say_written(file)


def save_movie(folders: Sequence[Path], bench: Path | None, file: Path, **options: Any) -> None:
    """Write a film of the path."""
    from fem.scene.film import save_movie as save
    from fem.scene.film.writer import NoEncoderError, check_film
    from fem.wording.progress import Bars

    try:
        check_film(file)
    except NoEncoderError as lack:
        fail(str(lack), LACKING)
    shown = load(folders, bench, options["height_mm"])
    with Bars("pictures") as bars:
        save(shown, file, report=partial(bars.report, "drawing"), **options)
    say_written(file)


def joined(names: Iterable[str]) -> str:
    """Return names as one title, each once."""
    return " · ".join(dict.fromkeys(names))
