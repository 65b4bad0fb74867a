"""The command `validate`: files and exit code."""

import pandas
from typer.testing import CliRunner

from fem.cli import app
from fem.cli.app import UNUSABLE
from tests.helpers.messages import assert_states
from validation.suite import SuiteResult


def test_command_writes_table_page_and_full_list(tmp_path):
    csv = tmp_path / "values.csv"
    command = ["validate", "ogden_1972", "--workers", "1", "--out", str(tmp_path / "out")]
    done = CliRunner().invoke(app, [*command, "--csv", str(csv)])
    assert done.exit_code == 0, done.output
    assert sorted(file.name for file in (tmp_path / "out").iterdir()) == [
        "table.md",
        "validation.html",
    ]
    values = pandas.read_csv(csv)
    assert set(values.chapter) == {"ogden_1972"} and values.passed.all()
    assert {"kind", "expected", "fast", "tolerance.fast", "mesh"} <= set(values)


def test_file_of_values_is_checked_before_the_run(tmp_path, monkeypatch):
    monkeypatch.setattr("validation.run.run", None)
    (tmp_path / "file").touch()
    for csv in (tmp_path, tmp_path / "file" / "values.csv"):
        command = ["validate", "helix", "--out", str(tmp_path / "out"), "--csv", str(csv)]
        done = CliRunner().invoke(app, command)
        assert done.exit_code == UNUSABLE
        assert_states(done.stderr, str(tmp_path))


def test_interruption_before_the_first_check_writes_nothing(tmp_path, monkeypatch):
    monkeypatch.setattr("validation.run.run", lambda *_, **__: SuiteResult([], interrupted=True))
    done = CliRunner().invoke(app, ["validate", "helix", "--out", str(tmp_path)])
    assert done.exit_code == 130
    assert not list(tmp_path.iterdir())


def test_unknown_chapter_is_refused(tmp_path):
    done = CliRunner().invoke(app, ["validate", "no_such", "--out", str(tmp_path)])
    assert done.exit_code != 0
    assert not list(tmp_path.iterdir())
