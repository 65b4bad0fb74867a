"""The options of the command `view`, and which of them apply to which output."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.core.errors import InputError

WINDOW, WEB, PNG, MOVIE = "the window", "--web", "--png", "--movie"
"""The outputs."""

APPLIES_TO = {
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
"""The outputs of each option; all others apply to any output."""

LAST = "last"
"""Name of the last step."""

Results = Annotated[
    list[Path], typer.Argument(metavar="RESULT", help="Result folders, shown side by side.")
]
Bench = Annotated[
    Path | None,
    typer.Option(metavar="FILE", help="Measurements (CSV) to show beside the models."),
]
Web = Annotated[bool, typer.Option("--web", help="Show a page in a browser on this machine.")]
Port = Annotated[
    int | None,
    typer.Option(metavar="N", min=1, max=65535, help="Port of the page.  [default: any free port]"),
]
Browser = Annotated[bool, typer.Option(help="Open the page in a browser.")]
Png = Annotated[
    Path | None, typer.Option(metavar="FILE", help="Write a picture: .png, .svg or .pdf.")
]
Step = Annotated[str, typer.Option(metavar=f"N|{LAST}", help="Step in the picture (0: at rest).")]
Dpi = Annotated[
    int, typer.Option(metavar="N", min=50, max=1200, help="Dots per inch of the picture.")
]
Transparent = Annotated[bool, typer.Option("--transparent", help="No background in the picture.")]
Movie = Annotated[Path | None, typer.Option(metavar="FILE", help="Write a film: .mp4 or .gif.")]
Seconds = Annotated[
    float, typer.Option(metavar="S", min=1.0, max=30.0, help="Length of the film (s).")
]
Height = Annotated[
    str | None,
    typer.Option(
        metavar="LENGTH", help='Visible height, such as "90 mm".  [default: fits the tubes]'
    ),
]
Cut = Annotated[bool, typer.Option("--cut", help="Cut the tube open.")]
Start = Annotated[bool, typer.Option(help="Show the shape at rest too.")]


def chosen_output(context: typer.Context) -> str:
    """Return the output that the options select.

    Raises
    ------
    InputError
        If options contradict each other, or a file name is missing.
    """
    values = {f"--{name}": value for name, value in context.params.items()}
    given = [
        f"--{name}"
        for name in context.params
        if getattr(context.get_parameter_source(name), "name", "") == "COMMANDLINE"
    ]
    outputs = [name for name in (WEB, PNG, MOVIE) if name in given]
    if len(outputs) > 1:
        raise InputError(f"{' and '.join(outputs)}: use only one of them")
    output = outputs[0] if outputs else WINDOW
    for name in given:
        if output not in APPLIES_TO.get(name, (output,)):
            raise InputError(f"{name}: applies to {' and '.join(APPLIES_TO[name])} only")
    if values.get(output) == Path():
        raise InputError(f"{output}: a file name is required")
    return output


def height_of(text: str | None) -> float | None:
    """Return the height of the visible region (mm); None if none is given."""
    from fem.core.units import LENGTH, read

    if text is None:
        return None
    try:
        height = read(text, LENGTH)
    except ValueError as error:
        raise InputError(f'--height "{text}": {error}') from None
    if height <= 0:
        raise InputError(f'--height "{text}": must be above 0')
    return height
