r"""The same path by pressure, volume or gas, and with the end fixed, loaded or on springs.

@misc{drives,
  title = {Equilibrium does not depend on what drives it},
  note = {common practice, no source},
}

@techreport{iso2533,
  author = {{ISO}}, title = {ISO 2533: Standard Atmosphere}, year = {1975},
  note = {from memory, for the gas constant of dry air; page not seen},
}

The gas obeys Boyle's law: with the ambient pressure p_0, the volumes of the line V_l and of the
bore at rest V_0, the added mass m at the temperature T gives the gauge pressure P,

.. math:: (P + p_0)(V + V_l) = p_0 (V_0 + V_l) + m R T, \qquad (1)

elementary, with R = 287.05 J/(kg K) for dry air. An end that is fixed where a
dead load moved it takes the same load.

Worked numbers: the greenhouse tube to 12 kPa; volume and mass of each of its states are prescribed
in turn, and its end is moved to its free position.

Tolerances. 1e-6 of pressure, volume, twist, displacement, energy, and of the force scale where a
load is zero: the effect of the tolerance of Newton's method, 1e-8 of its scales. A fixed end
moves by at most 1e-7 mm or rad. The loads must be large enough for a comparison: at least
0.1 N or N mm on a fixed end, 1 N and 1 N mm on springs, a thousand times the tolerance and more.
"""

import functools
from typing import Any

import pytest

from fem.case.case import Case
from fem.case.drive import GAS_CONSTANT
from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.path import follow
from fem.continuation.state import State
from fem.solving.single import build
from validation.check import Quantity, at_most, verify
from validation.kinds import Kind
from validation.tubes import GREENHOUSE, SolvedPath, solve_path

SAME = "equilibrium does not depend on the drive, common practice"

MESH = "1x1x10"
SLIDING = {"threads__0__hold": "sliding", "threads__1__slack": "1 %"}
VARIANTS: dict[str, dict[str, Any]] = {"bonded": {}, "one sliding, one slack": SLIDING}


def ready(variant: str, **changes: Any) -> Case:
    """Return the ready case to 12 kPa in three steps, with changes."""
    case = Case.load(GREENHOUSE).changed(**VARIANTS[variant])
    return case.changed(**({"pressure": {"end": "12 kPa", "steps": 3}} | changes))


@functools.cache
def by_pressure(model: str, variant: str) -> SolvedPath:
    """Return the path driven by pressure."""
    return solve_path(ready(variant), None, model, MESH)


def same(what: str, path: SolvedPath, expected: State, found: State) -> list[Quantity]:
    """Return the checks that two states are the same."""
    case = path.model.case
    force, radius = case.force_scale, case.tube.outer_radius
    rest = path.states[0].conjugates[PRESSURE]
    rows = [
        ("P (MPa)", expected.pressure, found.pressure, case.rubber.constitutive_law.shear_modulus),
        ("V (mm3)", expected.conjugates[PRESSURE], found.conjugates[PRESSURE], rest),
        ("w (mm)", expected.conjugates[AXIAL], found.conjugates[AXIAL], radius),
        ("phi (rad)", expected.conjugates[TWIST], found.conjugates[TWIST], 1.0),
        ("F (N)", expected.loads[AXIAL], found.loads[AXIAL], force),
        ("M (N mm)", expected.loads[TWIST], found.loads[TWIST], force * radius),
        ("E (N mm)", expected.energy, found.energy, force * radius),
    ]
    return path.tagged(
        *(Quantity(f"{what}, {name}", SAME, e, c, 1e-6, scale) for name, e, c, scale in rows)
    )


def large_enough(name: str, ratio: float) -> Quantity:
    """Return the check that a load is large enough for a comparison: at least the numerator."""
    return at_most(name, SAME, 1.0, ratio, Kind.MAGNITUDE)


