"""Bench files: meaning of columns, and messages with the lines of all errors."""

import math

import numpy as np
import pandas
import pytest

from fem.case.case import Case
from fem.core.errors import InputError
from fem.measurements.bench import read_bench
from fem.study.plan import Study
from tests.helpers.compared import CASES, fast_rows, make_bench, make_study, setting
from tests.helpers.messages import assert_states, refused

GOOD = "20,-30,taken up,15,10,1\n"
HEAD = "angle.A [deg],angle.B [deg],slack,pressure [kPa],twist [deg],twist.std [deg]\n"


@pytest.fixture(scope="module")
def base():
    return make_study().base


@pytest.fixture
def read(tmp_path, base):
    """Return a function that reads the text of a bench file."""

    def read(text, case=base):
        path = tmp_path / "bench.csv"
        path.write_text(text, encoding="utf-8")
        return read_bench(path, case)

    return read


@pytest.fixture
def refuse(read, tmp_path):
    """Return a function that returns the messages for a refused bench file."""

    def refuse(text, **options):
        with pytest.raises(InputError) as refusal:
            read(text, **options)
        path = tmp_path / "bench.csv"
        lines = str(refusal.value).split("\n")
        assert all(line.startswith(f"{path}: ") for line in lines)
        return [line.removeprefix(f"{path}: ") for line in lines]

    return refuse


# ------------------------------------------------------------------------------------ valid files


def test_settings_become_the_cases_of_the_study(tmp_path):
    bench, study = make_bench(tmp_path, fast_rows()), make_study()
    expected = {study.case_of(setting(20, -25, rule)).key for rule in ("taken up", "cut at 30 deg")}
    found = bench.table[(bench.table["angle_deg.A"] == 20) & (bench.table["angle_deg.B"] == -25)]
    assert set(found.case) == expected
    assert bench.cases[found.case.iloc[0]].threads[0].slack.percent is None
    assert bench.text_settings == ["slack"]
    assert bench.settings == ["angle_deg.A", "angle_deg.B", "slack"]
    assert [measure.name for measure in bench.measures] == ["twist", "displacement"]
    assert bench.notes == ["invented"]


def test_order_of_columns_and_unused_ones_do_not_matter(read):
    plain = read(HEAD + GOOD)
    other = read(
        "remark,twist.std [deg],pressure [kPa],slack,angle.B [deg],twist [deg],twits,"
        "angle.A [deg]\n"
        "fine,1,15,taken up,-30,10,7,20\n"
    )
    columns = list(plain.table)
    pandas.testing.assert_frame_equal(plain.table, other.table[columns])
    assert [(column.name, column.hint) for column in other.unused] == [
        ("remark", ""),
        ("twits", "twist"),
    ]
    assert plain.hash != other.hash


def test_units_are_converted(read):
    """By definition 1 bar is 100 kPa and 1 inch 25.4 mm (from memory)."""
    bench = read(
        "angle.A [rad],tube.length [cm],pressure [bar],twist [turn],displacement [inch],"
        "displacement.std [um],tension.A [cN]\n"
        f"{math.radians(20)},7,0.15,0.25,-0.1,80,12\n"
    )
    (row,) = bench.table.to_dict("records")
    expected = {
        "pressure_kPa": 15,
        "twist_deg": 90,
        "displacement_mm": -2.54,
        "displacement_mm.std": 0.08,
        "tension_N.A": 0.12,
        "angle_deg.A": 20,
        "tube_length_mm": 70,
    }
    for name, value in expected.items():
        assert row[name] == pytest.approx(value, rel=1e-12), name
    (case,) = bench.cases.values()
    assert case.tube.length == 70


def test_any_field_of_the_case_may_be_set(read, base):
    bench = read(
        "threads.A.angle [deg],hold,count.B,rubber.shear_modulus [MPa],slack.B,end.axial,"
        "pressure [kPa],end_force [N]\n"
        "10,sliding,9,0.07,3 %,held,5,1\n"
    )
    (case,) = bench.cases.values()
    expected = base.changed(
        threads__0__angle="10 deg",
        threads__0__hold="sliding",
        threads__1__hold="sliding",
        threads__1__count=9,
        threads__1__slack="3 %",
        rubber__shear_modulus="70 kPa",
        end__axial="held",
    )
    assert case.key == expected.key
    assert bench.text_settings == ["hold", "slack.B", "end_axial"]


