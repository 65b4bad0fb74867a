"""Pictures and tables of trust, and the command."""

import json

import numpy as np
import pandas
import pytest
from typer.testing import CliRunner

from fem.cli import app
from fem.cli.print_agreement import print_trust
from fem.plots.style import STYLES
from fem.plots.trust.figures import save_pictures, trust_figure
from fem.plots.trust.parity import parity_figure
from fem.plots.trust.share import BOUNDS, LOST, share_scale
from fem.study.plan import Study
from fem.trust import CorrectedModel, Trust, parse, rules, trust_map
from tests.helpers.messages import assert_states
from tests.helpers.pictures import check_lettering, legend, words
from tests.helpers.trust_toys import driven, make_study, tabulated, two_angles

TWIST = "twist 2 deg"
LONG_TITLE = "A title that goes on and on, with $5 in it, " * 10
SLACK = {
    "field": "threads.A.slack",
    "same": ["threads.B.slack"],
    "values": ["taken up", "cut at 30 deg"],
}
GRID = [
    {"field": f"threads.{n}.angle", "from": "-30 deg", "to": "30 deg", "count": 5} for n in "AB"
]


def fast(own, pressure):
    return {"twist_deg": pressure, "displacement_mm": 0.1 * pressure, "bulge_mm": 0.1}


def off(own, pressure):
    """An error that equals the tolerance where |A| is 20 deg, at any pressure."""
    return {"twist_deg": abs(own["angle_deg.A"]) / 10}


def tilted(own, pressure):
    """An error that equals the tolerance where A is 20 deg, and is smaller for smaller A."""
    return {"twist_deg": (own["angle_deg.A"] + 40) / 30}


def with_map(study, ends=None, difference=off):
    study_result = tabulated(study, fast, difference, ends)
    tolerances = parse(TWIST, study_result)
    return study_result, trust_map(study_result, tolerances), tolerances


def panels(figure):
    return [axes for axes in figure.axes if axes.get_label() != "bar"]


def limit_line(axes):
    """Return the vertices of the lines where the error equals the tolerance."""
    drawn = [c for c in axes.collections if list(getattr(c, "levels", ())) == [1]]
    return np.vstack([path.vertices for c in drawn for path in c.get_paths()])


@pytest.mark.parametrize("study", [two_angles(7), two_angles(scatter={"points": 60, "seed": 4})])
def test_the_line_is_where_the_error_equals_the_tolerance(study):
    """A linear error has an exact line on any mesh of triangles or rectangles."""
    linear = trust_figure(*with_map(study, difference=tilted)).figure()
    for axes in panels(linear):
        np.testing.assert_allclose(limit_line(axes)[:, 0], 20.0, atol=1e-6)
    check_lettering(linear)


def test_the_map_is_as_symmetric_as_the_table():
    for axes in panels(trust_figure(*with_map(two_angles(7))).figure()):
        corners = limit_line(axes)
        np.testing.assert_allclose(np.abs(corners[:, 0]), 20.0, atol=1e-6)
        assert np.sum(corners[:, 0] > 0) == np.sum(corners[:, 0] < 0) > 0


def test_the_map_names_models_tolerance_settings_and_points():
    study_result, table, tolerances = with_map(make_study([SLACK, *GRID]))
    figure = trust_figure(study_result, table, tolerances).figure()
    text = words(figure).replace("\N{NO-BREAK SPACE}", " ")
    assert_states(text, "Toy", STYLES["fast"].label.capitalize(), STYLES["fe"].label, "coarse mesh")
    assert_states(text, "twist 2 deg", "taken up", "cut at 30 deg", "at 15 kPa")
    assert_states(text, "helix angle of A [deg]", "error = tolerance")
    assert f"{int(table.trusted.sum())} of {len(table)} points" in text
    assert len(panels(figure)) == 2 * 4
    check_lettering(trust_figure(*with_map(two_angles(3))).figure())


