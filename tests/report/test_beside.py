"""What a report tells of the bench and of trust, held against the models that wrote the files."""

import json

import pytest
from matplotlib.figure import Figure

from fem.compare.comparison import compare
from fem.core.errors import InputError
from fem.measurements.bench import read_bench
from fem.report.beside import COMPARE, TRUST, comparison, trust
from fem.trust import Trust
from fem.wording.comparison import diagnosis_lines
from tests.helpers.compared import make_study, make_study_result, truth, write_bench
from tests.helpers.trust_toys import tabulated, two_angles


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    """Return a folder with a comparison in it, and the comparison."""
    folder = tmp_path_factory.mktemp("bench")
    file = write_bench(folder / "wrist.bench.csv", truth(left=1.5), seed=4)
    found = compare(make_study_result(), read_bench(file, make_study().base))
    found.save(folder / COMPARE)
    Figure(figsize=(3, 2)).savefig(folder / COMPARE / "compare_twist.png", dpi=200)
    return folder, found


@pytest.fixture
def judged(tmp_path):
    """Return a folder with a judgement of trust in it, its study, and the judgement."""

    def fast(own, pressure):
        return {"twist_deg": pressure, "displacement_mm": 0.1 * pressure, "bulge_mm": 0.1}

    def off(own, pressure):
        return {"twist_deg": abs(own["angle_deg.A"]) / 10}

    study_result = tabulated(two_angles(5), fast, off)
    found = Trust.of(study_result, "twist 2 deg")
    (tmp_path / TRUST).mkdir()
    found.save(tmp_path / TRUST)
    return tmp_path, study_result, found


def test_the_bench_is_told_as_the_comparison_tells_it(bench):
    folder, found = bench
    told = comparison(folder, make_study_result())
    assert told.said[0] == "64 measurements of 8 settings: wrist.bench.csv."
    assert told.said[-1] in {*diagnosis_lines(found.diagnosis, found.bench)}
    assert {*diagnosis_lines(found.diagnosis, found.bench)} <= {*told.said}
    (grid,) = told.grids
    assert [row[2] for row in grid.rows] == 2 * ["all", "taken up", "cut at 30 deg"]
    first = found.summary.iloc[0]
    assert grid.rows[0][:4] == ["twist [deg]", "fast", "all", str(first.points)]
    assert float(grid.rows[0][5]) == pytest.approx(first.rms_error, rel=5e-3)
    (picture,) = told.pictures
    assert picture.caption.endswith(": twist") and (picture.width, picture.ratio) == (288, 1.5)


def test_trust_is_told_as_it_was_judged(judged):
    folder, study_result, found = judged
    told = trust(folder, study_result)
    assert told.said[0].endswith("model: twist 2 deg.")
    rules = told.grids[0]
    assert [row[0] for row in rules.rows] == [
        rule.sentence.replace("<=", "≤").replace(">=", "≥") for rule in found.rules
    ]
    assert [row[1] for row in rules.rows] == [str(rule.points) for rule in found.rules]
    if found.model:
        errors = found.model.facts["errors"]["twist_deg"]
        assert float(told.grids[1].rows[0][1]) == pytest.approx(errors["rms_before"], rel=5e-3)
    else:
        assert found.lacking in told.said[1]


def test_what_is_not_there_is_not_told(tmp_path):
    assert comparison(tmp_path, make_study_result()) is None
    assert trust(tmp_path, make_study_result()) is None


def test_what_is_of_another_study_is_left_out(bench, judged):
    folder, study_result, _ = judged
    assert "is of another study" in comparison(bench[0], study_result).said[0]
    assert "is of another study" in trust(folder, make_study_result()).said[0]
    assert not comparison(bench[0], study_result).grids


def test_damaged_files_are_named(judged):
    folder, study_result, _ = judged
    (folder / TRUST / "trust.png").write_text("no picture", encoding="utf-8")
    with pytest.raises(InputError, match=r"as tubewright trust writes them: .*trust\.png"):
        trust(folder, study_result)
    (folder / TRUST / "rules.csv").unlink()
    with pytest.raises(InputError, match=r"as tubewright trust writes them: .*rules\.csv"):
        trust(folder, study_result)
    hash = study_result.study.hash
    for text in ("{", json.dumps([1]), json.dumps({"study_hash": hash, "tolerances": 3})):
        (folder / TRUST / "trust.json").write_text(text, encoding="utf-8")
        with pytest.raises(InputError, match="trust"):
            trust(folder, study_result)
