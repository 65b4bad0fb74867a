"""Drives, free end and move: their steps, and what does not go together."""

import math

import pytest

from fem.case.case import Case, CaseError
from fem.case.drive import Gas
from fem.case.free_end import FreeEnd, Move
from fem.continuation.load_steps import stages_of
from fem.solving.single import solve

PRESSURE = {"end": "15 kPa", "steps": 5}
VOLUME = {"added": "2 mL", "steps": 4}
GAS = {"mass": "1 mg", "steps": 2}
DRIVES = {"pressure": PRESSURE, "volume": VOLUME, "gas": GAS}


def why(make_case, **changes):
    """Return the line that says why the changed case is refused."""
    with pytest.raises(CaseError) as refusal:
        make_case(**changes)
    (line,) = str(refusal.value).split("\n")
    return line.removeprefix("case: ")


# --- the drive ------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("table", "key", "end"),
    [
        ("pressure", "end", 0.015),  # MPa
        ("volume", "added", 2000.0),  # mm3
        ("gas", "mass", 1e-9),  # tonne
    ],
)
def test_the_drive_is_the_table_that_is_given(make_case, table, key, end):
    case = make_case(**{table: DRIVES[table]})
    assert case.drive is getattr(case, table)
    assert [other for other in DRIVES if getattr(case, other)] == [table]
    assert case.drive.steps == DRIVES[table]["steps"]
    assert getattr(case.drive, key) == end


@pytest.mark.parametrize(
    ("table", "values"),
    [
        ("pressure", [0.003, 0.006, 0.009, 0.012, 0.015]),  # MPa
        ("volume", [500.0, 1000.0, 1500.0, 2000.0]),  # mm3
        ("gas", [42.07435375, 84.1487075]),  # N mm: m R T by hand, 1e-6 kg at 293.15 K
    ],
)
def test_the_drive_is_walked_in_equal_steps(make_case, table, values):
    (stage,) = stages_of(make_case(**{table: DRIVES[table]}))
    assert stage.values(0.0) == pytest.approx(values, rel=1e-14, abs=0)  # round-off


@pytest.mark.parametrize("model", ["fast", "fe"])
@pytest.mark.parametrize(
    "drive",
    [{"volume": {"added": "1e-3 mL", "steps": 5}}, {"gas": {"mass": "1e-3 mg", "steps": 5}}],
    ids=["volume", "gas"],
)
def test_the_least_amount_that_may_be_asked_for_is_reached(ready_cases, drive, model):
    for file in ready_cases:
        (run,) = solve(Case.load(file).changed(**drive), model, "coarse").runs
        assert run.reached, run.termination


def test_without_a_drive_the_three_are_named(make_case):
    due = "just one of the tables [pressure], [volume], [gas] is due; none is there"
    assert why(make_case, pressure=None) == due


@pytest.mark.parametrize(
    ("tables", "found"),
    [
        (("pressure", "volume"), "[pressure] and [volume] are there"),
        (("gas", "volume"), "[volume] and [gas] are there"),
        (("gas", "volume", "pressure"), "[pressure] and [volume] and [gas] are there"),
    ],
)
def test_two_drives_are_refused_by_name(make_case, tables, found):
    line = why(make_case, **{table: DRIVES[table] for table in tables})
    assert line == f"just one of the tables [pressure], [volume], [gas] is due; {found}"


def test_fault_in_a_second_drive_is_told_alone(make_case):
    line = why(make_case, pressure=PRESSURE, volume={**VOLUME, "added": "2 mm"})
    assert line.startswith('volume.added = "2 mm": this is not a volume; write a volume with')


# --- air ------------------------------------------------------------------------------------


def test_gas_product_is_that_of_a_litre_of_air():
    """A litre of dry air weighs 1.2041 g at 293.15 K and 101.325 kPa (common tables, memory)."""
    gas = Gas(mass="1.2041 g", steps=1)
    # p V = 0.101325 MPa * 1e6 mm3; the density is given to five digits
    assert gas.gas_product == pytest.approx(101_325.0, rel=5e-5)


def test_gas_product_by_si_units():
    """In SI units: 3e-6 kg * 287.05 J/(kg K) * 300 K = 0.258345 J; 1 J = 1000 N mm."""
    gas = Gas(mass="3 mg", steps=3, temperature="300 K")
    assert gas.gas_product == pytest.approx(258.345, rel=1e-14)  # round-off


def test_gas_defaults_are_no_line_and_the_standard_atmosphere():
    gas = Gas(**GAS)
    # 20 degrees Celsius, and one atmosphere by definition
    assert (gas.line_volume, gas.ambient, gas.temperature) == (0.0, 0.101325, 293.15)


def test_temperature_may_be_in_degrees_celsius():
    for text in ("25 °C", "25 degC", "298.15 K"):
        assert Gas(**GAS, temperature=text).temperature == 298.15


@pytest.mark.parametrize(
    ("key", "value", "message"),
    [
        ("mass", "0 mg", "it must be greater than 0 mg"),
        ("mass", "1 mL", "this is not a mass"),
        ("line_volume", "-1 mL", "it must be at least 0 mL"),
        ("ambient", "0 kPa", "it must be greater than 0 kPa"),
        ("temperature", "20 K", "it must be at least 200 K"),
        ("temperature", "400 °C", "it must be at most 400 K"),
        ("temperature", "20 deg", "this is not a temperature"),
        ("steps", 0, "it must be greater than or equal to 1"),
    ],
)
def test_gas_fault_is_named(make_case, key, value, message):
    line = why(make_case, gas={**GAS, key: value})
    shown = f'"{value}"' if isinstance(value, str) else value
    assert line.startswith(f"gas.{key} = {shown}: {message}")


