r"""Helices: length, polygon and length on a mesh, line load and friction.

@misc{helix,
  title = {Length of a helix, chord of a circle},
  note = {common practice, no source; elementary geometry, worked here},
}

@misc{capstan,
  title = {Friction of a rope on a drum},
  author = {L. Euler and J. A. Eytelwein},
  note = {from memory, re-derived; pages not seen},
}

A thread at the angle alpha on a tube of radius R and length L has the wrap angle phi and the length

.. math:: \tan\alpha = R\phi/L, \qquad \ell = L/\cos\alpha = \sqrt{L^2 + R^2\phi^2}. \qquad (1)

A polygon with m corners per turn is shorter. Round the axis, each segment replaces the arc 2 pi R/m
by the chord 2 R sin(pi/m); its height is unchanged:

.. math:: \frac{\text{polygon}}{\ell} = \sqrt{\cos^2\alpha
          + \sin^2\alpha \left( \frac{\sin(\pi/m)}{\pi/m} \right)^2}. \qquad (2)

The curvature of a helix is sin^2(alpha)/R. A thread under the tension T exerts the line load

.. math:: q = T \sin^2\alpha / R \qquad (3)

on the tube, and the axial force T cos(alpha) on a plate. With the coefficient of friction mu,
dT/ds = mu q, so that over the whole length, with the wrap angle phi,

.. math:: T_2 / T_1 = e^{\mu\phi\sin\alpha}. \qquad (4)

The torsion of a helix, the rotation of its osculating plane per length, is

.. math:: \tau = \sin\alpha \cos\alpha / R. \qquad (5)

Worked numbers. L = 100, R = 8 mm at 75 deg: phi = 46.65063509 rad, l = 386.37033052 mm (30 and 60
deg: `test_slack_thread.py`). Eq. (2) at 60 deg for m = 8, 16, 32, 64: 0.98093369,
0.99519401, 0.99879604, 0.99969885. Eq. (3): 0.09375 N/mm for T = 1 N, R = 8 mm, 60 deg. Eq. (4) for
mu = 0.2: 1.87445609 for phi sin(alpha) = pi, and 8.81592052 for two turns at 60 deg. Eq. (5) at 60
deg: 0.05412659 1/mm.

Solved cases. On a mesh where the thread leaves the cells through their edges, with 2 chords per
cell, there are 2 chords for each cell round the tube. The points of the thread form the polygon of
eq. (2); its length is that of the helix: if the mesh used the polygon as length at rest, a thread
would have a strain of 2 % at m = 8 from the start. The lengths on a uniformly strained tube, r -> c
r and z -> lambda z, are compared with

.. math:: \ell(c, \lambda)
          = \ell \sqrt{\lambda^2 \cos^2\alpha + c^2 \sin^2\alpha}. \qquad (6)

Its displacement is linear, so that any mesh represents it exactly. Eq. (3) is found by virtual
work: the nodal forces of a thread with the tension T are multiplied by the displacement r -> r +
r/R, which increases the outer radius by 1 mm. Eq. (5) is found on the polygon: the planes of a
chord with the previous and with the next one differ by tau times the chord's length, up to terms in
1/m^2; a line through m = 32 and 64 gives the value at 1/m^2 = 0.

Tolerances. Worked numbers: half a unit of their last digit. All else is exact up to round-off,
1e-10: the map from the tube to the cells is accurate to 1e-9 of a cell
(`fem/fe/mesh/outer_face.py`), which moves the point where a linear displacement is evaluated, not
its derivative. Terms in 1/m^4 remain in the torsion of the polygon: (2 pi/32)^4 = 1.5e-3, of which
a tenth is allowed, 1.5e-4.
"""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from fem.fe.model import FEModel
from fem.fe.part import Evaluation
from fem.fe.wall.cell_forms import DISPLACEMENTS, UNKNOWNS
from fem.threads.helix import Helix
from validation.check import Quantity, at_most, tagged, verify
from validation.tubes import B, family, tube

GEOMETRY = "geometry of a helix, elementary"
CAPSTAN = "Euler and Eytelwein, from memory, re-derived"
CURVATURE = "curvature of a helix, elementary"

ALPHA = math.radians(60)
TURNS = 2
LENGTH = TURNS * 2 * math.pi * B / math.tan(ALPHA)
"""Length (mm) of a tube on which a thread at 60 deg makes full turns."""

POLYGON = {8: 0.98093369, 16: 0.99519401, 32: 0.99879604, 64: 0.99969885}
"""Length relative to the helix, by chords per turn."""


def helix_of(threads: Any, length: float) -> Helix:
    """Return the helix of a family on a tube of a given length (mm)."""
    case = tube(threads, length=length)
    return case.threads[0].helix(case.tube)


def tube_with_threads(around: int, **changes: Any) -> FEModel:
    """Return a tube with one thread at 60 deg for each cell round it."""
    threads = family(60, around, 1000.0, 1e-3) | changes
    return FEModel(tube(threads, length=LENGTH), f"1x1x{TURNS * around}")


def strained(model: FEModel, growth: float, stretch: float) -> Evaluation:
    """Return the nodes displaced by r -> growth r, z -> stretch z."""
    return Evaluation(model.body.nodes * [growth - 1, growth - 1, stretch - 1])