def test_a_long_title_fits():
    study_result, table, tolerances = with_map(make_study([SLACK, *GRID]))
    study = study_result.study
    study = study.restore(study.data | {"title": LONG_TITLE}, study.base.data)
    longer = type(study_result)(study, study_result.table, study_result.run_record)
    check_lettering(trust_figure(longer, table, tolerances).figure())


def test_points_of_only_one_model_have_markers_and_are_not_filled():
    def ends(model, own):
        low = 4 if model == "fe" else 5
        high = 5 if model == "fe" else 4
        return {-30.0: low, 30.0: high}.get(own["angle_deg.A"], 5)

    figure = trust_figure(*with_map(two_angles(5), ends)).figure()
    last = panels(figure)[-1]
    marks = {
        line.get_marker(): line.get_xdata() for line in last.lines if line.get_marker() in "x^"
    }
    assert set(marks["^"]) == {-30.0} and len(marks["^"]) == 5
    assert set(marks["x"]) == {30.0} and len(marks["x"]) == 5
    labels = [text.get_text() for text in legend(figure).get_texts()]
    assert {f"only the {state}" for state in LOST} <= set(labels)
    filled = [c for c in last.collections if len(getattr(c, "levels", ())) == len(BOUNDS)]
    (surface,) = filled
    places = np.vstack([path.vertices for path in surface.get_paths() if len(path.vertices)])
    assert abs(places[:, 0]).max() == pytest.approx(15)


def test_greyscale_separates_outside_from_within_the_tolerance():
    """The shades darken monotonically, and most where the error equals the tolerance."""
    scale = share_scale(np.array([0.1, 7.0]))
    grey = scale.colours[1:, :3] @ [0.2126, 0.7152, 0.0722]  # Rec. 709, from memory
    steps = -np.diff(grey)
    assert (steps > 0).all()
    at_limit = int(np.flatnonzero(BOUNDS == 1.0)[0]) - 1
    assert steps[at_limit] == steps.max()
    assert scale.extend == "max"


def test_one_number_is_drawn_against_the_pressure():
    study = make_study(
        [{"field": "threads.A.angle", "from": "-30 deg", "to": "30 deg", "count": 7}]
    )
    figure = trust_figure(*with_map(study)).figure()
    (axes,) = panels(figure)
    assert axes.get_ylabel() == "pressure [kPa]"
    assert np.abs(np.abs(limit_line(axes)[:, 0]) - 20).max() < 0.5
    check_lettering(figure)


@pytest.mark.parametrize(
    ("drive", "level"),
    [
        ({"gas": {"mass": "5 mg", "steps": 4}}, ("5 mg", "12 kPa")),
        ({"volume": {"added": "2 mL", "steps": 4}}, ("2 mL", "12 kPa")),
        (
            {"pressure": {"end": "8 kPa", "steps": 2}, "move": {"twist": "20 deg", "steps": 2}},
            ("step 4 of 4", "8 kPa"),
        ),
    ],
)
def test_two_numbers_are_drawn_with_any_drive(drive, level):
    """If the pressure is not the level, the title of the panel has the pressures found there."""
    study = driven(two_angles(3, steps=4), **drive)
    study_result = tabulated(
        study,
        lambda own, p: fast(own, p) | {"volume_mm3": 5000 + 2000 * p / 12, "air_mg": 5 * p / 12},
        off,
    )
    tolerances = parse(TWIST, study_result)
    figure = trust_figure(study_result, trust_map(study_result, tolerances), tolerances).figure()
    last = panels(figure)[-1].get_title(loc="left").replace("\n", " ")
    assert_states(last, *level)
    check_lettering(figure)


def test_cases_that_share_few_levels_are_drawn_by_steps():
    """1 mg is the last of four steps to 1 mg, the second to 2 mg, the first to 4 mg: none ended."""
    vary = [{"field": "gas.mass", "values": ["1 mg", "2 mg", "4 mg"]}, GRID[0]]
    base = driven(two_angles(3), gas={"mass": "5 mg", "steps": 4})
    study = Study.restore({**base.data, "vary": vary}, base.base.data)
    study_result = tabulated(
        study, lambda own, p: fast(own, p) | {"air_mg": own["gas_mass_mg"] * p / 12}, off
    )
    tolerances = parse(TWIST, study_result)
    figure = trust_figure(study_result, trust_map(study_result, tolerances), tolerances).figure()
    assert len(panels(figure)) == 4
    text = words(figure).replace("\n", " ")
    assert_states(text, "at step 1 of 4, 3 kPa", "at step 4 of 4, 12 kPa")
    assert "ended" not in text
    check_lettering(figure)


