"""The nouns of this room: what one needs to know of a switch, a rectifier, an inductor, a capacitor that can be bought.

Numbers in SI units, temperatures in °C. A part knows its ratings and the coefficients of its losses; what happens to it
in a circuit is reckoned in `losses`. Whatever may be left out has a default that leaves the effect out.
"""

from __future__ import annotations

from dataclasses import dataclass, field, fields, is_dataclass

import numpy as np

from ..derivations import copper

REFERENCE = 25.0  # °C at which parts state their numbers
COPPER = float(copper.growth_20.defined_as)  # 1/K at 20 °C


@dataclass(frozen=True)
class Heat:
    """How a part gets rid of its heat. `resistance`: from its inside (junction, winding) to the ambient, K/W; `limit`: the
    highest temperature that it bears, °C."""

    resistance: float = 0.0
    limit: float = 150.0


@dataclass(frozen=True)
class Switch:
    """A switch, as a transistor with a gate.

    voltage_limit V, current_limit A (peak). on_resistance Ω at 25 °C, on_slope: its share of growth per kelvin.
    rise_time, fall_time s: in which voltage and current overlap. output_capacitance F, as it is at `capacitance_voltage`
    (V) where it falls as 1/sqrt(v); constant where that is 0. gate_charge C at drive_voltage V.
    """

    name: str
    voltage_limit: float
    current_limit: float
    on_resistance: float
    rise_time: float
    fall_time: float
    on_slope: float = 0.0
    output_capacitance: float = 0.0
    capacitance_voltage: float = 0.0
    gate_charge: float = 0.0
    drive_voltage: float = 5.0
    heat: Heat = field(default_factory=Heat)
    invented: bool = False


@dataclass(frozen=True)
class Rectifier:
    """A diode, or a second switch in its place (`kind`).

    Diode: forward_voltage V at 25 °C, forward_slope V/K (negative), resistance Ω, recovery_charge C, recovery_time s;
    below recovery_current A the charge falls in proportion to the current.
    Second switch: resistance Ω at 25 °C with on_slope 1/K, dead_time s, body_diode_voltage V, gate_charge C at
    drive_voltage V, and the recovery of its body diode.
    """

    name: str
    voltage_limit: float
    current_limit: float
    resistance: float
    kind: str = "diode"
    forward_voltage: float = 0.0
    forward_slope: float = 0.0
    on_slope: float = 0.0
    recovery_charge: float = 0.0
    recovery_time: float = 0.0
    recovery_current: float = 0.5
    dead_time: float = 0.0
    body_diode_voltage: float = 0.8
    gate_charge: float = 0.0
    drive_voltage: float = 5.0
    heat: Heat = field(default_factory=Heat)
    invented: bool = False


@dataclass(frozen=True)
class Inductor:
    """An inductor as bought, or as `inductor_build` winds it.

    inductance H, resistance Ω (winding, direct current, 25 °C; it grows as copper does), saturation_current A, rms_current A.
    ac_ratio: by what the winding's resistance for the ripple exceeds that for direct current, at frequency `ac_frequency`
    (Hz); between them it grows with the square of frequency. Core loss: core_loss W at core_frequency (Hz) and
    core_ripple (A peak to peak, sine), going as frequency**core_alpha * ripple**core_beta. saturation: points (current A, share
    of the inductance that is left beyond), as in `circuit.Inductor`; none: no saturation.
    """

    name: str
    inductance: float
    resistance: float
    saturation_current: float
    rms_current: float
    ac_ratio: float = 1.0
    ac_frequency: float = 1e5
    core_loss: float = 0.0
    core_frequency: float = 1e5
    core_ripple: float = 1.0
    core_alpha: float = 1.5
    core_beta: float = 2.5
    heat: Heat = field(default_factory=Heat)
    invented: bool = False
    saturation: tuple = ()


@dataclass(frozen=True)
class Capacitor:
    """A capacitor of one of TYPES. capacitance F as marked, voltage_limit V, series_resistance Ω (at 100 kHz, 20 °C),
    ripple_current A rms that it bears."""

    name: str
    kind: str
    capacitance: float
    voltage_limit: float
    series_resistance: float
    ripple_current: float
    heat: Heat = field(default_factory=Heat)
    invented: bool = False


TYPES = ("ceramic", "electrolytic", "film")


@dataclass(frozen=True)
class Parts:
    """The parts of one converter; `control_current` A is what its controller takes from the source all the time."""

    switch: Switch
    rectifier: Rectifier
    inductor: Inductor
    capacitor: Capacitor
    input_capacitor: Capacitor | None = None
    control_current: float = 0.0


def stacked(parts: list, column: bool = False):
    """Several parts of one kind as a single one whose numbers are arrays of shape (N,), or (N, 1) as a column; what is no number, a
    name or a curve, is the first one's."""
    def stack(values):
        if is_dataclass(values[0]):
            return stacked(values, column)
        if isinstance(values[0], bool) or not isinstance(values[0], int | float):
            return values[0]
        return np.array(values, float)[:, None] if column else np.array(values, float)

    return type(parts[0])(**{f.name: stack([getattr(part, f.name) for part in parts]) for f in fields(parts[0])})
