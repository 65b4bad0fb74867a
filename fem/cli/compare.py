"""The command on measurements: bench data against the models of a study."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import app, make_folder, plain_errors
from fem.cli.solve import ModelChoice


@app.command()
def compare(
    results: Annotated[Path, typer.Argument(metavar="RESULTS", help="Result folder of a study.")],
    bench: Annotated[
        Path, typer.Argument(metavar="BENCH", help="Measurements (CSV), units in the header.")
    ],
    model: Annotated[
        ModelChoice | None, typer.Option(help="Which model  [default: those of the study]")
    ] = None,
    out: Annotated[
        Path | None, typer.Option(metavar="DIR", help="Folder  [default: RESULTS/compare]")
    ] = None,
) -> None:
    """Hold bench data against the models of a study, and name what is off."""
    from fem.cli.print_comparison import print_comparison, progress

    with plain_errors():
        from fem.compare.comparison import compare as compare_bench
        from fem.measurements.bench import read_bench
        from fem.plots.comparison import save_pictures
        from fem.study.study_result import Outcome

        outcome = Outcome.load(results)
        models = {None: None, ModelChoice.BOTH: ("fast", "fe")}.get(model, (str(model),))
        measured = read_bench(bench, outcome.study.base)
        folder = make_folder(out or results / "compare")
        with progress() as report:
            comparison = compare_bench(outcome, measured, models, report)
        files = [*comparison.save(folder), *save_pictures(comparison, folder)]
    print_comparison(comparison, files)
