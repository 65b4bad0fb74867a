"""The command on seeing results: a window, a page, a picture or a film of their shapes."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import app, plain_errors
from fem.cli.viewing import LAST, Asked, height_of, open_window, save_movie, save_still, serve
from fem.core.errors import InputError

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


@app.command()
def view(
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
    browser: Annotated[
        bool | None,
        typer.Option("--browser/--no-browser", help="Open the page in a browser  [default: yes]"),
    ] = None,
    png: Annotated[
        Path | None,
        typer.Option(metavar="FILE", help="Write a picture: .png, .svg or .pdf."),
    ] = None,
    step: Annotated[
        str | None,
        typer.Option(metavar="N|last", help="Its step, 0 for the rest  [default: last]"),
    ] = None,
    dpi: Annotated[
        int | None, typer.Option(min=50, max=1200, help="Its dots per inch  [default: 300]")
    ] = None,
    transparent: Annotated[
        bool, typer.Option("--transparent", help="Leave its ground transparent.")
    ] = False,
    movie: Annotated[
        Path | None, typer.Option(metavar="FILE", help="Write a film: .mp4 or .gif.")
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(min=1.0, max=30.0, help="Its length  [default: 5]")
    ] = None,
    height: Annotated[
        str | None,
        typer.Option(
            metavar="LENGTH",
            help='Height that is shown, such as "90 mm": one scale for several pictures '
            "[default: what the tubes need]",
        ),
    ] = None,
    cut: Annotated[bool, typer.Option("--cut", help="Cut the tube open.")] = False,
    start: Annotated[
        bool | None,
        typer.Option("--start/--no-start", help="Show the shape at rest too  [default: yes]"),
    ] = None,
) -> None:
    """Look at results: in a window, on a page (--web), or as a picture or film."""
    given = {
        "--port": port,
        "--browser": browser,
        "--step": step,
        "--dpi": dpi,
        "--transparent": transparent or None,
        "--height": height,
        "--seconds": seconds,
        "--cut": cut or None,
        "--start": start,
    }
    with plain_errors():
        way = chosen_way({WEB: web, PNG: png, MOVIE: movie}, given)
        for name, file in ((PNG, png), (MOVIE, movie)):
            if file == Path():
                raise InputError(f"{name}: name a file")
        asked, look = Asked(results, bench), {"cut": cut, "start": start is not False}
        tall = None if height is None else height_of(height)
        if way == WEB:
            serve(asked, port=port, browser=browser is not False)
        elif way == WINDOW:
            open_window(asked, **look)
        elif png:
            ground = {"dpi": dpi or 300, "transparent": transparent}
            save_still(asked, png, step or LAST, height_mm=tall, **ground, **look)
        elif movie:
            save_movie(asked, movie, seconds=seconds or 5.0, height_mm=tall, **look)


def chosen_way(ways: Mapping[str, object], given: Mapping[str, object]) -> str:
    """Return how results are to be looked at.

    Parameters
    ----------
    ways
        The options that say it, by their names; falsy where not given.
    given
        The other options, by their names; None where not given.

    Raises
    ------
    InputError
        If the options contradict each other.
    """
    asked = [name for name, value in ways.items() if value]
    if len(asked) > 1:
        raise InputError(f"{' and '.join(asked)}: take one of them")
    way = asked[0] if asked else WINDOW
    for name, value in given.items():
        if value is not None and way not in BELONGS[name]:
            raise InputError(f"{name}: it goes with {' and '.join(BELONGS[name])} only")
    return way
