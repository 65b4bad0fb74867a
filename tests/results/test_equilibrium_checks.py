"""Equilibrium checks: their values for made-up states, and both models under every loading."""

from dataclasses import dataclass, field

import numpy as np
import pytest

from fem.continuation.load_steps import loading_of, stages_of
from fem.continuation.loading import AXIAL, PRESSURE, TWIST
from fem.continuation.path import follow
from fem.fast.model import FastModel
from fem.quantities.measures import Reactions
from fem.results.equilibrium_checks import check_balance, end_gaps, energy_gap


@dataclass
class MadeUpState:
    """The attributes of a state that the checks use."""

    energy: float = 0.0
    work: float = 0.0
    absolute_work: float = 0.0
    loads: np.ndarray = field(default_factory=lambda: np.zeros(3))


def test_energy_gap_is_the_share_of_work_that_is_not_stored():
    first = MadeUpState(energy=5.0)
    assert energy_gap(first, MadeUpState(energy=14.0, work=10.0, absolute_work=20.0)) == 1 / 20
    assert energy_gap(first, MadeUpState(energy=16.0, work=10.0, absolute_work=20.0)) == 1 / 20
    assert energy_gap(first, MadeUpState(energy=15.0, work=10.0, absolute_work=20.0)) == 0.0


def test_without_work_there_is_no_gap():
    assert energy_gap(MadeUpState(energy=5.0), MadeUpState(energy=5.0)) == 0.0


def test_end_gaps_are_shares_of_the_loads():
    loads = np.array([0.1, -3.0, 20.0])
    # thrust 0.1 * 50 = 5, with the axial force: 5 - 3 = 2; scale 5 + 3 + 20/10 = 10
    assert end_gaps(loads, Reactions(2.0, 20.0, 50.0), 10.0) == pytest.approx((0.0, 0.0), abs=1e-15)
    assert end_gaps(loads, Reactions(3.0, 20.0, 50.0), 10.0) == pytest.approx((0.1, 0.0), abs=1e-15)
    assert end_gaps(loads, Reactions(2.0, 15.0, 50.0), 10.0) == pytest.approx((0, 0.05), abs=1e-15)


def test_ends_without_loads_have_no_gap():
    assert end_gaps(MadeUpState().loads, Reactions(1e-12, 1e-12, 50.0), 10.0) == (0.0, 0.0)


def test_greatest_gaps_of_a_path_are_returned():
    states = [
        MadeUpState(energy=1.0),
        MadeUpState(3.5, 2.0, 2.0, np.array([0.1, 0.0, 0.0])),
        MadeUpState(5.0, 4.0, 4.0, np.array([0.2, 0.0, 0.0])),
    ]
    reactions = [Reactions(0, 0, 50), Reactions(5.0, 5.0, 50), Reactions(9.0, 0.0, 50)]
    found = check_balance(states, reactions, 10.0)
    assert found == pytest.approx(
        {
            "work_Nmm": 4.0,
            "stored_energy_Nmm": 4.0,
            "energy_gap": 0.25,
            "end_force_gap": 0.1,
            "end_torque_gap": 0.1,
        },
        rel=1e-12,
    )


# --- every loading, on both models --------------------------------------------------------------

SLIDING = {"threads__0__hold": "sliding", "threads__1__hold": "sliding"}
VOLUME = {"volume": {"added": "2 mL", "steps": 4}}
GAS = {"gas": {"mass": "3 mg", "steps": 4, "line_volume": "5 mL"}}
LOADINGS = {
    "free": {},
    "few steps": {"pressure__steps": 1},
    "held axially": {"end": {"axial": "held"}},
    "twist held": {"end": {"twist": "held"}},
    "both held": {"end": {"axial": "held", "twist": "held"}},
    "dead loads": {"end": {"force": "2 N", "torque": "-5 N mm"}},
    "dead weight": {"end": {"force": "-1 N"}},
    "springs": {"end": {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}},
    "springs and loads": {"end": {"axial_spring": "0.5 N/mm", "force": "-1 N", "torque": "5 N mm"}},
    "volume": VOLUME,
    "volume, ends held": VOLUME | {"end": {"axial": "held", "twist": "held"}},
    "gas": GAS,
    "gas, springs": GAS | {"end": {"axial_spring": "1 N/mm"}},
    "moved axially": {"move": {"displacement": "3 mm", "steps": 3}},
    "moved back": {"move": {"displacement": "-6 mm", "steps": 2}},
    "twisted": {"move": {"twist": "-20 deg", "steps": 3}},
    "volume, then moved": VOLUME | {"move": {"displacement": "2 mm", "steps": 2}},
    "sliding": SLIDING,
    "sliding, ends held": SLIDING | {"end": {"axial": "held", "twist": "held"}},
    "one family slides": {"threads__0__hold": "sliding"},
    "given slack": {"threads__0__slack": "2 %", "threads__1__slack": "1 %"},
    "cut slack": {"threads__0__slack": "cut at 10 deg", "threads__1__slack": "cut at 28 deg"},
    "slack, sliding": SLIDING | {"threads__0__slack": "2 %", "threads__1__slack": "cut at 25 deg"},
    "cut too short": SLIDING | {"threads__1__slack": "cut at 32 deg"},
    "stiff threads": {"threads__0__stiffness": "20 kN", "threads__1__stiffness": "20 kN"},
    "Mooney-Rivlin": {"rubber": {"law": "Mooney-Rivlin", "c1": "20 kPa", "c2": "10 kPa"}},
    "bare": {"threads": [], "pressure__end": "9 kPa"},
}
"""Changes of the ready case."""


