"""The pictures and tables of trust, and the command: what a program can tell of them."""

import json

import numpy as np
import pandas
import pytest
from typer.testing import CliRunner

from fem.cli import app
from fem.cli.print_agreement import print_trust
from fem.plots.trust.figures import save_pictures, trust_figure
from fem.plots.trust.parity import parity_figure
from fem.plots.trust.share import BOUNDS, share_scale
from fem.study.plan import Study
from fem.trust import CorrectedModel, Trust, parse, rules, trust_map
from tests.helpers.shown import check_lettering, words
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
    """Wrong by the tolerance where |A| is 20 deg, at any pressure."""
    return {"twist_deg": abs(own["angle_deg.A"]) / 10}


def tilted(own, pressure):
    """Wrong by the tolerance where A is 20 deg, by less where it is less."""
    return {"twist_deg": (own["angle_deg.A"] + 40) / 30}


def judged(study, ends=None, difference=off):
    study_result = tabulated(study, fast, difference, ends)
    tolerances = parse(TWIST, study_result)
    return study_result, trust_map(study_result, tolerances), tolerances


def panels(figure):
    return [axes for axes in figure.axes if axes.get_label() != "bar"]


def border(axes):
    """Return the corners of the lines where the error is the tolerance."""
    drawn = [c for c in axes.collections if list(getattr(c, "levels", ())) == [1]]
    return np.vstack([path.vertices for c in drawn for path in c.get_paths()])


@pytest.mark.parametrize("study", [two_angles(7), two_angles(scatter={"points": 60, "seed": 4})])
def test_the_border_is_where_the_error_is_the_tolerance(study):
    """A linear error has its border in place on any mesh of triangles or rectangles."""
    linear = trust_figure(*judged(study, difference=tilted)).figure()
    for axes in panels(linear):
        np.testing.assert_allclose(border(axes)[:, 0], 20.0, atol=1e-6)
    check_lettering(linear)


def test_the_map_is_as_symmetric_as_the_table():
    for axes in panels(trust_figure(*judged(two_angles(7))).figure()):
        corners = border(axes)
        np.testing.assert_allclose(np.abs(corners[:, 0]), 20.0, atol=1e-6)
        assert np.sum(corners[:, 0] > 0) == np.sum(corners[:, 0] < 0) > 0


def test_what_the_page_says():
    study_result, table, tolerances = judged(make_study([SLACK, *GRID]))
    figure = trust_figure(study_result, table, tolerances).figure()
    said = words(figure).replace("\N{NO-BREAK SPACE}", " ")
    assert "Toy" in said
    assert "Fast model against FE model (coarse mesh): the error as a share" in said
    assert "twist 2 deg" in said
    for part in ("taken up", "cut at 30 deg", "at 15 kPa", "helix angle of A [deg]", "border"):
        assert part in said
    within = int(table.trusted.sum())
    assert f"{within} of {len(table)} points of the study are within the tolerance" in said
    assert len(panels(figure)) == 2 * 4
    check_lettering(trust_figure(*judged(two_angles(3))).figure())


def test_a_long_title_fits():
    study_result, table, tolerances = judged(make_study([SLACK, *GRID]))
    study = study_result.study
    study = study.restore(study.data | {"title": LONG_TITLE}, study.base.data)
    longer = type(study_result)(study, study_result.table, study_result.provenance)
    check_lettering(trust_figure(longer, table, tolerances).figure())


def test_points_that_a_model_lacks_are_marked_apart_and_not_filled():
    def ends(model, own):
        low = 4 if model == "fe" else 5
        high = 5 if model == "fe" else 4
        return {-30.0: low, 30.0: high}.get(own["angle_deg.A"], 5)

    figure = trust_figure(*judged(two_angles(5), ends)).figure()
    last = panels(figure)[-1]
    marks = {
        line.get_marker(): line.get_xdata() for line in last.lines if line.get_marker() in "x^"
    }
    assert set(marks["^"]) == {-30.0} and len(marks["^"]) == 5
    assert set(marks["x"]) == {30.0} and len(marks["x"]) == 5
    assert "FE model ended, the other not" in words(figure)
    assert "at 5 the FE model alone" not in words(figure)
    filled = [c for c in last.collections if len(getattr(c, "levels", ())) == len(BOUNDS)]
    (surface,) = filled
    places = np.vstack([path.vertices for path in surface.get_paths() if len(path.vertices)])
    assert abs(places[:, 0]).max() == pytest.approx(15)


