"""The command `validate`: files and exit code."""

import pandas
from typer.testing import CliRunner

from fem.cli import app


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


def test_unknown_chapter_is_refused(tmp_path):
    done = CliRunner().invoke(app, ["validate", "no_such", "--out", str(tmp_path)])
    assert done.exit_code != 0
    assert not list(tmp_path.iterdir())
