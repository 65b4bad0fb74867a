"""What is read out of a state: the same lines in picture, film and window."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from fem.core.units import MINUS
from fem.wording.drive_labels import drive_columns
from fem.wording.picture_text import shortened
from fem.wording.run_sections import family_words
from fem.wording.tables import MOTION, PRESSURE, Column, end_columns

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit

DASH = "\N{EN DASH}"

SLACK_SHARE = 0.05
"""A family of which less is taut is named as slack."""

LETTERS = 18
"""Letters that fit in a column."""


class Readout(NamedTuple):
    """A line of the read-outs: a figure of the step table, or words on the threads.

    Attributes
    ----------
    title
        Its title, with the unit.
    column
        The figure; None for words.
    family
        The thread family whose make is told; empty for the names of those that hang slack.
    more
        Whether it is hold and slack that are told of it, or else angle and number.
    """

    title: str
    column: Column | None = None
    family: str = ""
    more: bool = False

    def show(self, exhibit: Exhibit, row: dict[str, Any]) -> str:
        """Return what is said of a state; a dash where there is nothing to say."""
        if self.column:
            text = self.column.show(row)
            return DASH if text in ("-", "nan") else text.replace("-", MINUS)
        if self.family:
            return ", ".join(_make(exhibit, self.family, self.more)).replace("-", MINUS) or DASH
        return _slack(exhibit, row)


def readouts(exhibits: Sequence[Exhibit]) -> list[Readout]:
    """Return the lines for what is shown together.

    The make of the threads is told where it differs from tube to tube.
    """
    pressure = PRESSURE._replace(form=".2f")  # of one width while a film goes on
    asked = dict.fromkeys(column for one in exhibits for column in drive_columns(one.case))
    loads = dict.fromkeys(column for one in exhibits for column in end_columns(one.case))
    lines = [
        Readout(f"{column.title} [{column.unit}]", column)
        for column in (*asked, pressure, *MOTION, *loads)
    ]
    families = [one.case.threads for one in exhibits]
    if any(families):
        lines.append(Readout("slack threads"))
    if not same_threads(exhibits):
        names = dict.fromkeys(family.name for some in families for family in some)
        for name in names:
            title = f"threads {shortened(name)}"
            lines.append(Readout(title, family=name))
            if any(_make(one, name, more=True) for one in exhibits):
                lines.append(Readout(title, family=name, more=True))
    return lines


def _make(exhibit: Exhibit, family: str, more: bool) -> list[str]:
    """Return angle and number of a family, or what more there is to say; nothing without it."""
    words = [family_words(one) for one in exhibit.case.threads if one.name == family]
    return (words[0][2:] if more else words[0][:2]) if words else []


def same_threads(exhibits: Sequence[Exhibit]) -> bool:
    """Return whether all have the same families of threads."""
    first, *others = (one.case.threads for one in exhibits)
    return all(other == first for other in others)


def _slack(exhibit: Exhibit, row: dict[str, Any]) -> str:
    """Return the families that hang slack; a dash where none is known of, or there is none."""
    families = [family.name for family in exhibit.case.threads]
    if not families or not all(f"taut.{name}" in row for name in families):
        return DASH
    names = [name for name in families if row[f"taut.{name}"] < SLACK_SHARE]
    if len(names) == len(families):
        return "all"
    return shortened(", ".join(names), LETTERS) if names else "none"