def test_a_ring_turn_replaces_the_angle(read, base):
    (case,) = read("ring_turn.A [deg],pressure [kPa],twist [deg]\n190,5,1\n").cases.values()
    tangent = base.tube.outer_radius * np.radians(190) / base.tube.length
    assert np.tan(case.threads[0].angle) == pytest.approx(tangent, rel=1e-12)


def test_repeats_are_distinguished(read):
    head, row = HEAD.replace("\n", ",repeat\n"), GOOD.rstrip()
    bench = read(f"{head}{row},1\n{row},2\n")
    assert list(bench.table.repeat) == ["1", "2"]
    assert len(bench.cases) == 1


def test_line_numbers_count_comments_blank_lines_and_quoted_breaks(read):
    bench = read(
        '# one\n# two, with a " in it\n' + HEAD.replace("\n", ",remark\n") + "\n"
        '20,-30,taken up,5,1,1,"over\ntwo lines"\n20,-30,taken up,6,1,1,-\n'
    )
    assert list(bench.table.line) == [5, 7]
    assert bench.notes == ["one", 'two, with a " in it']


def test_comments_are_allowed_anywhere(read):
    bench = read(
        "# above\n\n# between\n" + HEAD.replace("\n", ",remark\n") + "# below\n"
        '20,-30,taken up,5,1,1,"over\n# two lines"\n# one,"a quote\n20,-30,taken up,6,1,1,-\n# end'
    )
    assert list(bench.table.line) == [6, 9]
    assert bench.notes == ["above"]


def test_a_byte_order_mark_is_not_part_of_the_first_column(read):
    assert read("\ufeff" + HEAD + GOOD).settings == ["angle_deg.A", "angle_deg.B", "slack"]


def test_the_shipped_file_is_read_and_states_that_it_is_invented():
    study = Study.load(CASES / "greenhouse_wrist.study.toml")
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study.base)
    assert bench.notes[0].startswith("Invented")
    assert len(bench.cases) >= 25
    planned = {study.case_of(each).key for each in study.settings}
    assert 0 < len(set(bench.cases) - planned) < 8, "not in the study"
    assert set(bench.table.slack) == {"taken up", "cut at 30 deg"}
    assert (bench.table["twist_deg.std"] == 1).all()


# ---------------------------------------------------------------------------------- refused files


def test_every_error_is_reported_with_its_line(refuse):
    messages = refuse(
        "# note\n" + HEAD + "20,-30,taken up,15,10,1\n"
        "20,-30,taken up,15,11,1\n"
        "20,,taken up,15,10,1\n"
        "20,-30,taken up,nan,10,-1\n"
        "95,-30,taken up,10,10,1\n"
        "20,-30,taken,10,10,1\n"
        "20,-30,taken up,10,10\n"
        "20,-30,taken up,1e999,1.0.0,0\n"
    )
    assert [line.partition(":")[0] for line in messages] == [
        *("line 4", "line 5", "line 6", "line 6", "line 7", "line 8", "line 9"),
        *("line 10", "line 10", "line 10"),
    ]
    for line, facts in zip(
        messages,
        [
            ["line 3", "repeat"],
            ["angle.B [deg]", "empty"],
            ['pressure [kPa] = "nan"', "number"],
            ['twist.std [deg] = "-1"', "greater than 0"],
            ['threads[1].angle = "95 deg"', "less than 90 deg"],
            ['threads[1].slack = "taken"', '"taken up"'],
            ["5 cells", "6"],
            ['pressure [kPa] = "1e999"', "number"],
            ['twist [deg] = "1.0.0"', "number"],
            ['twist.std [deg] = "0"', "greater than 0"],
        ],
        strict=True,
    ):
        assert_states(line.partition(": ")[2], *facts)


def test_the_same_setting_in_other_units_is_a_duplicate(refuse):
    (message,) = refuse(HEAD + GOOD + "20.0,-3e1, taken   up ,15.0000000001,3,1\n")
    assert message.startswith("line 3: ")
    assert_states(message, "line 2", "repeat")


def test_one_error_of_many_lines_is_reported_once(refuse):
    (message,) = refuse(HEAD + "".join(f"20,-30,loose,{p},1,1\n" for p in range(1, 8)))
    assert message.startswith('lines 2, 3, 4, 5 and 3 more: threads[1].slack = "loose"')


