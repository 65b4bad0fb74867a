"""The table of quantities: the columns of the step table, in their order.

A new quantity is a function here: the function name and docstring are its name and definition, the
decorator has its format and properties. The step table, the tables and pictures of results and
studies, comparison, trust, report and page use this table.
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
_STATE = _SOLVER | _HISTORY | _REQUIRED


_path, _tube, _threads = (partial(entry, of) for of in ("path", "tube", "threads"))


@_path(type=str, traits=_SOLVER | _REQUIRED)
def model(state: Step) -> Any:
    """Model that was solved: fe or fast."""
    return state.model


@_path(type=int, traits=_STATE)
def step(state: Step) -> Any:
    """Index of the state on the path, 0 for the initial state."""
    return state.step


@_path(kind=STRESS, form=".4g", traits=_HISTORY | _REQUIRED | _READOUT)
def pressure(state: Step) -> Any:
    """Gauge pressure in the bore."""
    return np.round(state.pressure * 1e3, 9)  # 3.0, not 2.9999999999999996


@_path(type=bool, traits=_STATE)
def requested(state: Step) -> Any:
    """Whether the state is a step of the case."""
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
    """Volume enclosed by the bore and the end plates."""
    return state.volume


@_path(kind=MASS, label="air added", short="air")
def air(state: Step) -> Any:
    """Mass of air added since the initial state, if air is the drive."""
    return state.air


@_tube(
    kind=ANGLE,
    form=".2f",
    section="motion",
    traits=_ODD | _SIGNED | _REQUIRED | _MEASURABLE | _BRIEF | _READOUT,
)
def twist(tube: TubeValues) -> Any:
    """Rotation of the free end; positive is counter-clockwise, seen from it towards the base."""
    return np.degrees(tube.twist)


@_tube(kind=LENGTH, section="motion", traits=_SIGNED | _REQUIRED | _MEASURABLE | _BRIEF | _READOUT)
def displacement(tube: TubeValues) -> Any:
    """Axial displacement of the free end; positive if the tube lengthens."""
    return tube.displacement


@_tube(form=".4f", label="axial stretch", section="tube", traits=_REQUIRED)
def stretch(tube: TubeValues) -> Any:
    """Length of the tube divided by its length at rest."""
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
    """Greatest increase of the outer radius; at least zero, as the plates fix it at the ends."""
    return np.maximum(tube.greatest_growth, 0.0)


@_tube(section="tube", traits=_REQUIRED | _BRIEF)
def bore_stretch(tube: TubeValues) -> Any:
    """Radius of the bore at half length divided by that at rest."""
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
    """Greatest I1 - 3 in the wall divided by its limit, at which the rubber locks."""
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
    """Tension of a thread, averaged over its length."""
    return threads.tension


@_threads(kind=FORCE, form=".4f", label="peak tension", section="threads", traits=_REQUIRED)
def tension_peak(threads: ThreadValues) -> Any:
    """Greatest tension, averaged over a part of the thread as long as the wall is thick."""
    return threads.peak


@_threads(kind=SHARE, factor=100.0, section="threads", traits=_REQUIRED)
def thread_strain(threads: ThreadValues) -> Any:
    """Strain of a thread, averaged over its length; negative if slack remains."""
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
    """Fraction of the thread length that is under tension."""
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
    """Torque of all threads of the family on the ring at the base; positive if right-handed."""
    return threads.torque


@_threads(kind=LENGTH)
def thread_length(threads: ThreadValues) -> Any:
    """Natural length of one thread, slack included."""
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
    """Peak tension divided by the breaking load, if that is given."""
    load = threads.breaking_load
    return None if load is None else threads.peak / load


@_path(kind=FORCE, traits=_SIGNED | _MEASURABLE)
def end_force(state: Step) -> Any:
    """Axial force on the free end; positive pulls."""
    return state.force


@_path(kind=TORQUE, form=".2f", traits=_ODD | _SIGNED | _MEASURABLE)
def end_torque(state: Step) -> Any:
    """Torque on the free end; positive acts in the direction of a positive twist."""
    return state.torque


@_path(traits=_STATE)
def energy_gap(state: Step) -> Any:
    """Difference between work of the loads and stored energy, relative to the work."""
    return state.energy_gap


@_path(type=int, traits=_STATE)
def newton_iterations(state: Step) -> Any:
    """Newton iterations since the previous state."""
    return state.iterations


@_path(type=bool, traits=_STATE)
def stable(state: Step) -> Any:
    """Whether the equilibrium is stable."""
    return state.stable


@_path(type=bool, label="limit point", traits=_STATE)
def limit(state: Step) -> Any:
    """Whether the pressure has an extremum at this state."""
    return state.limit


added = Quantity(
    "added",
    "Volume added since the initial state; computed for display, not in the step table.",
    "path",
    lambda volume: volume / 1000,
    kind=VOLUME,
    label="volume added",
    short="added",
)
