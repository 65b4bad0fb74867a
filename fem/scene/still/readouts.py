"""Values shown for a state: the same lines in picture, film and window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from fem.core.units import MINUS
from fem.quantities import table
from fem.quantities.column import Measure, with_unit
from fem.wording.picture_text import wrapped
from fem.wording.run_sections import family_words
from fem.wording.tables import readout_columns

if TYPE_CHECKING:
    from fem.scene.result_view import ResultView

DASH = "\N{EN DASH}"

LINE = 1.5
"""Width of a line in the window (in)."""

MAX_SLACK = 0.05
"""A family with a smaller taut fraction is listed as slack."""


class Readout(NamedTuple):
    """A line: a value of the step table, or text on the threads.

    Attributes
    ----------
    title
        Its title, with the unit.
    column
        The column of the value; None for text.
    family
        The thread family that is described; empty for the list of slack families.
    more
        Whether hold and slack are given instead of angle and number.
    """

    title: str
    column: Measure | None = None
    family: str = ""
    more: bool = False

    def show(self, view: ResultView, row: dict[str, Any]) -> str:
        """Return the text for a state; a dash if there is none."""
        if self.column:
            # the same width throughout a film
            text = self.column.show(row, f".{self.column.quantity.decimals}f")
            return DASH if text in ("-", "nan") else text.replace("-", MINUS)
        if self.family:
            return ", ".join(_description(view, self.family, self.more)).replace("-", MINUS) or DASH
        return _slack(view, row)

    def line(self, view: ResultView, row: dict[str, Any]) -> str:
        """Return the same in one line of `LINE` (in), with an ellipsis if it is longer."""
        return wrapped(self.show(view, row), LINE, 9, lines=1)[0]

    def longest(self, view: ResultView) -> str:
        """Return the longest text for any state of a path."""
        return max((self.show(view, row) for row in view.rows), key=len)


def readouts(views: Sequence[ResultView]) -> list[Readout]:
    """Return the lines for views shown together.

    The threads are described if they differ between tubes.
    """
    lines = [
        Readout(with_unit(column.title, column.shown_unit), column)
        for column in readout_columns([one.case for one in views])
        if not column.family
    ]
    families = [one.case.threads for one in views]
    if any(families):
        lines.append(Readout("threads without tension"))
    if not same_threads(views):
        names = dict.fromkeys(family.name for some in families for family in some)
        for name in names:
            title = f"threads {name}"
            lines.append(Readout(title, family=name))
            if any(_description(one, name, more=True) for one in views):
                lines.append(Readout(title, family=name, more=True))
    return lines


def _description(view: ResultView, family: str, more: bool) -> list[str]:
    """Return angle and number of a family, or hold and slack; empty if it is not in the view."""
    words = [family_words(one) for one in view.case.threads if one.name == family]
    return (words[0][2:] if more else words[0][:2]) if words else []


def same_threads(views: Sequence[ResultView]) -> bool:
    """Return whether all have the same families of threads."""
    first, *others = (one.case.threads for one in views)
    return all(other == first for other in others)


def _slack(view: ResultView, row: dict[str, Any]) -> str:
    """Return the slack families; a dash if that is unknown or there are no threads."""
    families = [family.name for family in view.case.threads]
    columns = {name: Measure(table.taut_fraction, name).column for name in families}
    if not families or not all(column in row for column in columns.values()):
        return DASH
    names = [name for name, column in columns.items() if row[column] < MAX_SLACK]
    if len(names) == len(families):
        return "all"
    return ", ".join(names) or "none"
