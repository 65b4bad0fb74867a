r"""Loads on the tube, and the devices that apply them.

Three loads act on the tube, each through a coordinate of its own: the pressure P on the enclosed
volume V, an axial force F on the shift w of the free end, a torque M on its turn phi. With E the
stored energy, equilibrium is

.. math:: E'(x) - P\,V'(x) - F\,w'(x) - M\,\phi'(x) = 0, \qquad (1)

and each pair of load and coordinate is closed by its *loading device*, a relation f(load,
coordinate) = value:

=====================  ==================  =======================================
device                 f                   for
=====================  ==================  =======================================
dead load              load                a pressure line, a hung weight, a free end (0)
held                   coordinate          a syringe, a clamped end, a moved end
spring of rate k       load + k coord.     an end that works against a spring
closed gas             (P + p0)(V + V0)    an amount of air, m R T at constant temperature
=====================  ==================  =======================================

A path changes the value of one device; the others keep theirs. Near a state each device is a
spring of rate k = f_coordinate / f_load, from 0 (dead) to infinity (held), and stability is that of
the tube with these springs.

Source: dead and rigid loading devices are textbook terms of stability theory, e.g. J. M. T.
Thompson & G. W. Hunt, A General Theory of Elastic Stability (1973); from memory.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from dataclasses import dataclass, replace
from typing import Self

import numpy as np

from fem.core.arrays import Array

PRESSURE, AXIAL, TWIST = range(3)
"""The pairs: pressure and volume, force and shift, torque and turn."""


@dataclass(frozen=True)
class Device(ABC):
    """What closes one pair of load and coordinate; `value` is what f is to be equal to."""

    value: float

    @abstractmethod
    def relation(self, load: float, conjugate: float) -> float:
        """Return f(load, coordinate)."""

    @abstractmethod
    def slopes(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f by load and by coordinate."""

    def at(self, value: float) -> Self:
        """Return the same device at another value."""
        return replace(self, value=value)


@dataclass(frozen=True)
class Linear(Device):
    """f = by_load * load + by_coordinate * coordinate."""

    by_load: float
    by_conjugate: float

    def relation(self, load: float, conjugate: float) -> float:
        """Return f."""
        return self.by_load * load + self.by_conjugate * conjugate

    def slopes(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f."""
        return self.by_load, self.by_conjugate


def dead(load: float = 0.0) -> Linear:
    """Return the device that keeps the load."""
    return Linear(load, 1.0, 0.0)


def held(conjugate: float = 0.0) -> Linear:
    """Return the device that keeps the coordinate."""
    return Linear(conjugate, 0.0, 1.0)


def spring(rate: float, load: float = 0.0) -> Linear:
    """Return a dead load beside a spring that is relaxed at coordinate zero."""
    return Linear(load, 1.0, rate)


@dataclass(frozen=True)
class ClosedGas(Device):
    """The ideal gas law for a closed amount at constant temperature; `value` is m R T (N mm).

    Attributes
    ----------
    ambient
        Absolute pressure outside (MPa), from which the load, a gauge pressure, counts.
    line_volume
        Volume outside the bore that the gas fills as well (mm3).
    """

    ambient: float
    line_volume: float

    def relation(self, load: float, conjugate: float) -> float:
        """Return (P + p0)(V + V0)."""
        return (load + self.ambient) * (conjugate + self.line_volume)

    def slopes(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f."""
        return conjugate + self.line_volume, load + self.ambient


@dataclass(frozen=True)
class Loading:
    """The devices of the three pairs, and which of them is driven.

    Attributes
    ----------
    devices
        In the order PRESSURE, AXIAL, TWIST.
    load_scale, conjugate_scale
        Sizes against which an error is small or not, shape (3,): MPa, N, N mm; mm3, mm, rad.
    driven
        The pair whose value changes along the path.
    """

    devices: tuple[Device, Device, Device]
    load_scale: Array
    conjugate_scale: Array
    driven: int = PRESSURE

    @property
    def drive(self) -> Device:
        """The device of the driven pair."""
        return self.devices[self.driven]

    @property
    def by_dead_load(self) -> bool:
        """Whether the driven device prescribes the load itself."""
        return self.drive.slopes(0.0, 0.0) == (1.0, 0.0)

    def at(self, value: float) -> Self:
        """Return the same loading with the driven device at another value."""
        return self.driving(self.driven, self.drive.at(value))

    def driving(self, pair: int, device: Device) -> Self:
        """Return the same loading with another device for `pair`, which is now driven."""
        devices = [device if k == pair else old for k, old in enumerate(self.devices)]
        return replace(self, devices=(devices[0], devices[1], devices[2]), driven=pair)

    def relation(self, loads: Array, conjugates: Array) -> float:
        """Return f of the driven pair, the parameter of the path."""
        return self.drive.relation(loads[self.driven], conjugates[self.driven])

    def gaps(self, loads: Array, conjugates: Array) -> Array:
        """Return f - value of each pair, shape (3,)."""
        return np.array(
            [
                device.relation(load, conjugate) - device.value
                for device, load, conjugate in zip(self.devices, loads, conjugates, strict=True)
            ]
        )

    def slopes(self, loads: Array, conjugates: Array) -> tuple[Array, Array]:
        """Return the derivatives of each f by its load and by its coordinate, shapes (3,)."""
        pairs = zip(self.devices, loads, conjugates, strict=True)
        slopes = np.array([device.slopes(load, conjugate) for device, load, conjugate in pairs])
        return slopes[:, 0], slopes[:, 1]

    def scale(self, loads: Array, conjugates: Array) -> Array:
        """Return the sizes against which values of each f are small or not, shape (3,)."""
        by_load, by_conjugate = self.slopes(loads, conjugates)
        return np.abs(by_load) * self.load_scale + np.abs(by_conjugate) * self.conjugate_scale

    def error(self, loads: Array, conjugates: Array) -> float:
        """Return the greatest gap, without dimension."""
        gaps = self.gaps(loads, conjugates) / self.scale(loads, conjugates)
        return float(np.abs(gaps).max())


@dataclass(frozen=True)
class Stage:
    """A part of the path: one device taken in equal steps `to` a value, or on `by` an amount.

    Attributes
    ----------
    pair, device
        Whose value changes, and how the pair is closed from here on.
    steps
        Number of equal steps.
    to, by
        One of the two.
    shown
        Whether its states are asked for, or only lead to those that are.
    """

    pair: int
    device: Device
    steps: int = 1
    to: float | None = None
    by: float = 0.0
    shown: bool = True

    def values(self, start: float) -> list[float]:
        """Return the values to be reached from `start`, the last one exactly."""
        end = start + self.by if self.to is None else self.to
        return np.linspace(start, end, self.steps + 1)[1:].tolist()
