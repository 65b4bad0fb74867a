"""Bench files: what their columns mean, and that all faults are told with their lines."""

import math

import numpy as np
import pandas
import pytest

from fem.case.case import Case
from fem.core.errors import InputError
from fem.measurements.bench import read_bench
from fem.study.plan import Study
from tests.helpers.compared import CASES, make_bench, make_study, setting, truth

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
    """Return a function that returns why a bench file is refused, by lines."""

    def refuse(text, **options):
        with pytest.raises(InputError) as refusal:
            read(text, **options)
        path = tmp_path / "bench.csv"
        lines = str(refusal.value).split("\n")
        assert all(line.startswith(f"{path}: ") for line in lines)
        return [line.removeprefix(f"{path}: ") for line in lines]

    return refuse


# ----------------------------------------------------------------------------------- what is read


def test_settings_become_the_cases_of_the_study(tmp_path):
    bench, study = make_bench(tmp_path, truth()), make_study()
    expected = {study.case_of(setting(20, -25, rule)).key for rule in ("taken up", "cut at 30 deg")}
    found = bench.table[(bench.table["angle_deg.A"] == 20) & (bench.table["angle_deg.B"] == -25)]
    assert set(found.case) == expected
    assert bench.cases[found.case.iloc[0]].threads[0].slack.percent is None
    assert bench.rules == ["slack"]
    assert bench.settings == ["angle_deg.A", "angle_deg.B", "slack"]
    assert [measure.name for measure in bench.measures] == ["twist", "displacement"]
    assert bench.notes == ["invented"]


def test_order_of_columns_and_extra_ones_change_nothing(read):
    plain = read(HEAD + GOOD)
    other = read(
        "remark,twist.std [deg],pressure [kPa],slack,angle.B [deg],twist [deg],twits,"
        "angle.A [deg]\n"
        "fine,1,15,taken up,-30,10,7,20\n"
    )
    columns = list(plain.table)
    pandas.testing.assert_frame_equal(plain.table, other.table[columns])
    assert [(extra.name, extra.hint) for extra in other.extras] == [
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
    assert bench.rules == ["hold", "slack.B", "end_axial"]


def test_a_ring_turn_takes_the_place_of_the_angle(read, base):
    (case,) = read("ring_turn.A [deg],pressure [kPa],twist [deg]\n190,5,1\n").cases.values()
    tangent = base.tube.outer_radius * np.radians(190) / base.tube.length
    assert np.tan(case.threads[0].angle) == pytest.approx(tangent, rel=1e-12)


def test_repeats_are_told_apart(read):
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


def test_comments_may_stand_anywhere(read):
    bench = read(
        "# above\n\n# between\n" + HEAD.replace("\n", ",remark\n") + "# below\n"
        '20,-30,taken up,5,1,1,"over\n# two lines"\n# one,"a quote\n20,-30,taken up,6,1,1,-\n# end'
    )
    assert list(bench.table.line) == [6, 9]
    assert bench.notes == ["above"]


def test_a_byte_order_mark_is_no_part_of_the_first_column(read):
    assert read("\ufeff" + HEAD + GOOD).settings == ["angle_deg.A", "angle_deg.B", "slack"]


def test_the_shipped_file_is_read_and_says_that_it_is_invented():
    study = Study.load(CASES / "greenhouse_wrist.study.toml")
    bench = read_bench(CASES / "greenhouse_wrist.bench.csv", study.base)
    assert bench.notes[0].startswith("Invented")
    assert len(bench.cases) >= 25
    planned = {study.case_of(each).key for each in study.settings}
    assert 0 < len(set(bench.cases) - planned) < 8, "a few lie off the grid of the study"
    assert set(bench.table.slack) == {"taken up", "cut at 30 deg"}
    assert (bench.table["twist_deg.std"] == 1).all()


# -------------------------------------------------------------------------------- what is refused


def test_every_fault_is_told_with_its_line(refuse):
    told = refuse(
        "# note\n" + HEAD + "20,-30,taken up,15,10,1\n"
        "20,-30,taken up,15,11,1\n"
        "20,,taken up,15,10,1\n"
        "20,-30,taken up,nan,10,-1\n"
        "95,-30,taken up,10,10,1\n"
        "20,-30,taken,10,10,1\n"
        "20,-30,taken up,10,10\n"
        "20,-30,taken up,1e999,1.0.0,0\n"
    )
    assert [line.partition(":")[0] for line in told] == [
        *("line 4", "line 5", "line 6", "line 6", "line 7", "line 8", "line 9"),
        *("line 10", "line 10", "line 10"),
    ]
    for line, words in zip(
        told,
        [
            "the same setting and pressure as line 3",
            "angle.B [deg]: this cell is empty",
            'pressure [kPa] = "nan": this is no number',
            'twist.std [deg] = "-1": a standard deviation must be greater than 0',
            'threads[1].angle = "95 deg": it must be less than 90 deg',
            'threads[1].slack = "taken": write "taken up"',
            "5 cells; the header has 6",
            'pressure [kPa] = "1e999": this is no number',
            'twist [deg] = "1.0.0": this is no number',
            'twist.std [deg] = "0": a standard deviation',
        ],
        strict=True,
    ):
        assert words in line


def test_the_same_setting_in_other_words_is_a_duplicate(refuse):
    (told,) = refuse(HEAD + GOOD + "20.0,-3e1, taken   up ,15.0000000001,3,1\n")
    assert told.startswith("line 3: the same setting and pressure as line 2")


def test_one_fault_of_many_lines_is_told_once(refuse):
    (told,) = refuse(HEAD + "".join(f"20,-30,loose,{p},1,1\n" for p in range(1, 8)))
    assert told.startswith('lines 2, 3, 4, 5 and 3 more: threads[1].slack = "loose"')


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("pressure,twist [deg]", 'column "pressure": this is a pressure or stress: put its unit'),
        ("pressure [mm],twist [deg]", 'column "pressure [mm]": this is a pressure'),
        ("pressure [kPa],twist", 'column "twist": this is an angle: put its unit in brackets'),
        ("pressure [kPa],twist [%]", 'column "twist [%]": this is an angle'),
        ("pressure [kPa],twist [deg],twist.std", 'column "twist.std": this is an angle'),
        ("pressure [kPa],twist [deg],angle.A", "put its unit in brackets, as in angle.A [deg]"),
        ("pressure [kPa],twist [deg],angle.A [mm]", "as in angle.A [deg]"),
        ("pressure [kPa],twist [deg],angle.A [%]", '"%" is no unit'),
        ("pressure [kPa],twist [deg],slack [mm]", "this has no unit: take the brackets away"),
        ("pressure [kPa],twist [deg],angle.C [deg]", 'no family "C"; families: A, B'),
        ("pressure [kPa],twist [deg],threads.C.angle [deg]", 'the case has no family "C"'),
        ("pressure [kPa],tension.C [N]", 'no family "C"; families: A, B'),
        ("pressure [kPa],tension [N]", "name the family, as in tension.A"),
        ("pressure [kPa],twist [rad],twist [deg]", 'the column "twist [rad]" gives the same'),
        ("pressure [kPa],twist [deg],slack,slack.A", 'the column "slack" gives the same'),
        ("pressure [kPa],twist [deg", "write a name and, in brackets, its unit"),
        ("twist [deg],slack", 'the column "pressure [kPa]" is missing'),
        ("pressure [kPa],angle.A [deg]", "nothing is measured; a column to one of these is due"),
        ("pressure [kPa],twist [deg],bulge.std [mm]", '"bulge.std" is there, but not "bulge"'),
        ("pressure [kPa];twist [deg]", "put commas between the columns"),
    ],
)
def test_a_faulty_header_is_told(refuse, head, words):
    told = refuse(f"{head}\n" + ",".join("1" * (head.count(",") + 1)) + "\n")
    assert any(line.startswith("line 1: ") and words in line for line in told)


