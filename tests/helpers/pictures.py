"""Shortened results, and texts in pictures: their content, position and overlap."""

from dataclasses import replace
from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.legend import Legend
from matplotlib.text import Text

from fem.continuation.termination import TerminationKind
from fem.results.termination import Termination
from fem.scene.still.path import path_page


def cut(run, steps, **changes):
    """Return the run as if it had ended after the given number of steps."""
    rows = run.rows[: steps + 1]
    kind, of = TerminationKind.NOT_CONVERGED, {"step": steps + 1, "steps": len(run.rows) - 1}
    end = Termination.at(kind, rows[-1], **of)
    return replace(run, rows=rows, shapes=run.shapes[: steps + 1], termination=end, **changes)


def titled(result, title):
    """Return the result with another title."""
    return replace(result, case=result.case.changed(title=title))


def blank(result):
    """Return the picture of both ends of the path without its rendered views, and its page."""
    page = path_page(result)
    return page.page_figure(100).figure, page


def texts(figure):
    """Return the visible texts of a figure."""
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def words(figure):
    """Return all visible text of a figure."""
    return "\n".join(text.get_text() for text in texts(figure))


def legend(figure):
    """Return the legend of a figure."""
    (found,) = figure.findobj(Legend)
    return found


def check_lettering(figure):
    """Check that no text is outside the page or overlaps another."""
    canvas = FigureCanvasAgg(figure)
    canvas.draw()
    page = figure.bbox
    shown = [axis for axes in figure.axes for axis in (axes.xaxis, axes.yaxis)]
    hidden = [axes for axes in figure.axes if not axes.axison]
    ticks = {
        id(label)
        for axis in shown
        for label in axis.get_ticklabels(which="both")
        if axis.axes in hidden
        or not min(axis.get_view_interval()) <= _place(label, axis) <= max(axis.get_view_interval())
    }
    boxes = [
        (text.get_text(), text.get_window_extent(canvas.get_renderer()))
        for text in texts(figure)
        if id(text) not in ticks
    ]
    assert boxes
    for text, box in boxes:
        inside = page.x0 <= box.x0 and box.x1 <= page.x1 and page.y0 <= box.y0 and box.y1 <= page.y1
        assert inside, f"{text!r} is outside the page"
    for (one, first), (other, second) in combinations(boxes, 2):
        assert not first.padded(-1).overlaps(second.padded(-1)), f"{one!r} overlaps {other!r}"


def _place(label, axis):
    return label.get_position()[0 if axis.axis_name == "x" else 1]
