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
    def constraint(self, load: float, conjugate: float) -> float:
        """Return f(load, coordinate)."""

    @abstractmethod
    def derivatives(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f by load and by coordinate."""

    def at(self, value: float) -> Self:
        """Return the same device at another value."""
        return replace(self, value=value)


@dataclass(frozen=True)
class Linear(Device):
    """f = by_load * load + by_coordinate * coordinate."""

    f_l: float
    f_g: float

    def constraint(self, load: float, conjugate: float) -> float:
        """Return f."""
        return self.f_l * load + self.f_g * conjugate

    def derivatives(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f."""
        return self.f_l, self.f_g


def dead_load(load: float = 0.0) -> Linear:
    """Return the device that keeps the load."""
    return Linear(load, 1.0, 0.0)


def prescribed(conjugate: float = 0.0) -> Linear:
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

    def constraint(self, load: float, conjugate: float) -> float:
        """Return (P + p0)(V + V0)."""
        return (load + self.ambient) * (conjugate + self.line_volume)

    def derivatives(self, load: float, conjugate: float) -> tuple[float, float]:
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
    def driven_device(self) -> Device:
        """The device of the driven pair."""
        return self.devices[self.driven]

    @property
    def load_controlled(self) -> bool:
        """Whether the driven device prescribes the load itself."""
        return self.driven_device.derivatives(0.0, 0.0) == (1.0, 0.0)

    def at(self, value: float) -> Self:
        """Return the same loading with the driven device at another value."""
        return self.with_driven(self.driven, self.driven_device.at(value))

    def with_driven(self, pair: int, device: Device) -> Self:
        """Return the same loading with another device for `pair`, which is now driven."""
        devices = [device if k == pair else old for k, old in enumerate(self.devices)]
        return replace(self, devices=(devices[0], devices[1], devices[2]), driven=pair)

    def constraint(self, loads: Array, conjugates: Array) -> float:
        """Return f of the driven pair, the parameter of the path."""
        return self.driven_device.constraint(loads[self.driven], conjugates[self.driven])

    def residuals(self, loads: Array, conjugates: Array) -> Array:
        """Return f - value of each pair, shape (3,)."""
        return np.array(
            [
                device.constraint(load, conjugate) - device.value
                for device, load, conjugate in zip(self.devices, loads, conjugates, strict=True)
            ]
        )

    def derivatives(self, loads: Array, conjugates: Array) -> tuple[Array, Array]:
        """Return the derivatives of each f by its load and by its coordinate, shapes (3,)."""
        pairs = zip(self.devices, loads, conjugates, strict=True)
        derivatives = np.array(
            [device.derivatives(load, conjugate) for device, load, conjugate in pairs]
        )
        return derivatives[:, 0], derivatives[:, 1]

    def scale(self, loads: Array, conjugates: Array) -> Array:
        """Return the sizes against which values of each f are small or not, shape (3,)."""
        f_l, f_g = self.derivatives(loads, conjugates)
        return np.abs(f_l) * self.load_scale + np.abs(f_g) * self.conjugate_scale

    def error(self, loads: Array, conjugates: Array) -> float:
        """Return the greatest gap, without dimension."""
        residuals = self.residuals(loads, conjugates) / self.scale(loads, conjugates)
        return float(np.abs(residuals).max())


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
    output: bool = True

    def values(self, start: float) -> list[float]:
        """Return the values to be reached from `start`, the last one exactly."""
        end = start + self.by if self.to is None else self.to
        return np.linspace(start, end, self.steps + 1)[1:].tolist()
