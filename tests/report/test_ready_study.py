"""The ready study, from its file to its report by the commands of the README."""

import subprocess
import sys
from pathlib import Path

import pytest

from fem.report.page import MAX_BYTES
from fem.report.study_tables import counts_table
from fem.report.write import NAME
from fem.study.study_result import StudyResult
from fem.wording.run_sections import NAMES
from tests.helpers.pages import read

COMMAND = Path(sys.executable).with_name("tubewright")


@pytest.mark.slow
def test_the_ready_study_has_its_report(cases_folder, tmp_path):
    for arguments in (
        ["study", cases_folder / "small_reach.study.toml", "--out", tmp_path, "--no-pictures"],
        ["report", tmp_path],
    ):
        done = subprocess.run([COMMAND, *arguments], capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
    text = (tmp_path / NAME).read_text(encoding="utf-8")
    assert len(text.encode()) < MAX_BYTES
    root, study_result = read(text), StudyResult.load(tmp_path)
    tables = root.tables()
    counts = tables[counts_table(study_result).caption]
    assert [row[1] for row in counts] == ["25", "25"]
    for model, name in NAMES.items():
        rows = study_result.of(model)
        last = rows[rows.pressure_kPa == 15.0]
        shown = {row[0]: row[1:] for row in tables[f"{name} at 15 kPa"]}
        for title, column in (("twist [deg]", "twist_deg"), ("bulge [mm]", "bulge_mm")):
            least, _, _, greatest, *_ = (cell.replace("−", "-") for cell in shown[title])
            assert float(least) == pytest.approx(last[column].min(), rel=1e-3)
            assert float(greatest) == pytest.approx(last[column].max(), rel=1e-3)
    assert len(root.one("section", id="pictures").all("figcaption")) >= 9
