"""Drives, free end and move: their steps, and what excludes each other."""

import math

import pytest

from fem.case.case import Case, CaseError
from fem.case.drive import Gas
from fem.case.free_end import FreeEnd, Move
from fem.continuation.load_steps import stages_of
from fem.solving.single import solve
from tests.helpers.messages import assert_states

PRESSURE = {"end": "15 kPa", "steps": 5}
VOLUME = {"added": "2 mL", "steps": 4}
GAS = {"mass": "1 mg", "steps": 2}
DRIVES = {"pressure": PRESSURE, "volume": VOLUME, "gas": GAS}


def why(make_case, **changes):
    """Return the message that refuses the changed case."""
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
def test_the_drive_has_equal_steps(make_case, table, values):
    (stage,) = stages_of(make_case(**{table: DRIVES[table]}))
    assert stage.values(0.0) == pytest.approx(values, rel=1e-14, abs=0)  # round-off


@pytest.mark.parametrize("model", ["fast", "fe"])
@pytest.mark.parametrize(
    "drive",
    [{"volume": {"added": "1e-3 mL", "steps": 5}}, {"gas": {"mass": "1e-3 mg", "steps": 5}}],
    ids=["volume", "gas"],
)
def test_the_smallest_allowed_amount_is_reached(ready_cases, drive, model):
    for file in ready_cases:
        (run,) = solve(Case.load(file).changed(**drive), model, "coarse").runs
        assert run.reached, run.termination


def test_missing_drive_is_refused_with_the_three_tables(make_case):
    assert_states(why(make_case, pressure=None), "[pressure], [volume], [gas]", "none")


@pytest.mark.parametrize(
    ("tables", "found"),
    [
        (("pressure", "volume"), "[pressure] and [volume]"),
        (("gas", "volume"), "[volume] and [gas]"),
        (("gas", "volume", "pressure"), "[pressure] and [volume] and [gas]"),
    ],
)
def test_two_drives_are_refused_by_name(make_case, tables, found):
    allowed, given = why(make_case, **{table: DRIVES[table] for table in tables}).split("; ")
    assert_states(allowed, "[pressure], [volume], [gas]")
    assert_states(given, found)
    assert ("[gas]" in given) == ("gas" in tables)


def test_fault_in_a_second_drive_is_the_only_message(make_case):
    line = why(make_case, pressure=PRESSURE, volume={**VOLUME, "added": "2 mm"})
    assert_states(line, 'volume.added = "2 mm": ', "a volume", '"3 mL"')


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


def test_gas_defaults_are_zero_line_volume_and_the_standard_atmosphere():
    gas = Gas(**GAS)
    # 20 degrees Celsius, and one atmosphere by definition
    assert (gas.line_volume, gas.ambient, gas.temperature) == (0.0, 0.101325, 293.15)


def test_temperature_may_be_in_degrees_celsius():
    for text in ("25 °C", "25 degC", "298.15 K"):
        assert Gas(**GAS, temperature=text).temperature == 298.15


@pytest.mark.parametrize(
    ("key", "value", "allowed"),
    [
        ("mass", "0 mg", "greater than 0 mg"),
        ("mass", "1 mL", "a mass"),
        ("line_volume", "-1 mL", "at least 0 mL"),
        ("ambient", "0 kPa", "greater than 0 kPa"),
        ("temperature", "20 K", "at least 200 K"),
        ("temperature", "400 °C", "at most 400 K"),
        ("temperature", "20 deg", "a temperature"),
        ("steps", 0, "equal to 1"),
    ],
)
def test_gas_fault_is_named(make_case, key, value, allowed):
    line = why(make_case, gas={**GAS, key: value})
    shown = f'"{value}"' if isinstance(value, str) else value
    assert_states(line, f"gas.{key} = {shown}: ", allowed)


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
        line = why(make_case, end=end)
        assert_states(line, f'end.{key} = "{LOAD[key]}": ', f'{direction} = "held"')
        assert_states(line, f'{direction} = "free"')


@pytest.mark.parametrize(
    ("end", "named", "allowed"),
    [
        ({"axial": "loose"}, 'end.axial = "loose": ', "'free' or 'held'"),
        ({"axial_spring": "-1 N/mm"}, 'end.axial_spring = "-1 N/mm": ', "at least 0 N/mm"),
        ({"twist_spring": "1 N mm"}, 'end.twist_spring = "1 N mm": ', '"3 N mm/rad"'),
        ({"torque": "1 N"}, 'end.torque = "1 N": ', '"3 N mm"'),
        ({"torque": 1.0}, "end.torque = 1.0: ", '"3 N mm"'),
        ({"force": "1 kPa"}, 'end.force = "1 kPa": ', '"3 N"'),
        ({"moment": "1 N"}, "end.moment: ", "axial, twist, force, torque,"),
        ("held", 'end = "held": ', "[end]"),
    ],
)
def test_fault_of_the_free_end_is_named(make_case, end, named, allowed):
    line = why(make_case, end=end)
    assert line.startswith(named)
    assert_states(line, allowed)


# --- the move -------------------------------------------------------------------------------


def test_there_is_no_move_by_default(make_case):
    assert make_case().move is None


def test_move_is_along_the_axis_or_about_it():
    along, round_it = Move(displacement="-5 mm", steps=2), Move(twist="-2 turn", steps=2)
    assert (along.direction, along.displacement, along.twist) == ("axial", -5.0, None)
    assert (round_it.direction, round_it.displacement) == ("twist", None)
    assert round_it.twist == pytest.approx(-4 * math.pi, rel=1e-15)


@pytest.mark.parametrize(
    ("move", "named", "allowed"),
    [
        ({"steps": 2}, "move.displacement: ", "displacement or twist"),
        (
            {"displacement": "1 mm", "twist": "1 deg", "steps": 2},
            'move.twist = "1 deg": ',
            "one of displacement, twist",
        ),
        ({"displacement": "1 mm"}, "move.steps: ", "missing"),
        ({"displacement": "1 deg", "steps": 2}, 'move.displacement = "1 deg": ', "a length"),
        ({"twist": "1 mm", "steps": 2}, 'move.twist = "1 mm": ', "an angle"),
        ({"twist": "2000 turn", "steps": 2}, 'move.twist = "2000 turn": ', "at most 400000 deg"),
        ([], "move = []: ", "[move]"),
    ],
)
def test_fault_of_the_move_is_named(make_case, move, named, allowed):
    line = why(make_case, move=move)
    assert line.startswith(named)
    assert_states(line, allowed)


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
        assert_states(why(make_case, **changes), f"end.{key}: ", "[move]")


@pytest.mark.parametrize("direction", MOVES)
def test_end_that_is_held_during_the_drive_may_be_moved_later(make_case, direction):
    case = make_case(move=MOVES[direction], end={direction: "held"})
    assert case.move.direction == direction


@pytest.mark.parametrize("where", ["-60 mm", "-6.1 cm"])
def test_move_to_zero_length_is_refused(make_case, where):
    line = why(make_case, move={"displacement": where, "steps": 2})
    assert line.startswith("move.displacement = -6")
    assert_states(line, "greater than -60 mm")


def test_move_to_a_small_length_is_allowed(make_case):
    assert make_case(move={"displacement": "-59 mm", "steps": 2}).move.displacement == -59.0