def requested(path: SolvedPath) -> list[State]:
    """Return the requested states."""
    return [state for state in path.states if state.requested]


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_volume_and_gas_lead_to_the_same_states(model: str, variant: str) -> None:
    path = by_pressure(model, variant)
    rest = path.states[0].conjugates[PRESSURE]
    ambient, line = 0.101325, 5000.0  # MPa, mm3
    checks = path.balance_checks(f"{variant}, by pressure")
    for state in requested(path):
        volume = state.conjugates[PRESSURE]
        product = (state.pressure + ambient) * (volume + line) - ambient * (rest + line)
        mass = product / (GAS_CONSTANT * 293.15)  # tonne
        drives = {
            "volume": {"volume": {"added": f"{volume - rest:.17g} mm^3", "steps": 2}},
            "gas": {
                "gas": {
                    **{"mass": f"{mass * 1e9:.17g} mg", "steps": 2, "line_volume": "5 mL"},
                    **{"ambient": "101.325 kPa", "temperature": "293.15 K"},
                }
            },
        }
        for name, drive in drives.items():
            other = solve_path(ready(variant, pressure=None, **drive), None, model, MESH)
            what = f"{variant}, by {name} to {state.pressure * 1e3:.0f} kPa"
            checks += same(what, path, state, other.states[-1])
            checks += other.balance_checks(what)
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_moved_end_is_under_the_dead_load(model: str) -> None:
    """An end moved to where a dead load has put it is under that load."""
    checks = []
    for end, move in [
        ({"force": "1.5 N"}, "displacement"),
        ({"force": "-1 N"}, "displacement"),
        ({"torque": "-8 N mm"}, "twist"),
    ]:
        loaded = solve_path(ready("bonded", end=end), None, model, MESH)
        last = loaded.states[-1]
        _, shift, turn = last.conjugates
        to = f"{shift:.17g} mm" if move == "displacement" else f"{turn:.17g} rad"
        moved = solve_path(ready("bonded", move={move: to, "steps": 2}), None, model, MESH)
        what = ", ".join(f"{key} {value}" for key, value in end.items())
        checks += [
            *same(what, loaded, last, moved.states[-1]),
            *loaded.balance_checks(f"{what}, loaded"),
            *moved.balance_checks(f"{what}, moved"),
        ]
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_held_end_can_be_released(model: str) -> None:
    """Blocked, then moved to the free position: no load is left on the end."""
    free = by_pressure(model, "bonded")
    last = free.states[-1]
    _, shift, turn = last.conjugates
    checks = []
    for end, move in [
        ({"axial": "held"}, {"displacement": f"{shift:.17g} mm", "steps": 2}),
        ({"twist": "held"}, {"twist": f"{turn:.17g} rad", "steps": 2}),
    ]:
        moved = solve_path(ready("bonded", end=end, move=move), None, model, MESH)
        blocked = moved.states[-3]
        pair = AXIAL if "axial" in end else TWIST
        what = f"fixed {'length' if pair == AXIAL else 'rotation'}, then released"
        way, load = ("w (mm)", "F (N)") if pair == AXIAL else ("phi (rad)", "M (N mm)")
        movement, load_size = abs(blocked.conjugates[pair]), abs(blocked.loads[pair])
        checks += moved.tagged(
            at_most(f"{what}, while fixed, {way}", SAME, 1e-7, movement),
            large_enough(f"{what}, while fixed, 0.1 over {load}", 0.1 / load_size),
        )
        checks += [*same(what, free, last, moved.states[-1]), *moved.balance_checks(what)]
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_springs_equal_dead_loads(model: str) -> None:
    on_springs = solve_path(
        ready("bonded", end={"axial_spring": "0.4 N/mm", "twist_spring": "30 N mm/rad"}),
        None,
        model,
        MESH,
    )
    last = on_springs.states[-1]
    force, torque = -0.4 * last.conjugates[AXIAL], -30 * last.conjugates[TWIST]
    loaded = solve_path(
        ready("bonded", end={"force": f"{force:.17g} N", "torque": f"{torque:.17g} N mm"}),
        None,
        model,
        MESH,
    )
    verify(
        [
            *same("springs", on_springs, loaded.states[-1], last),
            *on_springs.tagged(
                large_enough("springs, 1 over F (N)", 1 / abs(force)),
                large_enough("springs, 1 over M (N mm)", 1 / abs(torque)),
            ),
            *on_springs.balance_checks("springs"),
            *loaded.balance_checks("loads"),
        ]
    )


def test_path_can_start_at_one_of_its_states() -> None:
    """From a state of the path the rest of the path is the same."""
    case = ready("bonded")
    whole = by_pressure("fast", "bonded")
    model = build(case, "fast")
    middle = next(state for state in whole.states if state.requested)
    rest = list(follow(model, loading_of(case), stages_of(case), start=middle.x))
    verify(same("from 4 kPa", whole, whole.states[-1], rest[-1]))
