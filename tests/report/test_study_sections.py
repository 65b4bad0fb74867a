"""The sections on comparison and trust, checked against the objects that wrote their files."""

import json
import shutil

import pytest
from matplotlib.figure import Figure

from fem.compare.comparison import compare_with_bench
from fem.core.errors import InputError
from fem.measurements.bench import read_bench
from fem.report.study_sections import COMPARE, TRUST, comparison, trust
from fem.trust import Trust
from fem.wording.comparison import diagnosis_lines
from tests.helpers.compared import fast_rows, make_study, make_study_result, write_bench
from tests.helpers.messages import assert_states, refused
from tests.helpers.trust_toys import tabulated, two_angles


@pytest.fixture(scope="module")
def compared(tmp_path_factory):
    """Return a folder with a comparison in it, and the comparison."""
    folder = tmp_path_factory.mktemp("bench")
    file = write_bench(folder / "wrist.bench.csv", fast_rows(left=1.5), seed=4)
    found = compare_with_bench(make_study_result(), read_bench(file, make_study().base))
    found.save(folder / COMPARE)
    Figure(figsize=(3, 2)).savefig(folder / COMPARE / "compare_twist.png", dpi=200)
    return folder, found


@pytest.fixture
def trusted(tmp_path):
    """Return a folder with the files of trust in it, its study, and the analysis."""

    def fast(own, pressure):
        return {"twist_deg": pressure, "displacement_mm": 0.1 * pressure, "bulge_mm": 0.1}

    def difference(own, pressure):
        return {"twist_deg": abs(own["angle_deg.A"]) / 10}

    study_result = tabulated(two_angles(5), fast, difference)
    found = Trust.of(study_result, "twist 2 deg")
    (tmp_path / TRUST).mkdir()
    found.save(tmp_path / TRUST)
    return tmp_path, study_result, found


def test_the_section_of_a_comparison_has_its_notes_and_values(compared):
    folder, found = compared
    section = comparison(folder, make_study_result())
    assert_states(section.notes[0], "64 measurements", " 8 settings", "wrist.bench.csv")
    assert section.notes[-1] in {*diagnosis_lines(found.diagnosis, found.bench)}
    assert {*diagnosis_lines(found.diagnosis, found.bench)} <= {*section.notes}
    (table,) = section.tables
    assert [row[2] for row in table.rows] == 2 * ["all", "taken up", "cut at 30 deg"]
    first = found.summary.iloc[0]
    assert table.rows[0][:4] == ["twist [deg]", "fast", "all", str(first.points)]
    assert float(table.rows[0][5]) == pytest.approx(first.rms_error, rel=5e-3)
    (picture,) = section.pictures
    assert picture.caption.endswith(": twist") and (picture.width, picture.ratio) == (288, 1.5)


def test_one_measurement_is_in_the_singular(compared, tmp_path):
    shutil.copytree(compared[0] / COMPARE, tmp_path / COMPARE)
    file = tmp_path / COMPARE / "compare.json"
    record = json.loads(file.read_text()) | {"measurements": 1, "settings": 1}
    file.write_text(json.dumps(record))
    section = comparison(tmp_path, make_study_result())
    assert_states(section.notes[0], "1 measurement ", "1 setting:")


def test_the_section_of_trust_has_its_rules_and_errors(trusted):
    folder, study_result, found = trusted
    section = trust(folder, study_result)
    assert section.notes[0].endswith(": twist 2 deg.")
    rules = section.tables[0]
    assert [row[0] for row in rules.rows] == [
        rule.sentence.replace("<=", "≤").replace(">=", "≥") for rule in found.rules
    ]
    assert [row[1] for row in rules.rows] == [str(rule.points) for rule in found.rules]
    if found.model:
        errors = found.model.facts["errors"]["twist_deg"]
        assert float(section.tables[1].rows[0][1]) == pytest.approx(errors["rms_before"], rel=5e-3)
    else:
        assert found.no_model_reason in section.notes[1]


def test_without_its_folder_there_is_no_section(tmp_path):
    assert comparison(tmp_path, make_study_result()) is None
    assert trust(tmp_path, make_study_result()) is None


def test_a_folder_of_another_study_is_named_and_not_shown(compared, trusted):
    folder, study_result, _ = trusted
    for section, name in (
        (comparison(compared[0], study_result), COMPARE),
        (trust(folder, make_study_result()), TRUST),
    ):
        assert_states(*section.notes, name)
        assert not section.tables and not section.pictures


def test_damaged_files_are_named(trusted):
    folder, study_result, _ = trusted
    (folder / TRUST / "trust.png").write_text("no picture", encoding="utf-8")
    with refused(InputError, str(folder / TRUST), "trust.png"):
        trust(folder, study_result)
    (folder / TRUST / "rules.csv").unlink()
    with refused(InputError, str(folder / TRUST), "rules.csv"):
        trust(folder, study_result)
    hash = study_result.study.hash
    for text in ("{", json.dumps([1]), json.dumps({"study_hash": hash, "tolerances": 3})):
        (folder / TRUST / "trust.json").write_text(text, encoding="utf-8")
        with refused(InputError, str(folder / TRUST)):
            trust(folder, study_result)