# --- the free end ---------------------------------------------------------------------------


def test_free_end_is_free_and_without_load_by_default(make_case):
    end = make_case().end
    assert end == FreeEnd()
    assert (end.axial, end.twist) == ("free", "free")
    assert (end.force, end.torque, end.axial_spring, end.twist_spring) == (0.0, 0.0, 0.0, 0.0)
    assert end.loads("axial") == end.loads("twist") == []


def test_loads_of_the_free_end_are_read_with_their_signs():
    end = FreeEnd(
        force="-2 N", torque="-0.003 N m", axial_spring="1 N/cm", twist_spring="1 N mm/deg"
    )
    assert (end.force, end.torque) == (-2.0, -3.0)
    # a right angle is pi/2 rad and 90 deg
    assert end.twist_spring == pytest.approx(180 / math.pi, rel=1e-15)
    assert end.axial_spring == pytest.approx(0.1, rel=1e-15)
    assert end.loads("axial") == ["force", "axial_spring"]
    assert end.loads("twist") == ["torque", "twist_spring"]


HELD = {"axial": ("force", "axial_spring"), "twist": ("torque", "twist_spring")}
LOAD = {
    "force": "-3 N",
    "axial_spring": "3 N/mm",
    "torque": "-3 N mm",
    "twist_spring": "3 N mm/rad",
}


@pytest.mark.parametrize("direction", HELD)
@pytest.mark.parametrize("key", LOAD)
def test_held_direction_takes_no_load_but_the_other_does(make_case, direction, key):
    end = {direction: "held", key: LOAD[key]}
    if key not in HELD[direction]:
        assert getattr(make_case(end=end).end, direction) == "held"
    else:
        assert why(make_case, end=end) == (
            f'end.{key} = "{LOAD[key]}": {direction} = "held" leaves it nothing to do; '
            f'leave {key} out, or set {direction} = "free"'
        )


@pytest.mark.parametrize(
    ("end", "message"),
    [
        ({"axial": "loose"}, "end.axial = \"loose\": it must be 'free' or 'held'"),
        ({"axial_spring": "-1 N/mm"}, 'end.axial_spring = "-1 N/mm": it must be at least 0 N/mm'),
        ({"twist_spring": "1 N mm"}, 'end.twist_spring = "1 N mm": this is not a torsional sprin'),
        ({"torque": "1 N"}, 'end.torque = "1 N": this is not a torque; write a torque with its'),
        ({"torque": 1.0}, "end.torque = 1.0: a bare number has no unit; write a torque with its"),
        ({"force": "1 kPa"}, 'end.force = "1 kPa": this is not a force'),
        ({"moment": "1 N"}, "end.moment: unknown key; allowed here: axial, twist, force, torque,"),
        ("held", 'end = "held": write one table [end]'),
    ],
)
def test_fault_of_the_free_end_is_named(make_case, end, message):
    assert why(make_case, end=end).startswith(message)


# --- the move -------------------------------------------------------------------------------


def test_there_is_no_move_by_default(make_case):
    assert make_case().move is None


def test_move_goes_along_the_axis_or_round_it():
    along, round_it = Move(displacement="-5 mm", steps=2), Move(twist="-2 turn", steps=2)
    assert (along.direction, along.displacement, along.twist) == ("axial", -5.0, None)
    assert (round_it.direction, round_it.displacement) == ("twist", None)
    assert round_it.twist == pytest.approx(-4 * math.pi, rel=1e-15)


@pytest.mark.parametrize(
    ("move", "message"),
    [
        ({"steps": 2}, "move.displacement: this key is missing, or else twist"),
        (
            {"displacement": "1 mm", "twist": "1 deg", "steps": 2},
            'move.twist = "1 deg": displacement is given too; give either displacement or twist',
        ),
        ({"displacement": "1 mm"}, "move.steps: this key is missing"),
        ({"displacement": "1 deg", "steps": 2}, 'move.displacement = "1 deg": this is not a len'),
        ({"twist": "1 mm", "steps": 2}, 'move.twist = "1 mm": this is not an angle'),
        ({"twist": "2000 turn", "steps": 2}, 'move.twist = "2000 turn": it must be at most 4000'),
        ([], "move = []: write one table [move]"),
    ],
)
def test_fault_of_the_move_is_named(make_case, move, message):
    assert why(make_case, move=move).startswith(message)


MOVES = {
    "axial": {"displacement": "3 mm", "steps": 2},
    "twist": {"twist": "3 turn", "steps": 2},
}


@pytest.mark.parametrize("direction", MOVES)
@pytest.mark.parametrize("key", LOAD)
def test_moved_direction_takes_no_load_but_the_other_does(make_case, direction, key):
    changes = {"move": MOVES[direction], "end": {key: LOAD[key]}}
    if key not in HELD[direction]:
        assert make_case(**changes).move.direction == direction
    else:
        assert why(make_case, **changes) == (
            f"end.{key}: what moves the free end takes the place of this load; "
            f"leave out either end.{key} or the table [move]"
        )


@pytest.mark.parametrize("direction", MOVES)
def test_end_that_is_held_at_first_may_be_moved_then(make_case, direction):
    case = make_case(move=MOVES[direction], end={direction: "held"})
    assert case.move.direction == direction


@pytest.mark.parametrize("where", ["-60 mm", "-6.1 cm"])
def test_move_to_no_length_is_refused(make_case, where):
    line = why(make_case, move={"displacement": where, "steps": 2})
    assert line.startswith("move.displacement = -6")
    assert line.endswith("it must be greater than -60 mm, or nothing is left of the tube")


def test_move_to_a_little_length_is_allowed(make_case):
    assert make_case(move={"displacement": "-59 mm", "steps": 2}).move.displacement == -59.0
