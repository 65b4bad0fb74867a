"""The window on the screen."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from fem.scene.result_view import Exhibit


def open_window(
    exhibits: Sequence[Exhibit], title: str, *, cut: bool = False, start: bool = True
) -> None:
    """Show exhibits side by side in a window, until it is closed.

    Parameters
    ----------
    exhibits
        What is shown.
    title
        Title of the window.
    cut, start
        Whether the tubes are cut open, and their shapes at rest shown, to begin with.

    Raises
    ------
    InputError
        If there is no screen, or no room for so many.
    """
    from fem.scene.still.layout import check_count
    from fem.scene.window.screen import need_screen
    from fem.scene.window.window import Window

    check_count(exhibits)
    need_screen()
    Window(exhibits, title, cut=cut, start=start).open()
