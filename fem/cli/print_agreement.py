"""What a terminal shows of the models against measurements, and of the fast model against FE."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fem.compare.comparison import Comparison
from fem.measurements.columns import GAUGE
from fem.quantities.case_fields import column
from fem.wording.agreement import agreement_table, correction_table, rules_table
from fem.wording.comparison import count_text, diagnosis_lines, not_reached
from fem.wording.run_sections import NAMES
from fem.wording.terminal import print_files, print_table, terminal

if TYPE_CHECKING:
    from fem.trust.analysis import Trust

WORDS = {
    "causes": "possible causes, by the fast model",
    "check": "the cause that was found, by the FE model",
    **{model: f"settings that the study lacks, {name} model" for model, name in NAMES.items()},
}

MOST_LINES = 12
"""Most measurements beyond a path that are listed one by one; compare.json has them all."""


def print_comparison(comparison: Comparison, files: Sequence[Path]) -> None:
    """Print what was compared, the values of agreement, possible causes, and the files written."""
    console, bench = terminal(), comparison.bench
    console.print(comparison.study.title, style="bold")
    number, settings = len(bench.table), len(bench.cases)
    of = f"{count_text(number, 'measurement')} of {count_text(settings, 'setting')}"
    console.print(f"{bench.name}: {of}")
    for note in bench.notes:
        console.print(f"  {note}", style="dim")
    for line in _remarks(comparison):
        console.print(line)
    console.print("")
    print_table(console, agreement_table(comparison.summary.to_dict("records")))
    for line in _unreached(comparison):
        console.print(line)
    for line in diagnosis_lines(comparison.diagnosis, bench):
        console.print(line)
    print_files(console, files)


def print_trust(trust: Trust, files: Sequence[Path], left_out: Sequence[str] = ()) -> None:
    """Print the rules, the errors of the corrected model, which files were written, which not."""
    from fem.trust.rules import rule_table  # slow to import

    console = terminal()
    console.print(trust.study_result.study.title, style="bold")
    words = ", ".join(map(str, trust.tolerances))
    console.print(f"Fast model against FE model, tolerance: {words}")
    rules = rule_table(trust.rules).to_dict("records")
    print_table(console, rules_table(rules, [one.quantity for one in trust.tolerances]))
    if trust.model is not None:
        print_table(console, correction_table(trust.model.facts))
    for sentence in left_out:
        console.print(sentence, soft_wrap=True)
    print_files(console, files)


def _remarks(comparison: Comparison) -> Iterator[str]:
    """Yield what is made of the columns, and how the measurements were matched."""
    bench, study = comparison.bench, comparison.study
    if bench.extras:
        names = (
            f"{extra.name} (meant for {extra.hint}?)" if extra.hint else extra.name
            for extra in bench.extras
        )
        yield f"columns that nothing is made of: {', '.join(names)}"
    given = {field for setting in bench.fields for field in setting}
    if missing := [field for field in study.fields if field not in given]:
        names = (column(study.base, field) for field in missing)
        yield f"not in the file, so as in the case: {', '.join(names)}"
    for model in comparison.models:
        places, solved = comparison.places(model), comparison.solved(model)
        yield (
            f"{NAMES[model]}: {count_text(len(bench.cases) - solved, 'setting')} from the study, "
            f"{solved} solved for this; {count_text(places['step'], 'measurement')} at a step, "
            f"{places['between']} interpolated between steps, {places['beyond']} not reached"
        )


def _unreached(comparison: Comparison) -> Iterator[str]:
    """Yield which measurements lie beyond the end of their curve, and why it ends."""
    for entry in comparison.unreached[:MOST_LINES]:
        yield (
            f"not reached ({NAMES[entry['model']]}): line {entry['line']}, "
            f"{GAUGE.text(entry)}: {not_reached(entry)}"
        )
    if len(comparison.unreached) > MOST_LINES:
        yield f"and {len(comparison.unreached) - MOST_LINES} more, see compare.json"
