"""A pipe full of water, an air vessel, and how a valve is closed: the nouns, and what they are when lumped.

Everything is in SI base units. Pressures are gauge pressures unless a name says absolute. The pipe lies level: a tank's
head acts at its upper end, the valve sits at its lower end, and the pipe's own slope adds nothing.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

import numpy as np

from ..files import Section, read_toml
from ..units import guard, quoted, show

GRAVITY = 9.80665  # m/s², standard acceleration of free fall: ISO 80000-3, from memory
ATMOSPHERE = 101325.0  # Pa, standard atmosphere: ISO 80000-4, from memory
VAPOUR = 2339.0 - ATMOSPHERE  # Pa gauge, at which water of 20 °C boils: IAPWS R6-95, recomputed in the tests


@dataclass(frozen=True)
class Pipe:
    """A straight round pipe.

    `length`, inner `diameter` and `wall` thickness in m; `modulus` of elasticity of the wall, Pa; `density` of the water in
    kg/m³ and its `bulk_modulus` in Pa; `friction`, the Darcy friction factor. Without wall and modulus the wall is rigid.
    """

    length: float
    diameter: float
    density: float
    bulk_modulus: float
    wall: float | None = None
    modulus: float | None = None
    friction: float = 0.0

    @classmethod
    def from_file(cls, path: str | Path) -> Pipe:
        """Read the table [pipe] of a TOML file; its other tables are not looked at. Raises ValueError naming file and key."""
        return cls.from_section(read_toml(path).section("pipe"))

    @classmethod
    def from_dict(cls, data: dict, where: str = "pipe") -> Pipe:
        """The same from a dictionary with the keys of that table."""
        return cls.from_section(Section(data, where))

    @classmethod
    def from_section(cls, s: Section) -> Pipe:
        """Read and check; unknown keys are refused."""
        if s.has("wall") != s.has("modulus"):
            missing = "modulus" if s.has("wall") else "wall"
            s.fail(missing, "missing", "must stand beside the other of wall and modulus (leave both out for a rigid wall)")
        elastic = s.has("wall")
        pipe = cls(
            length=s.quantity("length", "m", low=1e-3, high=1e6),
            diameter=s.quantity("diameter", "m", low=1e-4, high=20),
            density=s.quantity("density", "kg/m³", low=100, high=2e4),
            bulk_modulus=s.quantity("bulk_modulus", "Pa", low=1e5, high=1e15),
            wall=s.quantity("wall", "m", low=1e-6, high=10) if elastic else None,
            modulus=s.quantity("modulus", "Pa", low=1e4, high=1e15) if elastic else None,
            friction=s.quantity("friction", "", 0.0, low=0, high=1),
        )
        if elastic and pipe.wall > pipe.diameter / 2:
            s.fail("wall", show(pipe.wall, "m"), f"must be at most half the diameter, {show(pipe.diameter / 2, 'm')}")
        s.finish()
        return pipe

    def change(self, **values) -> Pipe:
        """A checked copy with some values changed."""
        return Pipe.from_dict({name: value for name, value in (asdict(self) | values).items() if value is not None})

    @property
    def area(self) -> float:
        """Cross-section of the water, m²."""
        return math.pi * self.diameter**2 / 4

    @property
    def wave_speed(self) -> float:
        """Speed of a pressure wave, m/s: sqrt((K/ρ)/(1 + K D/(E t))); a thin wall that is free to stretch in length.
        Source: Wylie & Streeter, Fluid Transients in Systems, 1993."""
        softer = self.bulk_modulus * self.diameter / (self.modulus * self.wall) if self.modulus else 0.0
        return math.sqrt(self.bulk_modulus / self.density / (1 + softer))

    @property
    def impedance(self) -> float:
        """Pressure per flow of a travelling wave, ρ a/A, Pa·s/m³."""
        return self.density * self.wave_speed / self.area

    @property
    def inertance(self) -> float:
        """Pressure per rate of flow, ρ l/A, Pa·s²/m³: the pipe's likeness of inductance."""
        return self.density * self.length / self.area

    @property
    def compliance(self) -> float:
        """Volume stored per pressure in water and wall, A l/(ρ a²), m³/Pa: the pipe's likeness of capacitance."""
        return self.area * self.length / (self.density * self.wave_speed**2)

    @property
    def return_time(self) -> float:
        """Time for a wave to the upper end and back, 2 l/a, s."""
        return 2 * self.length / self.wave_speed

    def pressure(self, head: float) -> float:
        """Pressure under a column of this water, Pa; `head` in m."""
        return self.density * GRAVITY * head

    def friction_drop(self, velocity: float) -> float:
        """Pressure lost along the pipe in steady flow, f (l/d) ρ v|v|/2, Pa (Darcy and Weisbach)."""
        return self.friction * self.length / self.diameter * self.density * velocity * abs(velocity) / 2

    def even_resistance(self, flow: float) -> float:
        """The linear resistance, Pa·s/m³, that turns as much work into heat as the square law while the flow rises evenly
        from nothing to `flow` (m³/s), or falls so: ∫k q³ = ∫r q² gives r = (3/4) k q, with k q² the square law."""
        return 0.75 * self.friction_drop(flow / self.area) / flow if self.friction else 0.0


