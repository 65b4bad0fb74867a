"""Results cut short, and the pages drawn of results: what they say, and whether it can be read."""

from dataclasses import replace
from itertools import combinations

from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.legend import Legend
from matplotlib.text import Text

from fem.continuation.termination import TerminationKind
from fem.results.termination import Termination
from fem.scene.still.path import path_page


def cut(run, steps, **changes):
    """Return the run as if it had ended after so many steps."""
    rows = run.rows[: steps + 1]
    kind, of = TerminationKind.NOT_CONVERGED, {"step": steps + 1, "steps": len(run.rows) - 1}
    end = Termination.at(kind, rows[-1], **of)
    return replace(run, rows=rows, shapes=run.shapes[: steps + 1], termination=end, **changes)


def titled(result, title):
    """Return the result under another title."""
    return replace(result, case=result.case.changed(title=title))


def blank(result):
    """Return the picture of both ends of the path with nothing rendered on it, and its page."""
    page = path_page(result)
    return page.lettered(100).figure, page


def texts(figure):
    """Return the texts of a figure that can be seen."""
    return [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]


def words(figure):
    """Return all that a figure says."""
    return "\n".join(text.get_text() for text in texts(figure))


def legend(figure):
    """Return the legend of a figure."""
    (found,) = figure.findobj(Legend)
    return found


def check_lettering(figure):
    """No text may leave the page or lie on another."""
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
        assert inside, f"{text!r} leaves the page"
    for (one, first), (other, second) in combinations(boxes, 2):
        assert not first.padded(-1).overlaps(second.padded(-1)), f"{one!r} lies on {other!r}"


def _place(label, axis):
    return label.get_position()[0 if axis.axis_name == "x" else 1]
