"""A comparison with measurements: files, pictures, terminal, sentences, the command."""

import csv
import hashlib
import json
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pandas
import pytest
from scipy.stats import norm

from fem.cli.print_agreement import print_comparison
from fem.compare.causes import Cause
from fem.compare.comparison import compare_with_bench
from fem.compare.fit import Fit, Scope
from fem.measurements.bench import read_bench
from fem.plots.comparison import comparison_figure, save_pictures
from fem.plots.style import STYLES
from fem.wording.comparison import cause_text, diagnosis_lines
from tests.helpers.compared import fast_rows, make_study, make_study_result, write_bench
from tests.helpers.messages import assert_states
from tests.helpers.pictures import check_lettering, legend, words

COMMAND = Path(sys.executable).with_name("tubewright")


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench")
    return write_bench(folder / "wrist.bench.csv", fast_rows(left=1.5), seed=4)


def compared(file):
    return compare_with_bench(make_study_result(), read_bench(file, make_study().base))


@pytest.fixture(scope="module")
def comparison(file):
    return compared(file)


@pytest.fixture
def printed(comparison, tmp_path, capsys):
    print_comparison(comparison, comparison.save(tmp_path))
    return capsys.readouterr().out


def fit(cause, size, plus_minus=0.1, **changes):
    given = {"scope": Scope(), "at_bound": False, "bic": 0.0, "explained": 0.9}
    return Fit(cause, **{**given, "amount": size, "plus_minus": plus_minus, "rms": {}, **changes})


# ------------------------------------------------------------------------------------------ files


def test_each_measurement_is_written_with_model_and_residual(comparison, tmp_path, file):
    comparison.save(tmp_path)
    with open(tmp_path / "compare.csv", newline="", encoding="utf-8") as opened:
        rows = list(csv.DictReader(opened))
    written = file.read_text(encoding="utf-8").splitlines()
    assert len(rows) == len(written) - 2
    for row in rows[::7]:
        cells = written[int(row["line"]) - 1].split(",")
        assert float(cells[4]) == pytest.approx(float(row["twist_deg"]))
        model, residual = (float(row[f"twist_deg.{name}"]) for name in ("model", "residual"))
        assert residual == pytest.approx(model - float(cells[4]))
        assert row["twist_deg.within"] == str(abs(residual) <= 1.96)
    table = pandas.read_csv(tmp_path / "summary.csv", keep_default_na=False)
    assert set(table.group) == {"all", "pressure_kPa", "slack"}


def test_files_name_their_study_and_measurements(comparison, tmp_path, file):
    comparison.save(tmp_path)
    text = (tmp_path / "compare.json").read_text(encoding="utf-8")
    found = json.loads(text)
    assert found["bench_hash"] == hashlib.sha256(file.read_bytes()).hexdigest()
    assert found["study_hash"] == make_study_result().study.hash
    assert found["bench"] == "wrist.bench.csv"
    assert str(file.parent) not in text
    assert found["models"] == {
        "fast": {"solved_settings": 0, "step": 56, "between": 8, "beyond": 0}
    }
    (named,) = found["diagnosis"]["named"]
    assert named["cause"] == {"kind": "slack", "unit": "%", "of": ""}
    assert named["amount"] == pytest.approx(1.5, abs=0.2)


# --------------------------------------------------------------------------------------- pictures


def plot(comparison, measure):
    return comparison_figure(comparison, measure).figure()


def points(axes, marker):
    (container,) = (c for c in axes.containers if c.lines[0].get_marker() == marker)
    return container.lines[0].get_xydata()


def test_pictures_show_each_point(comparison):
    (twist, _) = comparison.bench.measures
    figure = plot(comparison, twist)
    parity, residual = figure.axes
    rows = comparison.rows
    for marker, rule in (("o", "taken up"), ("^", "cut at 30 deg")):
        own = rows[rows.slack == rule]
        expected = own[["twist_deg", "twist_deg.model"]].to_numpy()
        assert points(parity, marker) == pytest.approx(expected)
        assert points(residual, marker)[:, 1] == pytest.approx(own["twist_deg.residual"].to_numpy())
        offset = points(residual, marker)[:, 0] - own["pressure_kPa"].to_numpy()
        assert np.ptp(offset) < 1e-12 and abs(offset[0]) < 0.2
    low, high = parity.get_xlim()
    assert (low, high) == parity.get_ylim()
    assert low < rows["twist_deg"].min() and high > rows["twist_deg"].max()


def test_the_band_is_drawn_to_scale(comparison):
    (_, displacement) = comparison.bench.measures
    _, residual = plot(comparison, displacement).axes
    (band,) = (patch for patch in residual.patches if patch.get_height() > 0)
    assert band.get_height() == pytest.approx(2 * norm.ppf(0.975) * 0.08)


