"""The command on measurements: compare them with the models of a study."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fem.cli.app import StudyFolder, app, folder_option, make_folder, plain_errors
from fem.cli.solve import ModelChoice


@app.command()
def compare(
    results: StudyFolder,
    bench: Annotated[
        Path, typer.Argument(metavar="BENCH", help="Measurements (CSV) with units in the header.")
    ],
    model: Annotated[
        ModelChoice | None, typer.Option(help="Model to compare.  [default: those of the study]")
    ] = None,
    out: Annotated[Path | None, folder_option("RESULTS/compare")] = None,
) -> None:
    """Compare a study with measurements, and find likely causes."""
    with plain_errors():
        from fem.cli.print_agreement import PART_LABELS, print_comparison
        from fem.compare.comparison import compare_with_bench
        from fem.measurements.bench import read_bench
        from fem.plots.comparison import save_pictures
        from fem.study.study_result import StudyResult
        from fem.wording.progress import Bars

        study_result = StudyResult.load(results)
        models = {None: None, ModelChoice.BOTH: ("fast", "fe")}.get(model, (str(model),))
        measured = read_bench(bench, study_result.study.base)
        folder = make_folder(out or results / "compare")
        with Bars() as bars:

            def report(part: str, done: int, total: int) -> None:
                bars.report(part, done, total, PART_LABELS[part])

            comparison = compare_with_bench(study_result, measured, models, report)
        files = [*comparison.save(folder), *save_pictures(comparison, folder)]
    print_comparison(comparison, files)