@pytest.mark.parametrize(
    ("head", "facts"),
    [
        ("pressure,twist [deg]", ['column "pressure"', "pressure [kPa]"]),
        ("pressure [mm],twist [deg]", ['column "pressure [mm]"', "pressure [kPa]"]),
        ("pressure [kPa],twist", ['column "twist"', "an angle", "twist [deg]"]),
        ("pressure [kPa],twist [%]", ['column "twist [%]"', "an angle", "twist [deg]"]),
        ("pressure [kPa],twist [deg],twist.std", ['column "twist.std"', "twist.std [deg]"]),
        ("pressure [kPa],twist [deg],angle.A", ['column "angle.A"', "angle.A [deg]"]),
        ("pressure [kPa],twist [deg],angle.A [mm]", ['column "angle.A [mm]"', "angle.A [deg]"]),
        ("pressure [kPa],twist [deg],angle.A [%]", ['column "angle.A [%]"', '"%"', "unit"]),
        ("pressure [kPa],twist [deg],slack [mm]", ['column "slack [mm]"', "no unit"]),
        ("pressure [kPa],twist [deg],angle.C [deg]", ['"C"', "A, B"]),
        ("pressure [kPa],twist [deg],threads.C.angle [deg]", ['"C"', "A, B"]),
        ("pressure [kPa],tension.C [N]", ['"C"', "A, B"]),
        ("pressure [kPa],tension [N]", ['column "tension [N]"', "tension.A"]),
        ("pressure [kPa],twist [rad],twist [deg]", ['column "twist [deg]"', '"twist [rad]"']),
        ("pressure [kPa],twist [deg],slack,slack.A", ['column "slack.A"', '"slack"']),
        ("pressure [kPa],twist [deg", ['column "twist [deg"', '"twist [deg]"']),
        ("twist [deg],slack", ['column "pressure [kPa]"', "missing"]),
        ("pressure [kPa],angle.A [deg]", ["required", "twist, displacement"]),
        ("pressure [kPa],twist [deg],bulge.std [mm]", ['"bulge.std"', '"bulge"']),
        ("pressure [kPa];twist [deg]", ["commas"]),
    ],
)
def test_an_error_in_the_header_is_reported(refuse, head, facts):
    messages = refuse(f"{head}\n" + ",".join("1" * (head.count(",") + 1)) + "\n")
    assert any(
        line.startswith("line 1: ") and all(fact in line for fact in facts) for line in messages
    ), messages


def test_errors_of_header_and_rows_are_reported_together(refuse):
    messages = refuse("pressure [kPa],twist\n1,2,3\nx,1\n")
    assert [line.partition(":")[0] for line in messages] == ["line 1", "line 2", "line 3"]


def test_an_unknown_field_is_reported_with_all_its_lines(refuse):
    (message,) = refuse("tube.lenght [mm],pressure [kPa],twist [deg]\n60,1,1\n60,2,1\n")
    assert message.startswith("lines 2, 3: tube.lenght: ")
    assert_states(message, "bore_radius, wall, length")


def test_thread_columns_need_a_case_with_threads(refuse, cases_folder):
    bare = Case.load(cases_folder / "greenhouse_wrist.toml").changed(threads=[])
    (message,) = refuse("slack,pressure [kPa],twist [deg]\ntaken up,1,1\n", case=bare)
    assert_states(message, 'column "slack"', "no threads")


@pytest.mark.parametrize("text", ["", "# only a comment\n", HEAD])
def test_a_file_without_measurements_is_refused(refuse, text):
    (message,) = refuse(text)
    assert_states(message, "header", "measurement")


def test_missing_or_unreadable_files_are_refused(tmp_path, base, refuse):
    assert refuse('pressure [kPa],twist [deg]\n"1,2\n')[0].startswith("line 2: not valid CSV")
    with refused(InputError, "none.csv", "cannot be read"):
        read_bench(tmp_path / "none.csv", base)
    (tmp_path / "latin.csv").write_bytes("Drehung [°]\n".encode("latin-1"))
    with refused(InputError, "latin.csv", "UTF-8"):
        read_bench(tmp_path / "latin.csv", base)
