"""The table of quantities: an invented quantity appears wherever quantities are shown."""

import json

import numpy as np
import pytest
from matplotlib.text import Text

from fem.browser.pack import pack
from fem.compare.comparison import compare_with_bench
from fem.core.units import LENGTH
from fem.measurements.bench import read_bench
from fem.plots.study.figures import figures
from fem.quantities.column import ENDINGS, IF_BONDED, MESH_ERROR, find
from fem.quantities.quantity import QUANTITIES, Trait, entry
from fem.report.write import write_report
from fem.results.result import Result
from fem.scene.result_view import result_views
from fem.scene.still.readouts import readouts
from fem.solving.batch import solve_batch
from fem.solving.single import solve
from fem.trust import parse
from fem.trust.symmetry import Element
from fem.wording.tables import readout_columns
from tests.helpers.compared import make_study, solve_study
from tests.helpers.pages import read

COLUMN = "rim_arc_mm"
TRAITS = Trait.ODD | Trait.MEASURABLE | Trait.READOUT
MESH = "1x1x4"


@pytest.fixture(scope="module", autouse=True)
def made_up():
    """Add a quantity to the table: the arc of a point on the outer face at the free end."""

    @entry(
        "tube", kind=LENGTH, label="arc of the rim", section="tube", traits=TRAITS, picture="arc"
    )
    def rim_arc(tube):
        """Arc of a point of the rim at the free end."""
        return tube.twist * tube.radius

    yield rim_arc
    QUANTITIES.remove(rim_arc)


@pytest.fixture(scope="module")
def solved(made_up, make_case):
    """Return a case and its result by both models."""
    case = make_case(pressure__steps=2)
    return case, solve(case, resolution=MESH)


@pytest.fixture(scope="module")
def study_result(made_up):
    """Return a study of a few settings by the fast model."""
    angles = [{"field": "threads.A.angle", "values": ["20 deg", "10 deg", "0 deg"]}]
    return solve_study(make_study(vary=angles))


def arc(row, case):
    """Return the quantity from the twist of a row, by its definition (mm)."""
    return np.radians(row["twist_deg"]) * case.tube.outer_radius


def test_step_tables_of_both_models_have_it(solved):
    case, result = solved
    for row in result.rows:
        assert row[COLUMN] == pytest.approx(arc(row, case), rel=1e-12, abs=1e-12)
    (run,) = solve_batch([case])
    fast = result.runs[1].rows
    assert [row[COLUMN] for row in run.rows] == pytest.approx([row[COLUMN] for row in fast])


def test_it_is_read_from_a_folder(solved, tmp_path):
    _, result = solved
    result.save(tmp_path)
    rows = Result.load(tmp_path).rows
    assert [row[COLUMN] for row in rows] == [row[COLUMN] for row in result.rows]


def test_an_additional_solve_has_a_column_of_it(make_case):
    rubbing = make_case(threads__0__hold="sliding", threads__0__friction=0.3, pressure__steps=1)
    row = solve(rubbing, "fe", MESH, mesh_error=True).rows[-1]
    for ending, of in ((MESH_ERROR, abs), (IF_BONDED, float)):
        expected = np.radians(row[f"twist_deg.{ending}"]) * rubbing.tube.outer_radius
        assert of(row[f"{COLUMN}.{ending}"]) == pytest.approx(expected, rel=1e-9)
    assert {find(name).ending for name in row} == set(ENDINGS)
    for name in row:
        assert find(name).column == name
        assert Trait.SOLVER not in find(name).quantity.traits or not find(name).ending


def test_all_columns_of_a_result_are_in_the_table(solved):
    _, result = solved
    for run in result.runs:
        columns = [find(name) for name in run.rows[-1]]
        assert [measure.column for measure in columns] == [*run.rows[-1]]
        assert all(run.model in measure.quantity.models for measure in columns)


def test_each_quantity_is_defined():
    assert len({quantity.column for quantity in QUANTITIES}) == len(QUANTITIES)
    for quantity in QUANTITIES:
        assert quantity.definition.endswith("."), quantity.name


def test_study_has_a_picture_of_it(study_result):
    figure = dict(figures(study_result))["arc"].figure()
    assert "arc of the rim [mm]" in {text.get_text() for text in figure.findobj(Text)}


def test_it_may_be_measured(study_result, tmp_path):
    steps = study_result.of("fast")
    rows = steps[steps.pressure_kPa.isin([6.0, 12.0])]
    lines = [
        f"{row['angle_deg.A']},{row['pressure_kPa']},{row[COLUMN] / 10 + 0.05}"
        for row in rows.to_dict("records")
    ]
    file = tmp_path / "rim.bench.csv"
    head = "angle.A [deg],pressure [kPa],rim_arc [cm]"
    file.write_text("\n".join([head, *lines]) + "\n", encoding="utf-8")
    found = compare_with_bench(study_result, read_bench(file, study_result.study.base), ["fast"])
    table = found.summary
    (row,) = table[table.group == "all"].to_dict("records")
    assert (row["measure"], row["unit"]) == ("rim_arc", "mm")
    assert row["bias"] == pytest.approx(-0.5, rel=1e-6)


def test_tolerance_may_name_it_and_the_mirror_image_changes_its_sign(study_result):
    (tolerance,) = parse("rim_arc 0.1 cm", study_result)
    assert (tolerance.quantity.column, tolerance.limit) == (COLUMN, pytest.approx(1.0))
    assert str(tolerance) == "rim_arc 1 mm"
    assert Element((), mirrored=True).sign(COLUMN) == -1


def test_page_and_stills_display_it(solved):
    case, result = solved
    packed = pack(result_views(result), "Made up")
    head = json.loads(packed[4 : 4 + int.from_bytes(packed[:4], "little")])
    column = {"name": COLUMN, "title": "arc of the rim", "unit": "mm", "factor": 1.0, "digits": 3}
    assert column in head["columns"]
    assert head["views"][0]["steps"][-1]["row"][COLUMN] == result.rows[2][COLUMN]
    assert COLUMN in [measure.column for measure in readout_columns([case])]
    assert "arc of the rim [mm]" in [line.title for line in readouts(result_views(result))]


def test_the_report_has_it(solved, tmp_path):
    _, result = solved
    result.save(tmp_path)
    page = read(write_report(tmp_path).read_text(encoding="utf-8"))
    (table,) = [one for one in page.all("table") if "arc of the rim" in one.words]
    cells = [cell.words.replace("\N{MINUS SIGN}", "-") for cell in table.all("td")]
    assert f"{result.rows[2][COLUMN]:.3f}" in cells