def check(model, case):
    """Solve the path of a case, check every state and return the states."""
    states = list(follow(model, loading_of(case), stages_of(case)))
    radius, mesh = case.tube.outer_radius, model.mesh
    # the bore of the mesh is made of parabolas: h^4/480 less area than arcs of angle h
    arcs = mesh.get("cells_around_body", np.inf) * mesh.get("sectors_of_the_tube", 1)
    area = (2 * np.pi / arcs) ** 4 / 480 + 1e-5
    for state in states:
        assert energy_gap(states[0], state) < 2e-3
        force, torque = end_gaps(state.loads, model.reactions(state.x, state.loads), radius)
        assert force < area
        assert torque < 1e-6
    assert states[-1].requested
    assert states[-1].absolute_work > 1.0  # N mm
    return states


@pytest.mark.parametrize("name", LOADINGS)
def test_fast_model_is_in_equilibrium(make_case, name):
    case = make_case(**LOADINGS[name])
    check(FastModel(case), case)


@pytest.mark.parametrize("name", LOADINGS)
def test_fe_model_is_in_equilibrium(make_case, make_model, name):
    case = make_case(**LOADINGS[name])
    check(make_model(case, "1x1x4"), case)


def test_ends_satisfy_their_boundary_conditions(make_case, make_model):
    """Held ends do not move, springs follow their law, dead loads are constant."""
    held = make_case(end={"axial": "held", "twist": "held"})
    loaded = make_case(end={"force": "2 N", "torque": "-5 N mm"})
    sprung = make_case(end={"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"})
    for build in (FastModel, lambda case: make_model(case, "1x1x4")):
        for state in check(build(held), held)[1:]:
            assert np.abs(state.conjugates[AXIAL:]).max() < 1e-7
            assert np.abs(state.loads[AXIAL:]).min() > 0.01
        for state in check(build(loaded), loaded):
            assert state.loads[AXIAL:] == pytest.approx([2.0, -5.0], abs=1e-6)
        *_, last = check(build(sprung), sprung)
        assert last.loads[AXIAL] == pytest.approx(-0.5 * last.conjugates[AXIAL], abs=1e-6)
        assert last.loads[TWIST] == pytest.approx(-20 * last.conjugates[TWIST], abs=1e-6)
        assert np.abs(last.loads[AXIAL:]).min() > 0.5


def test_load_with_a_spring_is_the_sum_of_both(make_case, make_model):
    both = {"axial_spring": "0.5 N/mm", "twist_spring": "20 N mm/rad"}
    case = make_case(end=both | {"force": "-1 N", "torque": "5 N mm"})
    for build in (FastModel, lambda case: make_model(case, "1x1x4")):
        *_, last = check(build(case), case)
        displacement, twist = last.conjugates[AXIAL:]
        assert last.loads[AXIAL:] == pytest.approx(
            [-1 - 0.5 * displacement, 5 - 20 * twist], abs=1e-6
        )
        assert min(abs(displacement), abs(twist)) > 0.1


def test_drives_add_the_requested_volume_and_mass(make_case, make_model):
    by_volume, by_gas = make_case(**VOLUME), make_case(**GAS)
    for build in (FastModel, lambda case: make_model(case, "1x1x4")):
        first, *_, last = check(build(by_volume), by_volume)
        assert last.conjugates[PRESSURE] - first.conjugates[PRESSURE] == pytest.approx(2000.0)
        first, *_, last = check(build(by_gas), by_gas)
        # m R T in N mm with R = 287.05 J/(kg K) (ISO 2533, from memory) at 293.15 K
        expected = 3e-9 * 287.05e6 * 293.15
        ambient, line = 0.101325, 5000.0
        before = ambient * (first.conjugates[PRESSURE] + line)
        after = (last.pressure + ambient) * (last.conjugates[PRESSURE] + line)
        assert after - before == pytest.approx(expected, rel=1e-6)
