"""Outputs of states of uniform tubes: of one state, or of those of many paths."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from fem.continuation.batch.energy_check import Work
from fem.continuation.batch.paths import Paths
from fem.continuation.batch.states import INTERMEDIATE, LIMIT, REQUESTED, REST, States
from fem.continuation.newton import TOLERANCE
from fem.core.arrays import Array, Index, Mask
from fem.fast.batch_model import newton
from fem.fast.kinematics import squared_radius
from fem.fast.potential import forces, thread_stretch, volume, wall_components
from fem.fast.tubes import Tubes
from fem.quantities.measures import Reactions, Step, ThreadValues, TubeValues, carries


def tube_values(tubes: Tubes, y: Array) -> TubeValues:
    """Return the values that the quantities are computed from, as arrays of n tubes."""
    stretch, u, strain = thread_stretch(tubes, y)
    tension, _ = tubes.threads.tension(strain)
    lam, outer = 1 + y[1], tubes.outer
    squared = squared_radius(1.0, y[0], lam)
    arm = outer * squared * u / stretch  # r sin(psi) at the current radius
    natural = tubes.length / tubes.cos * (1 + tubes.slack)
    growth = outer * (np.sqrt(squared) - 1)
    wall = wall_components(tubes, y)
    return TubeValues(
        twist=y[2] * tubes.length / outer,
        displacement=y[1] * tubes.length,
        length=tubes.length,
        radius=outer,
        growth=growth,
        greatest_growth=growth,
        bore_stretch=np.sqrt(squared_radius(1.0, y[0] / tubes.bore_square, lam)),
        wall_stretch=wall.largest_stretch.max(axis=0),
        wall_invariant=wall.first_invariant.max(axis=0),
        locking=tubes.law.locking,
        threads=[
            ThreadValues(
                name=name,
                tension=tension[k],
                peak=tension[k],
                strain=strain[k],
                taut_fraction=carries(tension[k], tubes.stiffness[k]).astype(float),
                pull=tubes.count[k] * tension[k],
                torque=tubes.count[k] * tension[k] * arm[k],
                length=natural[k],
                breaking_load=None if np.isnan(tubes.breaking[k]).all() else tubes.breaking[k],
            )
            for k, name in enumerate(tubes.names)
        ],
    )


def reactions(tubes: Tubes, y: Array, gradient: Array) -> Reactions:
    """Return force and torque of wall and threads across a section, by derivatives of the energy.

    They are derivatives at fixed bore radius, so the pressure on the plate is not included.
    """
    area = np.pi * tubes.outer**2
    bore = squared_radius(tubes.bore_square, y[0], 1 + y[1])
    return Reactions(
        force=area * (gradient[1] + gradient[0] * bore),
        torque=area * tubes.outer * gradient[2],
        bore_area=area * bore,
    )


@dataclass(frozen=True)
class Outputs:
    """Outputs of the paths of n tubes, at all states except those between the requested ones.

    Attributes
    ----------
    states, work
        The m states, and the work of the loads.
    first
        Number of the first state of each path, and m, shape (paths + 1,).
    step, reactions
        Arrays of shape (m,).
    """

    states: States
    work: Work
    first: Index
    step: Step
    reactions: Reactions


@np.errstate(all="ignore")
def read(tubes: Tubes, paths: Paths) -> Outputs:
    """Return the outputs of the paths whose states are all in equilibrium."""
    kept = np.flatnonzero(paths.states.role != INTERMEDIATE)
    states, work = paths.states.take(kept), paths.work.take(kept)
    own = tubes.take(states.tube)
    requested = (states.role == REST) | (states.role == REQUESTED)
    states, gradient, error = _refined(own, states, requested)
    k = np.flatnonzero(~(error <= TOLERANCE))
    if k.size:
        better, gradient[:, k], error[k] = _refined(own.take(k), states.take(k), requested[k])
        states = states.put(k, better)
    converged = np.ones(len(tubes), dtype=bool)
    converged[states.tube[~(error <= TOLERANCE)]] = False
    if not converged.all():
        return read(tubes, paths.of(converged))
    area = np.pi * own.outer**2
    # a fixed end has the reaction, any other only the forces of its springs
    end = np.where(own.fixed, gradient[1:], 0.0 - own.springs * states.x[1:])
    pressure = np.where(requested, states.pressure, gradient[0])
    first = np.append(np.flatnonzero(states.first), len(states))
    step = Step(
        "fast",
        step=np.arange(len(states)) - np.repeat(first[:-1], np.diff(first)),
        pressure=pressure,
        requested=requested,
        volume=volume(own, states.x),
        tube=tube_values(own, states.x),
        force=end[0] * area,
        torque=end[1] * area * own.outer,
        energy_gap=work.gap(states.energy),
        iterations=_iterations(paths.states, kept),
        stable=states.stable & (states.role != LIMIT),
        limit=states.role == LIMIT,
    )
    return Outputs(states, work, first, step, reactions(own, states.x, gradient))


def _refined(tubes: Tubes, states: States, requested: Mask) -> tuple[States, Array, Array]:
    """Return the states after one iteration, the derivatives of their energy, and the error before.

    The iteration is at the volume of the state, or at the pressure where that is requested. The
    states are so close that the stiffness predicts the change of the derivatives.
    """
    gradient, hessian = forces(tubes, states.x)
    found = newton(tubes, states.x, gradient.copy(), hessian.copy())
    gap = np.where(requested, states.pressure - found.pressure, 0.0)
    # at a limit point the stiffness is zero
    step = found.step + np.where(requested, gap / found.stiffness, 0.0) * found.slope
    a, b, c, d, e, f = hessian
    x, y, z = step
    gradient += [a * x + b * y + c * z, b * x + d * y + e * z, c * x + e * y + f * z]
    error = np.maximum(found.error, np.abs(gap) * found.pressure_weight) + 0.0 * step.sum(axis=0)
    return replace(states, x=states.x + step), gradient, error


def _iterations(states: States, kept: Index) -> Index:
    """Return the iterations since the previous output state of the path."""
    total = np.cumsum(states.iterations)[kept]
    since = np.diff(total, prepend=0)
    since[states.first[kept]] = 0
    return since