def test_grey_tells_beyond_from_within():
    """The shades darken all the way, and most of all at the border."""
    scale = share_scale(np.array([0.1, 7.0]))
    grey = scale.colours[1:, :3] @ [0.2126, 0.7152, 0.0722]  # Rec. 709, from memory
    steps = -np.diff(grey)
    assert (steps > 0).all()
    at_border = int(np.flatnonzero(BOUNDS == 1.0)[0]) - 1
    assert steps[at_border] == steps.max()
    assert scale.extend == "max"


def test_one_number_is_drawn_against_the_pressure():
    study = make_study(
        [{"field": "threads.A.angle", "from": "-30 deg", "to": "30 deg", "count": 7}]
    )
    figure = trust_figure(*judged(study)).figure()
    (axes,) = panels(figure)
    assert axes.get_ylabel() == "pressure [kPa]"
    assert np.abs(np.abs(border(axes)[:, 0]) - 20).max() < 0.5
    check_lettering(figure)


@pytest.mark.parametrize(
    ("drive", "said"),
    [
        ({"gas": {"mass": "5 mg", "steps": 4}}, "at 5 mg of air let in, 12 kPa"),
        ({"volume": {"added": "2 mL", "steps": 4}}, "at 2 mL pushed in, 12 kPa"),
        (
            {"pressure": {"end": "8 kPa", "steps": 2}, "move": {"twist": "20 deg", "steps": 2}},
            "at step 4 of 4, 8 kPa",
        ),
    ],
)
def test_two_numbers_are_drawn_whatever_drives_the_tube(drive, said):
    """Where the pressure is no level, the pressures found there stand above the panel."""
    study = driven(two_angles(3, steps=4), **drive)
    study_result = tabulated(
        study,
        lambda own, p: fast(own, p) | {"volume_mm3": 5000 + 2000 * p / 12, "air_mg": 5 * p / 12},
        off,
    )
    tolerances = parse(TWIST, study_result)
    figure = trust_figure(study_result, trust_map(study_result, tolerances), tolerances).figure()
    assert said in words(figure).replace("\n", " ")
    check_lettering(figure)


def test_cases_that_share_few_levels_are_drawn_by_steps():
    """Of 1, 2 and 4 mg in four steps 1 mg is the last step, the second, the first: none ended."""
    vary = [{"field": "gas.mass", "values": ["1 mg", "2 mg", "4 mg"]}, GRID[0]]
    base = driven(two_angles(3), gas={"mass": "5 mg", "steps": 4})
    study = Study.restore({**base.data, "vary": vary}, base.base.data)
    study_result = tabulated(
        study, lambda own, p: fast(own, p) | {"air_mg": own["gas_mass_mg"] * p / 12}, off
    )
    tolerances = parse(TWIST, study_result)
    figure = trust_figure(study_result, trust_map(study_result, tolerances), tolerances).figure()
    assert len(panels(figure)) == 4
    said = words(figure).replace("\n", " ")
    assert "at step 1 of 4, 3 kPa" in said and "at step 4 of 4, 12 kPa" in said
    assert "ended" not in said
    check_lettering(figure)


def test_texts_alone_have_no_map(tmp_path):
    study = make_study([SLACK])
    study_result, table, tolerances = judged(
        study, difference=lambda own, p: {"twist_deg": 0.1 * p}
    )
    assert trust_figure(study_result, table, tolerances) is None
    assert save_pictures(study_result, table, tolerances, None, tmp_path) == []