def test_pictures_name_study_bench_models_and_units(comparison):
    figure = plot(comparison, comparison.bench.measures[1])
    bench, label = comparison.bench, "displacement [mm]"
    assert_states(words(figure), comparison.study.title, bench.name, *bench.notes, "64 points")
    parity, residual = figure.axes
    assert (parity.get_xlabel(), parity.get_ylabel()) == (
        f"measured: {label}",
        f"{STYLES['fast'].label}: {label}",
    )
    assert residual.get_xlabel() == "pressure [kPa]" and "[mm]" in residual.get_ylabel()
    labels = [text.get_text() for text in legend(figure).get_texts()]
    assert labels == [
        "slack: taken up",
        "slack: cut at 30 deg",
        "model = measurement",
        "95 % band of the measurement",
    ]


def with_both(comparison):
    """Return the comparison with an FE model whose values are 0.9 times those of the fast one."""
    rows = comparison.rows
    other = rows.assign(model="fe", **{"twist_deg.model": 0.9 * rows["twist_deg.model"]})
    summary = comparison.summary
    return replace(
        comparison,
        models=("fast", "fe"),
        rows=pandas.concat([rows, other], ignore_index=True),
        summary=pandas.concat([summary, summary.assign(model="fe")], ignore_index=True),
    )


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("title", [None, "Reach, invented, of a wrist, " * 6])
def test_lettering(comparison, both, title):
    chosen = with_both(comparison) if both else comparison
    if title:
        study = chosen.study
        study = study.restore(study.data | {"title": title}, study.base.data)
        chosen = replace(chosen, study=study)
    for measure in chosen.bench.measures:
        figure = plot(chosen, measure)
        assert len(figure.axes) == 2 * len(chosen.models)
        check_lettering(figure)


@pytest.mark.parametrize("both", [False, True])
@pytest.mark.parametrize("times", [1, 9])
def test_the_first_sentence_of_the_notes_is_complete(comparison, both, times):
    """A long sentence takes several lines; the next sentence is left out, not cut."""
    chosen = with_both(comparison) if both else comparison
    notes = [
        "Invented: of 7.5 parts",
        *(["many times, "] * 2 * times),
        "so far. Made by hand.",
    ]
    bench = replace(chosen.bench, notes=notes)
    figure = plot(replace(chosen, bench=bench), bench.measures[0])
    text = " ".join(words(figure).split())
    assert " ".join(" ".join(notes).removesuffix(" Made by hand.").split()) in text
    assert "Made by" not in text and "…" not in text
    check_lettering(figure)


def test_a_bench_without_rules_or_deviations_is_drawn(file, tmp_path):
    lines = file.read_text(encoding="utf-8").splitlines()
    kept = [line.split(",") for line in lines[1:] if "cut" not in line]
    plain = tmp_path / "plain.csv"
    plain.write_text(
        "\n".join(",".join([*cells[:2], *cells[3:5]]) for cells in kept), encoding="utf-8"
    )
    found = compared(plain)
    figure = plot(found, found.bench.measures[0])
    labels = [text.get_text() for text in legend(figure).get_texts()]
    assert labels == ["measurements", "model = measurement"]
    assert [path.name for path in save_pictures(found, tmp_path)] == ["compare_twist.png"]
    assert (tmp_path / "compare_twist.png").stat().st_size > 10_000
    check_lettering(figure)


def test_a_comparison_without_a_reached_point_is_drawn(file, tmp_path):
    lines = file.read_text(encoding="utf-8").splitlines()
    far = tmp_path / "far.csv"
    far.write_text("\n".join([*lines[:2], "20,-25,taken up,14,1,1,1,1"]), encoding="utf-8")
    found = compared(far)
    figure = plot(found, found.bench.measures[0])
    assert "no point reached" in words(figure)
    low, high = figure.axes[1].get_ylim()
    assert low == pytest.approx(-high)  # zero in the middle
    found.save(tmp_path)
    check_lettering(figure)


# ----------------------------------------------------------------------------- terminal, sentences


def test_the_terminal_lists_what_was_compared_and_found(printed, comparison):
    lines = printed.splitlines()
    title, counts, note = lines[:3]
    assert (title, note.strip()) == (comparison.study.title, comparison.bench.notes[0])
    assert_states(counts, comparison.bench.name, "64 measurements", "8 settings")
    together = " ".join(printed.split())
    assert_states(together, "8 settings from the study", "0 solved now")
    assert_states(together, "56 measurements at a step", "8 interpolated", "0 not reached")
    (row,) = (line for line in lines if re.match(r"twist \[deg\] +fast +cut at 30 deg", line))
    assert "32" in row.split()
    assert max(map(len, lines[:-1])) <= 100
    found = comparison.diagnosis
    assert_states(together, 'the rows with slack "taken up"', cause_text(found.supported[0]))
    assert_states(together, cause_text(found.next_best))


def test_one_measurement_is_in_the_singular(file, tmp_path, capsys):
    lines = file.read_text(encoding="utf-8").splitlines()
    single = tmp_path / "bench.csv"
    single.write_text("\n".join(lines[:3]), encoding="utf-8")
    print_comparison(compared(single), [])
    text = " ".join(capsys.readouterr().out.split())
    assert "bench.csv: 1 measurement of 1 setting " in text
    assert_states(text, "fast: 1 setting from", "1 measurement at a step,")


