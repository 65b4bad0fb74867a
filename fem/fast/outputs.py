"""From states of many tubes to the columns of the step table, and to the balance of each path."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from fem.continuation.batch.newton import newton
from fem.continuation.batch.paths import Paths
from fem.continuation.batch.states import DEMANDED, LIMIT, ON_THE_WAY, REST, Mask, States
from fem.continuation.newton import TOLERANCE
from fem.core.arrays import Array, Index
from fem.fast.grouping import Group
from fem.fast.potential import forces, thread_stretch, volume
from fem.fast.tubes import Tubes
from fem.fast.wall_stretch import greatest_invariant, greatest_stretch
from fem.quantities.measures import Figures, Reactions, Step, ThreadFigures, carries
from fem.quantities.row import step_columns
from fem.results.equilibrium_checks import end_gaps, imbalance


@dataclass(frozen=True)
class Readings:
    """The step tables of many tubes, one below the other.

    Attributes
    ----------
    tube
        Number of the tube that a row belongs to, shape (rows,); those of a tube stand together.
    columns
        The columns by name, each of shape (rows,).
    first
        The first row of each tube that has any, shape (n,).
    balance
        The figures of :func:`fem.results.equilibrium_checks.imbalance`, each of shape (n,).
    exact
        Whether all states of a tube are in equilibrium, shape (n,).
    """

    tube: Index
    columns: dict[str, Any]
    first: Index
    balance: dict[str, Array]
    exact: Any

    def only_exact(self) -> Readings:
        """Return the tables of the tubes whose states are all in equilibrium."""
        if self.exact.all():
            return self
        rows = np.repeat(self.exact, np.diff(self.first, append=len(self.tube)))
        tube = self.tube[rows]
        return Readings(
            tube,
            {name: c if np.isscalar(c) else c[rows] for name, c in self.columns.items()},
            np.flatnonzero(np.diff(tube, prepend=-1)),
            {name: figures[self.exact] for name, figures in self.balance.items()},
            self.exact[self.exact],
        )


@np.errstate(all="ignore")
def read(group: Group, paths: Paths) -> Readings:
    """Return what the paths of a group come down to."""
    told = np.flatnonzero(paths.states.role != ON_THE_WAY)
    states, account = paths.states.take(told), paths.account.take(told)
    tubes = group.tubes.take(states.tube)
    set_load = (states.role == REST) | (states.role == DEMANDED)
    states, gradient, error = _polished(tubes, states, set_load)
    k = np.flatnonzero(~(error <= TOLERANCE))
    if k.size:
        better, gradient[:, k], error[k] = _polished(tubes.take(k), states.take(k), set_load[k])
        states = states.put(k, better)
    area = np.pi * tubes.outer**2
    # where it is held the free end meets what it must, elsewhere its springs alone
    across = np.where(tubes.held, gradient[1:], 0.0 - tubes.springs * states.y[1:])
    pressure = np.where(set_load, states.pressure, gradient[0])
    loads = np.array([pressure, across[0] * area, across[1] * area * tubes.outer])
    first, gap = np.flatnonzero(states.first), account.gap(states.stored)
    step = Step(
        "fast",
        step=np.arange(len(states)) - np.repeat(first, np.diff(first, append=len(states))),
        pressure=pressure,
        demanded=set_load,
        volume=volume(tubes, states.y),
        tube=_figures(group, tubes, states),
        force=loads[1],
        torque=loads[2],
        energy_gap=gap,
        iterations=_iterations(paths.states, told),
        stable=states.stable & (states.role != LIMIT),
        limit=states.role == LIMIT,
    )
    gaps = end_gaps(loads, _reactions(tubes, states.y, gradient), tubes.outer)
    whole = area * tubes.length
    last = np.append(first[1:], len(states)) - 1
    balance = imbalance(
        (account.work * whole)[last],
        (states.stored * whole)[last],
        *(np.maximum.reduceat(figure, first) for figure in (gap, *gaps)),
    )
    exact = np.maximum.reduceat(error, first) <= TOLERANCE
    return Readings(states.tube, step_columns(step), first, balance, exact)


def _polished(tubes: Tubes, states: States, set_load: Mask) -> tuple[States, Array, Array]:
    """Return states one iteration further, the derivatives of their energy, and the error before.

    The states are so near that their stiffness tells how the derivatives change; at the volume
    that was found, or at the pressure where it is set.
    """
    gradient, hessian = forces(tubes, states.y)
    found = newton(tubes, states.y, gradient.copy(), hessian.copy())
    lack = np.where(set_load, states.pressure - found.pressure, 0.0)
    # at a limit point the stiffness is nil
    step = found.step + np.where(set_load, lack / found.stiffness, 0.0) * found.along
    a, b, c, d, e, f = hessian
    x, y, z = step
    gradient += [a * x + b * y + c * z, b * x + d * y + e * z, c * x + e * y + f * z]
    error = np.maximum(found.error, np.abs(lack) * found.bore) + 0.0 * step.sum(axis=0)
    return replace(states, y=states.y + step), gradient, error


def _figures(group: Group, tubes: Tubes, states: States) -> Figures:
    """Return what the measures are taken from."""
    y = states.y
    stretch, u, strain = thread_stretch(tubes, y)
    tension, _ = tubes.threads.tension(strain)
    lam, outer = 1 + y[1], tubes.outer
    squared = (1 + y[0]) / lam
    # r sin(psi) at the current radius
    arm = outer * squared * u / stretch
    natural = tubes.length / tubes.cos * (1 + tubes.slack)
    breaking = group.breaking[:, states.tube]
    growth = outer * (np.sqrt(squared) - 1)
    return Figures(
        twist=y[2] * tubes.length / outer,
        displacement=y[1] * tubes.length,
        length=tubes.length,
        radius=outer,
        growth=growth,
        greatest_growth=growth,
        bore_stretch=np.sqrt((tubes.bore_square + y[0]) / lam) * outer / tubes.bore,
        wall_stretch=greatest_stretch(tubes, y),
        wall_invariant=greatest_invariant(tubes, y),
        locking=tubes.law.locking,
        threads=[
            ThreadFigures(
                name=family.name,
                tension=tension[k],
                peak=tension[k],
                strain=strain[k],
                taut=carries(tension[k], tubes.stiffness[k]).astype(float),
                pull=tubes.count[k] * tension[k],
                torque=tubes.count[k] * tension[k] * arm[k],
                length=natural[k],
                breaking_load=None if family.breaking_load is None else breaking[k],
            )
            for k, family in enumerate(group.sample.threads)
        ],
    )


def _reactions(tubes: Tubes, y: Array, gradient: Array) -> Reactions:
    """Return what wall and threads carry across a section, the radius of the bore being kept."""
    area = np.pi * tubes.outer**2
    bore = (tubes.bore_square + y[0]) / (1 + y[1])  # squared
    return Reactions(
        force=area * (gradient[1] + gradient[0] * bore),
        torque=area * tubes.outer * gradient[2],
        bore_area=area * bore,
    )


def _iterations(states: States, told: Index) -> Index:
    """Return the iterations since the row before, or since rest."""
    total = np.cumsum(states.iterations)[told]
    since = np.diff(total, prepend=0)
    since[states.first[told]] = 0
    return since