@dataclass(frozen=True)
class Vessel:
    """An air vessel: `gas_volume` (m³) at `pressure` (Pa, absolute), and the `exponent` n in p V^n = constant (1 for slow
    changes at one temperature, 1.4 for fast ones). `neck_resistance` in Pa·s/m³."""

    gas_volume: float
    pressure: float
    exponent: float = 1.2
    neck_resistance: float = 0.0

    def volume_at(self, pressure):
        """Gas volume in m³ at an absolute pressure in Pa; arrays go through."""
        return self.gas_volume * (self.pressure / np.asarray(pressure, float)) ** (1 / self.exponent)

    def pressure_at(self, volume):
        """Absolute pressure in Pa at a gas volume in m³; arrays go through."""
        return self.pressure * (self.gas_volume / np.asarray(volume, float)) ** self.exponent

    def compliance(self, pressure=None):
        """Volume taken up per pressure at an absolute pressure (own one where none is given), V/(n p), m³/Pa."""
        pressure = self.pressure if pressure is None else pressure
        return self.volume_at(pressure) / (self.exponent * np.asarray(pressure, float))


def _line(x):
    return 1 - x


@dataclass(frozen=True)
class Closing:
    """How a valve is closed within `time` (s; 0: at once).

    `curve` takes the elapsed share of that time (0 to 1, array) and gives what is left, from 1 to 0: of the velocity at
    the valve (`by` is `"velocity"`) or of the valve's free area (`by` is `"opening"`; then the flow follows the orifice
    law). Before time 0 all is left, after `time` what the curve ends with.
    """

    time: float
    curve: Callable = _line
    by: str = "velocity"

    def __post_init__(self):
        guard("time", self.time, 0, unit="s")
        if self.by not in ("velocity", "opening"):
            raise ValueError(f"by = {self.by!r} must be velocity or opening: what the curve is a share of")
        if not callable(self.curve):
            raise ValueError(f"curve = {quoted(self.curve)} must be a function of the elapsed share")

    def left(self, times):
        """What is left at these times (s, array), checked to lie in 0 to 1."""
        times = np.asarray(times, float)
        done = np.clip(times / self.time, 0, 1) if self.time else (times >= 0).astype(float)
        given = self.curve(done)
        try:
            left = np.broadcast_to(np.asarray(given, float), times.shape)
        except (TypeError, ValueError) as trouble:
            raise ValueError(f"curve = {quoted(given)} must be a number for each elapsed share that it is handed") from trouble
        if not np.all((left >= 0) & (left <= 1)):
            raise ValueError(f"curve = {left.min():.4g} to {left.max():.4g} must stay in [0, 1]: it is a share")
        return left


def sudden() -> Closing:
    """Shut at time 0, at once."""
    return Closing(0.0)


def linear_fall(time: float) -> Closing:
    """The velocity at the valve falls in a straight line to nothing in `time` s."""
    return Closing(time)


def linear_opening(time: float) -> Closing:
    """The valve's free area falls in a straight line to nothing in `time` s; pressure and flow decide between themselves."""
    return Closing(time, by="opening")
