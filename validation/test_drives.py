r"""Pressure, volume and gas drive the same path; so do the ends, held or loaded.

@misc{drives,
  title = {An equilibrium does not know what drives it},
  note = {common practice, no source},
}

@techreport{iso2533,
  author = {{ISO}}, title = {ISO 2533: Standard Atmosphere}, year = {1975},
  note = {from memory, for the gas constant of dry air; page not seen},
}

The gas obeys Boyle's
law: with the pressure p_0 outside, the line's volume V_l and the bore's V_0 at rest, the mass m at
the temperature T makes the gauge pressure P,

.. math:: (P + p_0)(V + V_l) = p_0 (V_0 + V_l) + m R T, \qquad (1)

elementary, with R = 287.05 J/(kg K) for dry air. An end that is held where a dead
load has put it carries that load.

Worked numbers: the greenhouse tube to 12 kPa; the volume pushed in and the mass let in that belong
to each of its states are asked for in turn, and its end is moved by hand to where it was free.

Tolerances. 1e-6 of pressure, volume, twist, displacement, energy, and of the force scale where a
load is nil: what Newton's method leaves at 1e-8 of its scales. An end that is held stays to 1e-7 mm
or rad, a prescribed value. There is something to compare where it bears 0.1 N or N mm at least
while held, and by springs 1 N and 1 N mm: a thousand times what may differ, and more.
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
from validation.tubes import GREENHOUSE, Walk, walk

SAME = "an equilibrium does not know what drives it, common practice"

MESH = "1x1x10"
SLIDING = {"threads__0__hold": "sliding", "threads__1__slack": "1 %"}
VARIANTS: dict[str, dict[str, Any]] = {"bonded": {}, "one sliding, one slack": SLIDING}


def ready(variant: str, **changes: Any) -> Case:
    """Return the ready case to 12 kPa in three steps, with changes."""
    case = Case.load(GREENHOUSE).changed(**VARIANTS[variant])
    return case.changed(**({"pressure": {"end": "12 kPa", "steps": 3}} | changes))


@functools.cache
def pressed(model: str, variant: str) -> Walk:
    """Return the path by pressure."""
    return walk(ready(variant), None, model, MESH)


def same(what: str, path: Walk, expected: State, found: State) -> list[Quantity]:
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
    return path.found(
        *(Quantity(f"{what}, {name}", SAME, e, c, 1e-6, scale) for name, e, c, scale in rows)
    )


def requested(path: Walk) -> list[State]:
    """Return the states that were asked for."""
    return [state for state in path.states if state.requested]


@pytest.mark.parametrize("variant", VARIANTS)
@pytest.mark.parametrize("model", ["fast", "fe"])
def test_volume_and_gas_meet_the_pressure(model: str, variant: str) -> None:
    path = pressed(model, variant)
    rest = path.states[0].conjugates[PRESSURE]
    ambient, line = 0.101325, 5000.0  # MPa, mm3
    checks = path.balance(f"{variant}, by pressure")
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
            other = walk(ready(variant, pressure=None, **drive), None, model, MESH)
            what = f"{variant}, by {name} to {state.pressure * 1e3:.0f} kPa"
            checks += same(what, path, state, other.states[-1])
            checks += other.balance(what)
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_end_that_is_moved_meets_the_dead_load(model: str) -> None:
    """A dead force has put the end somewhere: moved there, it carries that force."""
    checks = []
    for end, move in [
        ({"force": "1.5 N"}, "displacement"),
        ({"force": "-1 N"}, "displacement"),
        ({"torque": "-8 N mm"}, "twist"),
    ]:
        loaded = walk(ready("bonded", end=end), None, model, MESH)
        last = loaded.states[-1]
        _, shift, turn = last.conjugates
        to = f"{shift:.17g} mm" if move == "displacement" else f"{turn:.17g} rad"
        moved = walk(ready("bonded", move={move: to, "steps": 2}), None, model, MESH)
        what = ", ".join(f"{key} {value}" for key, value in end.items())
        checks += [
            *same(what, loaded, last, moved.states[-1]),
            *loaded.balance(f"{what}, loaded"),
            *moved.balance(f"{what}, moved"),
        ]
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_held_ends_may_be_let_go(model: str) -> None:
    """Blocked, then moved to where the free tube was: nothing is left on the end."""
    free = pressed(model, "bonded")
    last = free.states[-1]
    _, shift, turn = last.conjugates
    checks = []
    for end, move in [
        ({"axial": "held"}, {"displacement": f"{shift:.17g} mm", "steps": 2}),
        ({"twist": "held"}, {"twist": f"{turn:.17g} rad", "steps": 2}),
    ]:
        moved = walk(ready("bonded", end=end, move=move), None, model, MESH)
        blocked = moved.states[-3]
        pair = AXIAL if "axial" in end else TWIST
        what = f"{'length' if pair == AXIAL else 'turn'} held, then let go"
        way, load = ("w (mm)", "F (N)") if pair == AXIAL else ("phi (rad)", "M (N mm)")
        held, borne = abs(blocked.conjugates[pair]), abs(blocked.loads[pair])
        checks += moved.found(
            at_most(f"{what}, {way} while held", SAME, 1e-7, held),
            at_most(f"{what}, 0.1 over {load} while held", SAME, 1.0, 0.1 / borne),
        )
        checks += [*same(what, free, last, moved.states[-1]), *moved.balance(what)]
    verify(checks)


@pytest.mark.parametrize("model", ["fast", "fe"])
def test_springs_are_dead_loads_of_the_right_size(model: str) -> None:
    sprung = walk(
        ready("bonded", end={"axial_spring": "0.4 N/mm", "twist_spring": "30 N mm/rad"}),
        None,
        model,
        MESH,
    )
    last = sprung.states[-1]
    force, torque = -0.4 * last.conjugates[AXIAL], -30 * last.conjugates[TWIST]
    loaded = walk(
        ready("bonded", end={"force": f"{force:.17g} N", "torque": f"{torque:.17g} N mm"}),
        None,
        model,
        MESH,
    )
    verify(
        [
            *same("springs", sprung, loaded.states[-1], last),
            *sprung.found(
                at_most("springs, 1 over F (N)", SAME, 1.0, 1 / abs(force)),
                at_most("springs, 1 over M (N mm)", SAME, 1.0, 1 / abs(torque)),
            ),
            *sprung.balance("springs"),
            *loaded.balance("loads"),
        ]
    )


def test_starting_elsewhere_does_not_matter() -> None:
    """From a state of the path itself the rest of it is the same."""
    case = ready("bonded")
    whole = pressed("fast", "bonded")
    model = build(case, "fast")
    middle = next(state for state in whole.states if state.requested)
    rest = list(follow(model, loading_of(case), stages_of(case), start=middle.x))
    verify(same("from 4 kPa", whole, whole.states[-1], rest[-1]))
