"""A bar in the terminal while a film is made."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager


@contextmanager
def progress() -> Iterator[Callable[[int, int], None]]:
    """Show a bar on standard error; hand out what takes the pictures done and those in all."""
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeElapsedColumn

    with Progress(
        TextColumn("drawing"),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("pictures"),
        TimeElapsedColumn(),
        console=Console(stderr=True),
    ) as bars:
        task = bars.add_task("", total=None)

        def report(done: int, pictures: int) -> None:
            bars.update(task, completed=done, total=pictures)

        yield report
