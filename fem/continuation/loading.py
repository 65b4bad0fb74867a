r"""Loads on the tube, and the devices that apply them.

Three loads l act on the tube, each with its conjugate displacement g: the pressure P with the
enclosed volume V, an axial force F with the displacement w of the free end, a torque M with its
twist phi. With E the stored energy, equilibrium is

.. math:: E'(x) - P\,V'(x) - F\,w'(x) - M\,\phi'(x) = 0, \qquad (1)

and each pair of load and conjugate displacement has a *loading device*, a constraint f(l, g) =
value:

=======================  ==================  =======================================
device                   f                   for
=======================  ==================  =======================================
dead load                l                   a pressure line, a hung weight, a free end (0)
prescribed displacement  g                   a syringe, a clamped end, a moved end
spring of rate k         l + k g             an end that works against a spring
closed gas               (P + p0)(V + V0)    an amount of air, m R T at constant temperature
=======================  ==================  =======================================

A path changes the value of one device; the others keep theirs. Near a state each device is a
spring of rate k = f_g / f_l, from 0 (dead load) to infinity (prescribed displacement), and
stability is that of the tube with these springs.

See also eqs. (15) and (16) of docs/theory.md.

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
"""The pairs: pressure and volume, force and end displacement, torque and twist."""


@dataclass(frozen=True)
class Device(ABC):
    """The constraint f(l, g) = `value` of one load and its conjugate displacement."""

    value: float

    @abstractmethod
    def constraint(self, load: float, conjugate: float) -> float:
        """Return f(l, g)."""

    @abstractmethod
    def derivatives(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f by l and by g."""

    def at(self, value: float) -> Self:
        """Return the same device at another value."""
        return replace(self, value=value)


@dataclass(frozen=True)
class Linear(Device):
    """f = f_l l + f_g g with constant f_l and f_g."""

    f_l: float
    f_g: float

    def constraint(self, load: float, conjugate: float) -> float:
        """Return f."""
        return self.f_l * load + self.f_g * conjugate

    def derivatives(self, load: float, conjugate: float) -> tuple[float, float]:
        """Return the derivatives of f."""
        return self.f_l, self.f_g


def dead_load(load: float = 0.0) -> Linear:
    """Return the device that prescribes the load."""
    return Linear(load, 1.0, 0.0)


def prescribed(conjugate: float = 0.0) -> Linear:
    """Return the device that prescribes the conjugate displacement."""
    return Linear(conjugate, 0.0, 1.0)


def spring(rate: float, load: float = 0.0) -> Linear:
    """Return a dead load with a spring that is relaxed at zero displacement."""
    return Linear(load, 1.0, rate)


@dataclass(frozen=True)
class ClosedGas(Device):
    """The ideal gas law for a closed amount at constant temperature; `value` is m R T (N mm).

    Attributes
    ----------
    ambient
        Absolute pressure outside (MPa); the load is the gauge pressure above it.
    line_volume
        Volume outside the bore that the gas also fills (mm3).
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
    """The devices of the three pairs, and the one that is driven.

    Attributes
    ----------
    devices
        In the order PRESSURE, AXIAL, TWIST.
    load_scale, conjugate_scale
        Reference values for errors, shape (3,): MPa, N, N mm; mm3, mm, rad.
    driven
        The pair whose device changes its value along the path.
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
        """Whether the driven device is a dead load."""
        return self.driven_device.derivatives(0.0, 0.0) == (1.0, 0.0)

    def at(self, value: float) -> Self:
        """Return the same loading with the driven device at another value."""
        return self.with_driven(self.driven, self.driven_device.at(value))

    def with_driven(self, pair: int, device: Device) -> Self:
        """Return the same loading with another device for `pair`, which is now driven."""
        devices = [device if k == pair else old for k, old in enumerate(self.devices)]
        return replace(self, devices=(devices[0], devices[1], devices[2]), driven=pair)

    def constraint(self, loads: Array, conjugates: Array) -> float:
        """Return f of the driven pair, the path parameter."""
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
        """Return the derivatives of each f by its l and by its g, shapes (3,)."""
        pairs = zip(self.devices, loads, conjugates, strict=True)
        derivatives = np.array(
            [device.derivatives(load, conjugate) for device, load, conjugate in pairs]
        )
        return derivatives[:, 0], derivatives[:, 1]

    def scale(self, loads: Array, conjugates: Array) -> Array:
        """Return a reference value for each f, shape (3,)."""
        f_l, f_g = self.derivatives(loads, conjugates)
        return np.abs(f_l) * self.load_scale + np.abs(f_g) * self.conjugate_scale

    def error(self, loads: Array, conjugates: Array) -> float:
        """Return the largest dimensionless residual."""
        residuals = self.residuals(loads, conjugates) / self.scale(loads, conjugates)
        return float(np.abs(residuals).max())


@dataclass(frozen=True)
class Stage:
    """A part of the path: the value of one device changes in equal steps `to` or `by` an amount.

    Attributes
    ----------
    pair, device
        The driven pair, and its device from here on.
    steps
        Number of equal steps.
    to, by
        Final value, or change of the value; one of the two.
    output
        Whether its states are output; otherwise they only lead to those of later stages.
    """

    pair: int
    device: Device
    steps: int = 1
    to: float | None = None
    by: float = 0.0
    output: bool = True

    def values(self, start: float) -> list[float]:
        """Return the values of the steps from `start`; the last one is exact."""
        end = start + self.by if self.to is None else self.to
        return np.linspace(start, end, self.steps + 1)[1:].tolist()