@pytest.fixture(scope="module")
def corrected():
    """Return a study of made-up models that is bent enough to need a correction."""

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
    points = model.left_out
    for marker, column in (("D", "twist_deg.fast"), ("o", "twist_deg.corrected")):
        np.testing.assert_array_equal(drawn[marker].get_xdata(), points["twist_deg.fe"])
        np.testing.assert_array_equal(drawn[marker].get_ydata(), points[column])
    below = figure.axes[len(model.quantities)]
    errors = {line.get_marker(): line.get_ydata() for line in below.lines}
    last = points[points.ordinal == 3]
    expected = np.sqrt(np.mean((last["twist_deg.fast"] - last["twist_deg.fe"]) ** 2))
    assert errors["D"][-1] == pytest.approx(expected)
    assert "14 curves of the FE model (coarse mesh)" in words(figure)


def test_the_terminal_says_rules_and_errors(corrected, capsys, tmp_path):
    study_result, model = corrected
    tolerances = parse("twist 2 deg, displacement 0.3 mm", study_result)
    table = trust_map(study_result, tolerances)
    found = rules(table, study_result.study, tolerances)
    print_trust(Trust(study_result, tolerances, table, found, model), [tmp_path / "trust.csv"])
    said = " ".join(capsys.readouterr().out.split())
    assert "tolerance: twist 2 deg, displacement 0.3 mm" in said
    assert "worst twist" in said and "worst displacement" in said
    assert "trusted for" in said
    told = model.facts["errors"]["twist_deg"]
    assert f"{told['rms_before']:.3g} {told['rms_after']:.3g}" in said
    assert "trust.csv" in said


def test_what_is_below_round_off_is_no_error(capsys):
    """A twist that is nil by symmetry comes out of the FE model as some 1e-9 deg."""
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
    ("vary", "ends", "said"),
    [
        (GRID, None, "4 unlike curves have both models; a corrected model takes 8 at least"),
        (GRID[:1], None, "3 unlike curves have both models"),
        (GRID, lambda model, own: 5 if model == "fe" else 0, "0 unlike curves have both models"),
        ([SLACK], None, "no trust.png: no number varies"),
    ],
)
def test_the_map_and_the_rules_are_always_written(vary, ends, said, tmp_path):
    """What a study does not yield is said; of an older study nothing stays behind."""
    vary = [table | {"count": 3} if "count" in table else table for table in vary]
    study_result = tabulated(make_study(vary), fast, lambda own, p: {"twist_deg": 0.3 * p}, ends)
    study_result.save(tmp_path)
    (tmp_path / "trust").mkdir()
    for name in ("corrected.npz", "corrected.png"):
        (tmp_path / "trust" / name).write_text("old", encoding="utf-8")
    run = CliRunner().invoke(app, ["trust", str(tmp_path), "--tolerance", TWIST])
    assert run.exit_code == 0, run.output
    told = " ".join(run.output.split())
    assert said in told and "no corrected fast model" in told
    written = {file.name for file in (tmp_path / "trust").iterdir()}
    drawn = set() if vary == [SLACK] else {"trust.png"}
    assert written == {"trust.csv", "rules.csv", "trust.json"} | drawn
    facts = json.loads((tmp_path / "trust" / "trust.json").read_text(encoding="utf-8"))
    assert facts["corrected"] is None and "unlike curve" in facts["no_corrected_model"]
    assert facts["rules"]


def test_the_command_tells_what_cannot_be_used(corrected, tmp_path):
    study_result, _ = corrected
    study_result.save(tmp_path)
    run = CliRunner().invoke(app, ["trust", str(tmp_path), "--tolerance", "turn 2 deg"])
    assert run.exit_code == 2
    assert "allowed: twist, displacement, bulge" in run.output
    run = CliRunner().invoke(app, ["trust", str(tmp_path / "none"), "--tolerance", "twist 2 deg"])
    assert run.exit_code == 2
