"""Terminal output of the commands `compare` and `trust`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from fem.compare.comparison import Comparison
from fem.measurements.columns import PRESSURE
from fem.quantities.case_fields import column
from fem.wording.agreement import agreement_table, correction_table, rules_table
from fem.wording.comparison import count_text, diagnosis_lines, not_reached
from fem.wording.run_sections import NAMES
from fem.wording.terminal import print_files, print_table, terminal

if TYPE_CHECKING:
    from fem.trust.analysis import Trust

PART_LABELS = {
    "causes": "possible causes, fast model",
    "check": "check of the likely cause, FE model",
    **{model: f"settings not in the study, {name} model" for model, name in NAMES.items()},
}
"""Labels of the progress bars."""

MAX_LINES = 12
"""Maximum number of measurements beyond a path that are listed; compare.json has all."""


def print_comparison(comparison: Comparison, files: Sequence[Path]) -> None:
    """Print what was compared, the measures of agreement, likely causes, and the files written."""
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
    for line in _not_reached(comparison):
        console.print(line)
    for line in diagnosis_lines(comparison.diagnosis, bench):
        console.print(line)
    print_files(console, files)


def print_trust(trust: Trust, files: Sequence[Path], notes: Sequence[str] = ()) -> None:
    """Print the rules, the errors of the corrected model, notes, and the files written."""
    from fem.trust.rules import rule_table  # slow to import

    console = terminal()
    console.print(trust.study_result.study.title, style="bold")
    tolerances = ", ".join(map(str, trust.tolerances))
    console.print(f"Fast model compared with FE model, tolerance: {tolerances}")
    rules = rule_table(trust.rules).to_dict("records")
    print_table(console, rules_table(rules, [one.quantity for one in trust.tolerances]))
    if trust.model is not None:
        print_table(console, correction_table(trust.model.facts))
    for note in notes:
        console.print(note, soft_wrap=True)
    print_files(console, files)


def _remarks(comparison: Comparison) -> Iterator[str]:
    """Yield which columns are used, and how the measurements were matched."""
    bench, study = comparison.bench, comparison.study
    if bench.unused:
        names = (
            f"{extra.name} (did you mean {extra.hint}?)" if extra.hint else extra.name
            for extra in bench.unused
        )
        yield f"unused columns: {', '.join(names)}"
    given = {field for setting in bench.fields for field in setting}
    if missing := [field for field in study.fields if field not in given]:
        names = (column(study.base, field) for field in missing)
        yield f"not in the file, taken from the case: {', '.join(names)}"
    for model in comparison.models:
        places, solved = comparison.places(model), comparison.solved(model)
        yield (
            f"{NAMES[model]}: {count_text(len(bench.cases) - solved, 'setting')} from the study, "
            f"{solved} solved now; {count_text(places['step'], 'measurement')} at a step, "
            f"{places['between']} interpolated between steps, {places['beyond']} not reached"
        )


def _not_reached(comparison: Comparison) -> Iterator[str]:
    """Yield which measurements are beyond the end of their curve, and why it ends."""
    for entry in comparison.unreached[:MAX_LINES]:
        yield (
            f"not reached ({NAMES[entry['model']]}): line {entry['line']}, "
            f"{PRESSURE.text(entry)}: {not_reached(entry)}"
        )
    if len(comparison.unreached) > MAX_LINES:
        yield f"and {len(comparison.unreached) - MAX_LINES} more in compare.json"
