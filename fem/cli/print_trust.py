"""What a terminal shows of trust: the rules, and the errors before and after the correction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from fem.trust.rules import Rule, rule_table
from fem.trust.tolerance import Tolerance
from fem.wording.agreement import correction_table, rules_table
from fem.wording.progress import Bars
from fem.wording.terminal import print_table, terminal

if TYPE_CHECKING:
    from fem.trust.corrected import CorrectedModel


@contextmanager
def working() -> Iterator[None]:
    """Show on standard error that rules and corrections are searched for."""
    with Bars() as bars:
        bars.report("searching for rules, fitting the difference of the models", 0, None)
        yield


def print_trust(
    title: str,
    tolerances: Sequence[Tolerance],
    found: Sequence[Rule],
    model: CorrectedModel | None,
    files: Sequence[Path],
    left_out: Sequence[str] = (),
) -> None:
    """Print the rules, the figures of the corrected model, which files were written, which not."""
    console = terminal()
    console.print(title, style="bold")
    words = ", ".join(map(str, tolerances))
    console.print(f"Fast model against FE model, tolerance: {words}")
    rules = rule_table(found).to_dict("records")
    print_table(console, rules_table(rules, [tolerance.quantity for tolerance in tolerances]))
    if model is not None:
        print_table(console, correction_table(model.facts))
    for sentence in left_out:
        console.print(sentence, soft_wrap=True)
    if files:
        names = ", ".join(file.name for file in files)
        console.print(f"{files[0].parent}: {names}", soft_wrap=True)