def test_a_study_of_text_settings_has_no_map(tmp_path):
    study = make_study([SLACK])
    study_result, table, tolerances = with_map(
        study, difference=lambda own, p: {"twist_deg": 0.1 * p}
    )
    assert trust_figure(study_result, table, tolerances) is None
    assert save_pictures(study_result, table, tolerances, None, tmp_path) == []


@pytest.fixture(scope="module")
def corrected():
    """Return a study of invented models with an error to correct, and the corrected model."""

    def bent(own, p):
        return {"twist_deg": 0.01 * p * own["angle_deg.A"], "displacement_mm": 0.001 * p**2}

    study = two_angles(steps=3, scatter={"points": 14, "seed": 2})
    study_result = tabulated(study, fast, bent)
    return study_result, CorrectedModel.fit(study_result)


def test_parity_shows_the_left_out_points(corrected):
    _, model = corrected
    figure = parity_figure(model).figure()
    check_lettering(figure)
    first = figure.axes[0]
    assert first.get_xlabel() == "FE: twist [deg]"
    drawn = {line.get_marker(): line for line in first.lines}
    points = model.held_out
    for marker, column in (("D", "twist_deg.fast"), ("o", "twist_deg.corrected")):
        np.testing.assert_array_equal(drawn[marker].get_xdata(), points["twist_deg.fe"])
        np.testing.assert_array_equal(drawn[marker].get_ydata(), points[column])
    below = figure.axes[len(model.quantities)]
    errors = {line.get_marker(): line.get_ydata() for line in below.lines}
    last = points[points.ordinal == 3]
    expected = np.sqrt(np.mean((last["twist_deg.fast"] - last["twist_deg.fe"]) ** 2))
    assert errors["D"][-1] == pytest.approx(expected)
    assert_states(words(figure), f"{model.facts['curves']} curves", "coarse mesh")


@pytest.mark.parametrize("width", [80, 100])
def test_the_terminal_lists_rules_and_errors(corrected, capsys, tmp_path, monkeypatch, width):
    monkeypatch.setenv("COLUMNS", str(width))
    study_result, model = corrected
    tolerances = parse("twist 2 deg, displacement 0.3 mm", study_result)
    table = trust_map(study_result, tolerances)
    found = rules(table, study_result.study, tolerances)
    print_trust(Trust(study_result, tolerances, table, found, model), [tmp_path / "trust.csv"])
    text = " ".join(capsys.readouterr().out.split())
    assert_states(text, *map(str, tolerances), "twist, deg", "displacement, mm", "trusted for")
    errors = model.facts["errors"]["twist_deg"]
    assert_states(text, f"{errors['rms_before']:.3g} {errors['rms_after']:.3g}", "trust.csv")


def test_round_off_is_not_an_error(capsys):
    """The FE model returns about 1e-9 deg for a twist that is zero by symmetry."""
    study = make_study([{"field": "threads.A.angle", "from": "5 deg", "to": "30 deg", "count": 9}])
    study_result = tabulated(
        study,
        lambda own, p: {"twist_deg": 0.0, "displacement_mm": 0.1 * p, "bulge_mm": 0.1},
        lambda own, p: {"twist_deg": 8e-9 * np.sin(p), "displacement_mm": 0.001 * p},
    )
    trust = Trust.of(study_result, "twist 2 deg")
    assert list(trust.model.fits) == ["displacement_mm"]
    assert set(trust.model.facts["errors"]["twist_deg"].values()) == {0.0, 1.0}
    assert trust.model.facts["errors"]["displacement_mm"]["rms_before"] > 0.001
    print_trust(trust, [])
    assert "twist [deg] 0 0 0 0" in " ".join(capsys.readouterr().out.split())
    assert {rule.worst["twist"] for rule in trust.rules} == {0.0}
    below = parity_figure(trust.model).figure().axes[len(trust.model.quantities)]
    assert "the models agree" in [text.get_text() for text in below.texts]
    assert not any(len(line.get_xdata()) for line in below.lines)


