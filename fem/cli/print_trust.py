"""What a terminal shows of trust: the rules, and the errors before and after the correction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.table import Table

from fem.quantities.column import named
from fem.trust.rules import Rule
from fem.trust.tolerance import Tolerance
from fem.wording.progress import Bars
from fem.wording.tables import GAP, terminal

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
    console.print(_rules(tolerances, found), "")
    if model is not None:
        _print_correction(console, model)
    for sentence in left_out:
        console.print(sentence, soft_wrap=True)
    if files:
        names = ", ".join(file.name for file in files)
        console.print(f"{files[0].parent}: {names}", soft_wrap=True)


def _rules(tolerances: Sequence[Tolerance], found: Sequence[Rule]) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
    table.add_column("rule", overflow="fold", ratio=1)
    for head in ("points", "outside", "share"):
        table.add_column(head, justify="right")
    for tolerance in tolerances:
        quantity = tolerance.quantity
        table.add_column(f"worst {quantity.name}\n{quantity.unit}", justify="right")
    for rule in found:
        worst = [f"{value:.3g}" if value == value else "-" for value in rule.worst.values()]
        counts = (str(rule.points), str(rule.outside), f"{rule.share:.0%}")
        table.add_row(rule.sentence, *counts, *worst)
    return table


def _print_correction(console: Console, model: CorrectedModel) -> None:
    facts = model.facts
    console.print(
        f"Corrected fast model, from {facts['curves']} curves of the FE model; errors on curves "
        "that were left out"
    )
    table = Table(box=None, pad_edge=False, padding=(0, GAP, 0, 0))
    table.add_column("quantity")
    for head in ("RMS as it is", "RMS corrected", "worst as it is", "worst corrected"):
        table.add_column(head, justify="right")
    for column, errors in facts["errors"].items():
        figures = (
            errors[f"{kind}_{when}"] for kind in ("rms", "worst") for when in ("before", "after")
        )
        table.add_row(named(column).words, *(f"{figure:.3g}" for figure in figures))
    console.print(table, "")
