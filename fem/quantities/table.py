"""The table of quantities: the columns of the step table, in their order.

A new quantity is a function here: its name and docstring name and define it, its decorator says how
it is shown and what holds of it. The step table, the tables and pictures of results and studies,
comparison, trust, report and page derive from it.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import numpy as np

from fem.core.units import ANGLE, FORCE, LENGTH, MASS, STRESS, TORQUE, VOLUME
from fem.quantities.measures import Step, ThreadValues, TubeValues
from fem.quantities.quantity import QUANTITIES as QUANTITIES
from fem.quantities.quantity import SHARE, Quantity, Trait, entry

_ODD, _SIGNED, _SOLVER, _HISTORY, _REQUIRED, _MEASURABLE, _BRIEF, _READOUT = Trait
_TOLD = _SOLVER | _HISTORY | _REQUIRED


_path, _tube, _threads = (partial(entry, of) for of in ("path", "tube", "threads"))


@_path(type=str, traits=_SOLVER | _REQUIRED)
def model(state: Step) -> Any:
    """Which model it is."""
    return state.model


@_path(type=int, traits=_TOLD)
def step(state: Step) -> Any:
    """Position along the path, 0 at the beginning."""
    return state.step


@_path(kind=STRESS, form=".4g", traits=_HISTORY | _REQUIRED | _READOUT)
def pressure(state: Step) -> Any:
    """Pressure in the bore above that outside."""
    return np.round(state.pressure * 1e3, 9)  # as one would write it: 3.0, not 2.9999999999999996


@_path(type=bool, label="requested", traits=_TOLD)
def requested(state: Step) -> Any:
    """Whether the case asks for the state."""
    return state.requested


@_path(
    kind=VOLUME,
    factor=1e-3,
    form=".4f",
    label="volume of the bore",
    section="tube",
    traits=_REQUIRED,
)
def volume(state: Step) -> Any:
    """Volume that bore and plates enclose."""
    return state.volume


@_path(kind=MASS, label="air let in", short="air")
def air(state: Step) -> Any:
    """Mass of air let in since the beginning, where air drives the tube."""
    return state.air


@_tube(
    kind=ANGLE,
    form=".2f",
    section="motion",
    traits=_ODD | _SIGNED | _REQUIRED | _MEASURABLE | _BRIEF | _READOUT,
)
def twist(tube: TubeValues) -> Any:
    """Rotation of the free end, positive counter-clockwise seen from it towards the base."""
    return np.degrees(tube.twist)


@_tube(kind=LENGTH, section="motion", traits=_SIGNED | _REQUIRED | _MEASURABLE | _BRIEF | _READOUT)
def displacement(tube: TubeValues) -> Any:
    """Axial displacement of the free end, positive where the tube lengthens."""
    return tube.displacement


@_tube(form=".4f", label="axial stretch", section="tube", traits=_REQUIRED)
def stretch(tube: TubeValues) -> Any:
    """Length of the tube over its length at rest."""
    return 1 + tube.displacement / tube.length


@_tube(
    kind=LENGTH,
    label="outer radius at half length",
    short="mid radius",
    section="tube",
    traits=_MEASURABLE,
)
def mid_radius(tube: TubeValues) -> Any:
    """Outer radius at half length."""
    return tube.radius + tube.growth


@_tube(kind=LENGTH, section="motion", traits=_REQUIRED | _MEASURABLE | _BRIEF | _READOUT)
def bulge(tube: TubeValues) -> Any:
    """Greatest growth of the outer radius.

    It is never negative: at their ends the plates hold the tube's radius, of which the fast model
    knows nothing.
    """
    return np.maximum(tube.greatest_growth, 0.0)


@_tube(section="tube", traits=_REQUIRED | _BRIEF)
def bore_stretch(tube: TubeValues) -> Any:
    """Radius of the bore at half length over that at rest."""
    return tube.bore_stretch


@_tube(
    label="greatest stretch in the wall",
    short="wall stretch",
    section="tube",
    picture="wall_stretch",
    traits=_REQUIRED | _BRIEF,
)
def wall_stretch_max(tube: TubeValues) -> Any:
    """Greatest principal stretch in the wall."""
    return tube.wall_stretch


@_tube(
    kind=SHARE,
    factor=100.0,
    form=".1f",
    label="utilisation of rubber",
    section="tube",
    picture="margins",
)
def rubber_utilisation(tube: TubeValues) -> Any:
    """Greatest I1 - 3 in the wall over that at which the rubber locks."""
    return None if tube.locking is None else (tube.wall_invariant - 3) / tube.locking


@_threads(
    kind=FORCE,
    form=".4f",
    label="mean tension",
    short="tension",
    section="threads",
    picture="tension",
    traits=_REQUIRED | _MEASURABLE | _BRIEF | _READOUT,
)
def tension(threads: ThreadValues) -> Any:
    """Mean tension along the threads."""
    return threads.tension


@_threads(kind=FORCE, form=".4f", label="peak tension", section="threads", traits=_REQUIRED)
def tension_peak(threads: ThreadValues) -> Any:
    """Greatest mean tension over a part of a thread that is as long as the wall is thick."""
    return threads.peak


@_threads(kind=SHARE, factor=100.0, section="threads", traits=_REQUIRED)
def thread_strain(threads: ThreadValues) -> Any:
    """Mean strain along the threads, negative where slack is left."""
    return threads.strain


@_threads(
    kind=SHARE,
    factor=100.0,
    form=".0f",
    short="taut",
    section="threads",
    traits=_REQUIRED | _BRIEF,
)
def taut_fraction(threads: ThreadValues) -> Any:
    """Share of the thread length that carries tension."""
    return threads.taut_fraction


@_threads(kind=FORCE, section="threads", traits=_MEASURABLE | _BRIEF)
def spool_pull(threads: ThreadValues) -> Any:
    """Sum of the tensions of all threads of the family at the base."""
    return threads.pull


@_threads(
    kind=TORQUE,
    form=".2f",
    section="threads",
    picture="ring_torque",
    traits=_ODD | _SIGNED | _MEASURABLE | _BRIEF,
)
def ring_torque(threads: ThreadValues) -> Any:
    """Torque of all threads of the family on their ring at the base."""
    return threads.torque


@_threads(kind=LENGTH)
def thread_length(threads: ThreadValues) -> Any:
    """Natural length of a thread, slack included."""
    return threads.length


@_threads(
    kind=SHARE,
    factor=100.0,
    form=".1f",
    label="utilisation of thread",
    section="threads",
    picture="margins",
)
def thread_utilisation(threads: ThreadValues) -> Any:
    """Peak tension over the breaking load, where that is known."""
    load = threads.breaking_load
    return None if load is None else threads.peak / load


@_path(kind=FORCE, traits=_SIGNED | _MEASURABLE)
def end_force(state: Step) -> Any:
    """Axial force on the free end, positive pulls."""
    return state.force


@_path(kind=TORQUE, form=".2f", traits=_ODD | _SIGNED | _MEASURABLE)
def end_torque(state: Step) -> Any:
    """Torque on the free end, positive rotates it as a positive twist."""
    return state.torque


@_path(traits=_TOLD)
def energy_gap(state: Step) -> Any:
    """Work of the loads that is not stored, as a share of all work."""
    return state.energy_gap


@_path(type=int, traits=_TOLD)
def newton_iterations(state: Step) -> Any:
    """Newton iterations since the state before."""
    return state.iterations


@_path(type=bool, traits=_TOLD)
def stable(state: Step) -> Any:
    """Whether the equilibrium is stable."""
    return state.stable


@_path(type=bool, label="limit point", traits=_TOLD)
def limit(state: Step) -> Any:
    """Whether the pressure has an extreme here."""
    return state.limit


added = Quantity(
    "added",
    "Volume since the first state of a path: displays compute it, the step table lacks it.",
    "path",
    lambda volume: volume / 1000,
    kind=VOLUME,
    label="liquid pushed in",
    short="added",
)
