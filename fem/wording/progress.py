"""Progress of work on standard error: a bar for each task, and what is shown below the bars."""

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
    """Bars that are shown while the ``with`` statement lasts.

    Parameters
    ----------
    unit
        What is counted; it stands behind the count and may name fields of a task as rich does.
    more
        Columns of rich behind the time that has gone.
    below
        What is shown below the bars, formed each time; None for nothing.
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
        """Yield the bars, and what stands below them."""
        yield from super().get_renderables()
        if (below := self._below()) is not None:
            yield below

    def report(
        self, name: str, done: int, total: int | None, words: str = "", **fields: Any
    ) -> None:
        """Move the bar of a task, which is added when it is first named.

        Parameters
        ----------
        name
            Name of the task.
        done, total
            What is done of it, and what there is to do; None while that is not known.
        words
            What stands before the bar; its name if empty.
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
