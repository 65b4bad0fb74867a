"""Progress on standard error: a bar for each task, and more text below the bars."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any

from rich.console import Console, RenderableType
from rich.progress import (
    BarColumn,
    MofNCompleteColumn,
    Progress,
    ProgressColumn,
    TaskID,
    TextColumn,
    TimeElapsedColumn,
)


class Bars(Progress):
    """Progress bars, shown inside a ``with`` statement.

    Parameters
    ----------
    unit
        What is counted; written after the count. It may name fields of a task, as in rich.
    more
        More columns of rich, after the elapsed time.
    below
        Returns what is shown below the bars, at each refresh; None for nothing.
    """

    def __init__(
        self,
        unit: str = "",
        more: Iterable[ProgressColumn] = (),
        below: Callable[[], RenderableType | None] = lambda: None,
    ) -> None:
        self._ids: dict[str, TaskID] = {}
        self._below = below
        super().__init__(
            TextColumn("{task.description}"),
            BarColumn(),
            MofNCompleteColumn(),
            *([TextColumn(unit)] if unit else []),
            TimeElapsedColumn(),
            *more,
            console=Console(stderr=True),
            refresh_per_second=4,
        )

    def get_renderables(self) -> Iterable[RenderableType]:
        """Yield the bars, and what is shown below them."""
        yield from super().get_renderables()
        if (below := self._below()) is not None:
            yield below

    def report(
        self, name: str, done: int, total: int | None, words: str = "", **fields: Any
    ) -> None:
        """Update the bar of a task; the first call with its name adds it.

        Parameters
        ----------
        name
            Name of the task.
        done, total
            Numbers done and in total; None while the total is unknown.
        words
            Text before the bar; the name of the task if empty.
        fields
            Values that `unit` names.
        """
        if name not in self._ids:
            self._ids[name] = self.add_task(words or name, total=total, **fields)
        task = self._ids[name]
        self.update(task, description=words or None, completed=done, total=total, **fields)

    def note(self, text: str) -> None:
        """Print a line above the bars."""
        self.console.print(text, soft_wrap=True, highlight=False, markup=False)