def test_faults_of_header_and_rows_are_told_together(refuse):
    told = refuse("pressure [kPa],twist\n1,2,3\nx,1\n")
    assert [line.partition(":")[0] for line in told] == ["line 1", "line 2", "line 3"]


def test_a_field_that_there_is_not_is_told_of_all_lines(refuse):
    (told,) = refuse("tube.lenght [mm],pressure [kPa],twist [deg]\n60,1,1\n60,2,1\n")
    assert told.startswith("lines 2, 3: tube.lenght: unknown key; allowed here: bore_radius")


def test_threads_need_a_case_that_has_some(refuse, cases_folder):
    bare = Case.load(cases_folder / "greenhouse_wrist.toml").changed(threads=[])
    (told,) = refuse("slack,pressure [kPa],twist [deg]\ntaken up,1,1\n", case=bare)
    assert "the case has no threads" in told


@pytest.mark.parametrize("text", ["", "# only a comment\n", HEAD])
def test_a_file_without_measurements_is_refused(refuse, text):
    assert refuse(text) == ["a header and at least one measurement are due"]


def test_files_that_are_none_are_refused(tmp_path, base, refuse):
    assert refuse('pressure [kPa],twist [deg]\n"1,2\n')[0].startswith("line 2: not valid CSV")
    with pytest.raises(InputError, match="cannot be read"):
        read_bench(tmp_path / "none.csv", base)
    (tmp_path / "latin.csv").write_bytes("Drehung [°]\n".encode("latin-1"))
    with pytest.raises(InputError, match="not a text file in UTF-8"):
        read_bench(tmp_path / "latin.csv", base)
