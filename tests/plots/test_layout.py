"""The layout of all figures: positions of its parts, complete text."""

from itertools import pairwise

import numpy as np
import pytest
from matplotlib import rcParams
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.lines import Line2D

from fem.plots.layout import FigureLayout, Panel, save_figures
from fem.plots.scale import scale_of
from tests.helpers.pictures import check_lettering, legend, words

LONG = "slack of a-name-of-just_thirty-two_letter: 12.5 % at 3 mL added, 15 to 30 kPa"
KEYS = [f"{LONG} ({number} %)" for number in range(3)]


def draw(axes):
    axes.plot([0, 1], [0, 5])
    return {words: Line2D([], []) for words in KEYS}


def layout(count=6, columns=3, **changes):
    shared = {"x_label": f"x, {LONG}", "y_label": f"y, {LONG}", "limits": ((0, 1), (0, 5))}
    text = {"title": f"Title, {LONG}", "heading": f"Heading, {LONG}", "notes": [f"Note, {LONG}"]}
    scale = scale_of(f"scale, {LONG}", [0.0, 3.0], signed=False)
    panels = [Panel([f"panel {n}", LONG], draw) for n in range(count)]
    given = {"panels": panels, "columns": columns, "scale": scale, **text, **shared, **changes}
    return FigureLayout(**given)


def boxes(figure):
    """Return the boxes of the panels, of the colour bar, of the legend, and the renderer."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    bars = [axes for axes in figure.axes if axes.get_label() == "bar"]
    panels = [axes.get_window_extent() for axes in figure.axes if axes not in bars]
    bar = bars[0].get_window_extent() if bars else None
    return panels, bar, legend(figure).get_window_extent(renderer), renderer


@pytest.mark.parametrize(("count", "columns"), [(1, 1), (2, 2), (5, 3), (8, 4)])
def test_text_is_complete(count, columns):
    figure = layout(count, columns, scale=None).figure()
    text = "".join(words(figure).split())
    parts = [f"Title, {LONG}", f"Heading, {LONG}", f"Note, {LONG}", *KEYS]
    parts += [f"panel {number} {LONG}" for number in range(count)]
    for part in [*parts, f"x, {LONG}", f"y, {LONG}"]:
        assert "".join(part.split()) in text
    assert "…" not in text
    check_lettering(figure)


def test_legend_and_notes_are_below_the_panels_and_the_colour_bar_at_the_right():
    figure = layout().figure()
    panels, bar, keys, renderer = boxes(figure)
    notes = figure._supxlabel.get_window_extent(renderer)
    assert 0 < notes.y0 < notes.y1 < keys.y0
    assert keys.y1 < min(box.y0 for box in panels)
    assert bar.x0 > max(box.x1 for box in panels)
    assert bar.y0 <= min(box.y0 for box in panels) + 1
    assert bar.y1 >= max(box.y1 for box in panels) - 1


@pytest.mark.parametrize("shape", [{"ratio": 0.5}, {"ratio": 1.2}, {"panel_height": 1.5}])
def test_panels_have_the_requested_shape(shape):
    figure = layout(**shape).figure()
    panels, *_ = boxes(figure)
    height = shape.get("panel_height", shape.get("ratio", 0) * panels[0].width / figure.dpi)
    for box in panels:
        assert box.width == pytest.approx(panels[0].width, rel=1e-3)
        assert box.height / figure.dpi == pytest.approx(height, rel=0.02)


def test_rows_have_the_requested_heights():
    panels, *_ = boxes(layout(4, 2, heights=(1.0, 0.5), limits=None, ratio=1.0).figure())
    assert [box.height / box.width for box in panels] == pytest.approx([1, 1, 0.5, 0.5], rel=0.02)


def test_shared_axes_are_labelled_only_outside():
    figure = layout(5, 3, scale=None).figure()
    labelled = [bool(axes.get_xlabel()) for axes in figure.axes]
    assert labelled == [False, False, True, True, True]  # no panel is below the third
    assert [bool(axes.get_ylabel()) for axes in figure.axes] == [True, False, False, True, False]


def test_a_missing_panel_leaves_its_place_empty():
    panels = [Panel([], draw), None, Panel([], draw), Panel([], draw)]
    figure = layout(panels=panels, columns=2, scale=None).figure()
    (first, below, right), *_ = boxes(figure)
    assert first.x0 == pytest.approx(below.x0) and right.x0 > below.x1 and right.y1 < first.y0


def test_title_heading_and_notes_can_be_left_out():
    text = words(layout().figure(text=False))
    assert "Title" not in text and "Heading" not in text and "Note" not in text
    assert "panel 0" in text


def test_a_panel_is_finished_in_its_final_size():
    seen = []
    panel = Panel([], draw, lambda axes: seen.append(axes.get_window_extent().bounds))
    figure = layout(panels=[panel], columns=1).figure()
    figure.savefig("/dev/null", format="png")
    panels, *_ = boxes(figure)
    assert np.allclose(seen, [panels[0].bounds])


def test_settings_of_matplotlib_do_not_change():
    before = dict(rcParams)
    layout().figure()
    assert dict(rcParams) == before


def test_dollar_signs_start_no_formula():
    figure = layout(title="$5 and $6", notes=["$a_b$"]).figure()
    assert "$5 and $6" in words(figure) and "$a_b$" in words(figure)
    assert not any(text.get_parse_math() for text in (figure._suptitle, figure._supxlabel))


def test_figures_of_an_earlier_result_are_removed(tmp_path):
    for name in ("one", "two", "mine"):
        (tmp_path / f"{name}.png").write_text("old", encoding="utf-8")
    assert save_figures({"one": layout()}, tmp_path, ["one", "two"]) == [tmp_path / "one.png"]
    assert {file.name for file in tmp_path.iterdir()} == {"one.png", "mine.png"}
    assert (tmp_path / "one.png").stat().st_size > 10_000


def test_the_width_of_a_figure_is_limited():
    """At 800 pixels the smallest characters, of 8.5 pt, are 10 pixels high."""
    for columns, other in pairwise((1, 2, 3, 4)):
        assert layout(columns=columns).width <= layout(columns=other).width <= 9.0