def test_lengths_and_turns() -> None:
    by_angle = helix_of(family(75, 1, 500.0, 1e-3), 100.0)
    by_ring = family(75, 1, 500.0, 1e-3) | {
        "ring_turn": f"{100 / B * math.tan(math.radians(75))!r} rad"
    }
    del by_ring["angle"]
    from_ring = helix_of(by_ring, 100.0)
    rows = [
        ("75 deg, length (mm)", 386.37033052, by_angle.length),
        ("75 deg by the ring angle, length (mm)", 386.37033052, from_ring.length),
        ("75 deg, ring turn (rad)", 46.65063509, by_angle.ring_turn),
        ("75 deg by the ring angle, helix angle (deg)", 75.0, math.degrees(from_ring.angle)),
    ]
    verify(Quantity(name, GEOMETRY, e, c, 5e-9, 1.0, by="both") for name, e, c in rows)


@pytest.mark.parametrize("chords", POLYGON)
def test_polygon_and_length_at_rest(chords: int) -> None:
    model = tube_with_threads(chords // 2)
    (threads,) = model.threads
    at_rest = strained(model, 1.0, 1.0)
    length = LENGTH / math.cos(ALPHA)
    corners = threads.positions(at_rest)
    polygon = np.linalg.norm(np.diff(corners, axis=1), axis=2).sum()
    assert len(corners) == TURNS * chords // 2  # cells along the thread
    share = math.hypot(math.cos(ALPHA), math.sin(ALPHA) * np.sinc(1 / chords))
    worked = Quantity(
        f"eq. (2), m = {chords}, polygon/helix", GEOMETRY, POLYGON[chords], share, 5e-9, 1.0
    )
    checks = [
        Quantity(f"m = {chords}, polygon/helix", GEOMETRY, POLYGON[chords], polygon / length, 5e-9),
        Quantity(
            f"m = {chords}, at rest, length (mm)", GEOMETRY, length, threads.rest.sum(), 1e-10
        ),
        at_most(
            f"m = {chords}, at rest, strain of the thread",
            GEOMETRY,
            1e-10,
            float(np.abs(threads.strain(at_rest)).max()),
        ),
    ]
    for growth, stretch in ((1.3, 1.0), (0.8, 1.5), (1.1, 0.9)):
        share = math.hypot(stretch * math.cos(ALPHA), growth * math.sin(ALPHA))
        found = threads.kinematics(strained(model, growth, stretch)).length.sum()
        name = f"m = {chords}, c = {growth}, lambda = {stretch}, length (mm)"
        checks.append(Quantity(name, GEOMETRY, share * length, float(found), 1e-10))
    verify([worked, *tagged(model, checks)])


def polygon_torsion(chords: int) -> float:
    """Return the torsion (1/mm) of a thread with a given number of chords per turn."""
    model = tube_with_threads(chords // 2)
    (threads,) = model.threads
    first = threads.positions(strained(model, 1.0, 1.0))[threads.thread == 0]
    chord = np.diff(first, axis=1).reshape(-1, 3)
    length = np.linalg.norm(chord[1:-1], axis=1)
    planes = np.cross(chord[:-1], chord[1:])
    sine = (np.cross(planes[:-1], planes[1:]) * chord[1:-1]).sum(axis=1) / length
    cosine = (planes[:-1] * planes[1:]).sum(axis=1)
    return float(np.mean(np.arctan2(sine, cosine) / length))


def test_torsion() -> None:
    by_formula = math.sin(ALPHA) * math.cos(ALPHA) / B
    extrapolated = (4 * polygon_torsion(64) - polygon_torsion(32)) / 3
    polygon = Quantity(
        "60 deg, polygon, torsion (1/mm)", GEOMETRY, 0.05412659, extrapolated, 1.5e-4
    )
    verify(
        [
            Quantity(
                "60 deg, eq. (5), torsion (1/mm)", GEOMETRY, 0.05412659, by_formula, 5e-9, 1.0
            ),
            *tagged(tube_with_threads(32), [polygon]),
        ]
    )


@pytest.mark.parametrize("hold", ["bonded", "sliding", "geodesic"])
def test_line_load(hold: str) -> None:
    """At a strain e beyond the toe, EA (e - toe/2) = 1 N; the thread is too short by e."""
    strain = 1 / 1000.0 + 1e-3 / 2
    cut = math.degrees(math.acos(math.cos(ALPHA) * (1 + strain)))
    model = tube_with_threads(12, hold=hold, slack=f"cut at {cut!r} deg")
    (threads,) = model.threads
    at_rest = strained(model, 1.0, 1.0)
    cells = np.zeros((len(model.body.connectivity), UNKNOWNS))
    threads.add_forces(cells, at_rest)
    forces = cells[:, :DISPLACEMENTS].reshape(len(cells), -1, 3)
    nodes = model.body.nodes[model.body.connectivity]
    outward = (forces * nodes * [1 / B, 1 / B, 0]).sum() / threads.rest.sum()
    along = (forces * nodes * [0, 0, 1 / LENGTH]).sum()
    rows = [
        ("tension (N)", 1.0, float(threads.tension(at_rest).mean())),
        ("q (N/mm)", 0.09375, float(outward)),
        ("pull on a plate along the axis (N)", 0.5, float(along)),
    ]
    checks = [Quantity(f"{hold}, {name}", CURVATURE, e, c, 1e-10) for name, e, c in rows]
    verify(tagged(model, checks))


def test_capstan() -> None:
    def ratio(turn: float) -> float:
        slides = family(60, 1, 500.0, 1e-3) | {"hold": "sliding", "friction": 0.2}
        length = B * turn / math.tan(ALPHA)
        return helix_of(slides, length).capstan_ratio(0.2)

    rows = [
        ("phi sin(alpha) = pi, T2/T1", 1.87445609, ratio(math.pi / math.sin(ALPHA))),
        ("two turns at 60 deg, T2/T1", 8.81592052, ratio(4 * math.pi)),
    ]
    checks = (Quantity(name, CAPSTAN, e, c, 5e-9, 1.0) for name, e, c in rows)
    verify(replace(check, by="both") for check in checks)