def test_unused_and_missing_columns_are_named(file, tmp_path, capsys):
    lines = file.read_text(encoding="utf-8").splitlines()
    changed = tmp_path / "bench.csv"
    rows = [",".join(line.split(",")[1:]) + ",7" for line in lines[2:]]
    head = ",".join(lines[1].split(",")[1:]) + ",displacment [mm]"
    changed.write_text("\n".join([head, *rows[:3]]), encoding="utf-8")
    print_comparison(compared(changed), [])
    text = capsys.readouterr().out
    assert_states(text, "displacment (did you mean displacement?)", "from the case: angle_deg.A")
    assert "fast: too few settings (1)" in text


def test_a_measurement_that_is_not_reached_is_named_with_the_reason(file, tmp_path, capsys):
    lines = file.read_text(encoding="utf-8").splitlines()
    far = tmp_path / "bench.csv"
    far.write_text("\n".join([*lines[:4], "20,-25,taken up,14,1,1,1,1"]), encoding="utf-8")
    print_comparison(compared(far), [])
    text = " ".join(capsys.readouterr().out.split())
    assert_states(text, "1 not reached", "not reached (fast): line 5, 14 kPa: ", "13 kPa")


@pytest.mark.parametrize(
    ("found", "text"),
    [
        (fit(Cause("slack", "%"), 1.494, 0.041), "1.49 ± 0.04 % more slack than stated"),
        (fit(Cause("slack", "%", "A"), -0.5), "0.50 ± 0.10 % less slack than stated in family A"),
        (fit(Cause("stiffness", "%"), 12.3, 3.0), "rubber 12 ± 3 % stiffer than stated"),
        (fit(Cause("angle", "deg"), -2.04, 0.3), "helix angles 2.0 ± 0.3 deg smaller than stated"),
        (fit(Cause("gauge", "kPa"), -0.3), "pressure 0.30 ± 0.10 kPa below the gauge reading"),
        (
            fit(Cause("scale", "%", "end_force"), 5.0, 3.0),
            "reading of end force 5 ± 3 % too high",
        ),
        (
            fit(Cause("zero", "mm", "displacement"), 0.77, 0.08),
            "zero of the displacement reading 0.77 ± 0.08 mm too high",
        ),
        (
            fit(Cause("stiffness", "%"), 30.0, 25.0, at_bound=True),
            "rubber at least 30 % stiffer than stated",
        ),
    ],
)
def test_the_text_of_a_cause_has_size_interval_and_direction(found, text):
    assert cause_text(found) == text


def test_causes_that_cannot_be_distinguished_are_named(comparison):
    found = comparison.diagnosis
    both = replace(found, supported=[*found.supported, fit(Cause("gauge", "kPa"), -0.3)])
    *_, line, _ = diagnosis_lines(both, comparison.bench)
    assert_states(line, "fast: ", cause_text(both.supported[-1]), "all rows")
    (line,) = diagnosis_lines(replace(found, supported=[]), comparison.bench)
    assert_states(line, "fast: ", "no single cause")


# ------------------------------------------------------------------------------------ the command


def run(*arguments):
    done = subprocess.run(
        [COMMAND, *map(str, arguments)], capture_output=True, text=True, check=False
    )
    assert "Traceback" not in done.stderr
    return done


def test_the_command_writes_its_folder(file, tmp_path):
    make_study_result().save(tmp_path)
    done = run("compare", tmp_path, file)
    assert done.returncode == 0, done.stderr
    assert {path.name for path in (tmp_path / "compare").iterdir()} == {
        *("compare.csv", "summary.csv", "compare.json"),
        *("compare_twist.png", "compare_displacement.png"),
    }
    assert "more slack than stated" in " ".join(done.stdout.split())


def test_pictures_of_an_earlier_comparison_are_removed(file, tmp_path):
    make_study_result().save(tmp_path)
    folder = tmp_path / "compare"
    folder.mkdir()
    for name in ("compare_tension_A.png", "compare_mine.png", "notes.txt"):
        (folder / name).write_bytes(b"")
    done = run("compare", tmp_path, file)
    assert done.returncode == 0, done.stderr
    assert done.stdout.splitlines()[-1] == (
        f"{folder}: compare.csv, compare.json, compare_displacement.png, compare_twist.png, "
        "summary.csv"
    )
    kept = {path.name for path in folder.iterdir()}
    assert "compare_tension_A.png" not in kept
    assert {"compare_mine.png", "notes.txt"} < kept


def test_the_command_refuses_what_it_cannot_use(file, tmp_path):
    done = run("compare", tmp_path, file)
    assert done.returncode == 2
    assert_states(done.stderr, str(tmp_path), "result", "study")
    make_study_result().save(tmp_path)
    faulty = tmp_path / "faulty.csv"
    faulty.write_text("pressure [kPa],twist\n1,2\nx,3\n", encoding="utf-8")
    done = run("compare", tmp_path, faulty)
    assert done.returncode == 2
    errors = [line for line in done.stderr.splitlines() if line.startswith("error: ")]
    assert [line.split(": ")[2] for line in errors] == ["line 1", "line 3"]
    assert not (tmp_path / "compare").exists()