def test_trust_writes_its_files(corrected, tmp_path):
    study_result, _ = corrected
    trust = Trust.of(study_result, "twist 2 deg")
    files = trust.save(tmp_path)
    files += save_pictures(study_result, trust.map, trust.tolerances, trust.model, tmp_path)
    assert {file.name for file in files} == {
        *("trust.csv", "rules.csv", "trust.json", "corrected.npz", "trust.png", "corrected.png")
    }
    assert all(file.stat().st_size for file in files)
    facts = json.loads((tmp_path / "trust.json").read_text(encoding="utf-8"))
    assert facts["study_hash"] == study_result.study.hash
    assert facts["tolerances"] == {"twist_deg": 2.0}
    assert facts["rules"] == [rule.sentence for rule in trust.rules]
    written = pandas.read_csv(tmp_path / "trust.csv")
    assert len(written) == len(trust.map)
    np.testing.assert_allclose(written["share"], trust.map["share"])


def test_the_command(corrected, tmp_path):
    study_result, _ = corrected
    study_result.save(tmp_path)
    run = CliRunner().invoke(app, ["trust", str(tmp_path), "--tolerance", "twist 2 deg"])
    assert run.exit_code == 0, run.output
    assert "trusted for" in " ".join(run.output.split())
    assert (tmp_path / "trust" / "trust.png").exists()
    loaded = CorrectedModel.load(tmp_path / "trust" / "corrected.npz")
    assert loaded.study.hash == study_result.study.hash


@pytest.mark.parametrize(
    ("vary", "ends", "facts"),
    [
        (GRID, None, ("4 ", " 8 ")),
        (GRID[:1], None, ("3 ", " 8 ")),
        (GRID, lambda model, own: 5 if model == "fe" else 0, ("0 ", " 8 ")),
        ([SLACK], None, ("no trust.png",)),
    ],
)
def test_the_map_and_the_rules_are_always_written(vary, ends, facts, tmp_path):
    """The command names missing outputs; files of an earlier study are removed."""
    vary = [table | {"count": 3} if "count" in table else table for table in vary]
    study_result = tabulated(make_study(vary), fast, lambda own, p: {"twist_deg": 0.3 * p}, ends)
    study_result.save(tmp_path)
    (tmp_path / "trust").mkdir()
    for name in ("corrected.npz", "corrected.png"):
        (tmp_path / "trust" / name).write_text("old", encoding="utf-8")
    run = CliRunner().invoke(app, ["trust", str(tmp_path), "--tolerance", TWIST])
    assert run.exit_code == 0, run.output
    text = " ".join(run.output.split())
    _, found, reason = text.partition("no corrected fast model: ")
    assert found
    assert_states(text if len(facts) == 1 else reason, *facts)
    written = {file.name for file in (tmp_path / "trust").iterdir()}
    drawn = set() if vary == [SLACK] else {"trust.png"}
    assert written == {"trust.csv", "rules.csv", "trust.json"} | drawn
    record = json.loads((tmp_path / "trust" / "trust.json").read_text(encoding="utf-8"))
    assert record["corrected"] is None and record["no_corrected_model"] in text
    assert record["rules"]


def test_the_command_refuses_an_unknown_quantity(corrected, tmp_path):
    study_result, _ = corrected
    study_result.save(tmp_path)
    run = CliRunner().invoke(app, ["trust", str(tmp_path), "--tolerance", "turn 2 deg"])
    assert run.exit_code == 2
    assert_states(run.output, "turn", "twist, displacement, bulge")
    run = CliRunner().invoke(app, ["trust", str(tmp_path / "none"), "--tolerance", "twist 2 deg"])
    assert run.exit_code == 2
