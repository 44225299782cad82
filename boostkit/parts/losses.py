"""Where the power goes at one operating point, or at an array of them.

    at(point, parts, temperatures)              every loss by its name, by the part that it heats, and the efficiency
    converter(parts, v_in, v_out, i_out, f_sw)  the exact circuit with these parts, its duty set for the output
    resistances(parts, temperatures)            what winding, switch, rectifier and capacitor put in the way of the current

Temperatures are a dict of °C by part (`switch`, `rectifier`, `inductor`; numbers or arrays); a part that is not in it is at
25 °C, where parts state their numbers. Losses that the circuit of resistances and forward voltages does not have (edges,
recovery, core) are first order: they are added to what the currents dissipate.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..circuit import Converter, switched
from ..derivations import copper, crossing, iron, real_parts, recovery
from . import kinds
from .kinds import Inductor, Parts, Rectifier, Switch
from .point import Number, Point

__all__ = ["HEATS", "Losses", "Point", "at", "converter", "critical_frequency", "resistances"]

HEATS = {  # each loss, and the part that it heats
    "inductor winding": "inductor", "inductor winding, ripple": "inductor", "inductor core": "inductor",
    "switch conduction": "switch", "switch edges": "switch", "switch capacitance": "switch", "switch gate": "control",
    "rectifier conduction": "rectifier", "rectifier recovery": "switch", "rectifier dead time": "rectifier",
    "rectifier gate": "control", "capacitor ESR": "capacitor", "input capacitor ESR": "input_capacitor", "control": "control",
}  # fmt: skip
CONDUCTION = ("inductor winding", "inductor winding, ripple", "switch conduction", "rectifier conduction", "capacitor ESR",
              "input capacitor ESR")  # fmt: skip
BY_THE_CYCLE = ("switch edges", "switch capacitance", "switch gate", "rectifier recovery", "rectifier dead time", "rectifier gate")
ON_THE_WAY = ("inductor winding, ripple", "inductor core", "switch edges", "switch capacitance", "rectifier recovery",
              "rectifier dead time")  # fmt: skip


@dataclass(frozen=True)
class Losses:
    """Losses in W. `items` by name (the names of HEATS, always all of them), `of_part` by the part that they heat; `output_power`
    is what the load takes."""

    items: dict[str, Number]
    output_power: Number

    @property
    def of_part(self) -> dict[str, Number]:
        """What heats each part, W. The recovery of the rectifier heats the switch; gates heat their driver."""
        parts = dict.fromkeys(HEATS.values(), 0.0)
        for name, loss in self.items.items():
            parts[HEATS[name]] = parts[HEATS[name]] + loss
        return parts

    @property
    def total(self) -> Number:
        """All losses, W."""
        return sum(self.items.values())

    @property
    def input_power(self) -> Number:
        """What the source must give, W."""
        return self.output_power + self.total

    @property
    def efficiency(self) -> Number:
        """Output over input power, every modelled loss counted; nan where nothing goes in."""
        with np.errstate(invalid="ignore"):
            return self.output_power / np.where(np.equal(self.input_power, 0), np.nan, self.input_power)[()]

    @property
    def conduction(self) -> Number:
        """What resistances and forward voltages take, W."""
        return sum(self.items[name] for name in CONDUCTION)

    @property
    def by_the_cycle(self) -> Number:
        """What goes with the number of cycles, W: edges, charges, dead times."""
        return sum(self.items[name] for name in BY_THE_CYCLE)

    @property
    def on_the_way(self) -> Number:
        """What the coil must bring beyond the load and the circuit's own losses, W: edges, recovery, core. Divided by the output
        voltage it is a current that reaches the output and goes no further."""
        return sum(self.items[name] for name in ON_THE_WAY)


def at(point: Point, parts: Parts, temperatures: dict[str, Number] | None = None) -> Losses:
    """Every loss at a point, W: numbers, or arrays of its shape."""
    path = resistances(parts, temperatures)
    gone = np.where(np.isnan(point.i_inductor_mean), np.nan, 0.0)[()]
    point = point.without_nan()
    items = (_inductor(point, parts.inductor, path) | _switch(point, parts.switch, path)
             | _rectifier(point, parts.rectifier, path) | _rest(point, parts, path))  # fmt: skip
    return Losses({name: items[name] + gone for name in HEATS}, point.output_power + gone)


def resistances(parts: Parts, temperatures: dict[str, Number] | None = None) -> dict[str, Number]:
    """r_inductor, r_switch, r_rectifier, r_capacitor (Ω) and v_rectifier (V) at these temperatures."""
    warm = {name: (temperatures or {}).get(name, kinds.REFERENCE) for name in ("switch", "rectifier", "inductor")}
    rectifier = parts.rectifier
    above = warm["rectifier"] - kinds.REFERENCE
    return {
        "r_inductor": winding_resistance(parts.inductor, warm["inductor"]),
        "r_switch": parts.switch.on_resistance * (1 + parts.switch.on_slope * (warm["switch"] - kinds.REFERENCE)),
        "r_rectifier": rectifier.resistance * (1 + rectifier.on_slope * above),
        "v_rectifier": np.maximum(rectifier.forward_voltage + rectifier.forward_slope * above, 0.0),
        "r_capacitor": parts.capacitor.series_resistance,
    }


def winding_resistance(inductor: Inductor, temperature: Number) -> Number:
    """Ω for direct current at a temperature in °C: copper, stated at 25 °C."""
    resistivity = copper.resistivity_at().formula
    return inductor.resistance * resistivity(temperature=temperature) / resistivity(temperature=kinds.REFERENCE)


def converter(parts: Parts, v_in: float, v_out: float, i_out: float, f_sw: float, temperatures: dict[str, float] | None = None,
              i_lost: float = 0.0, near: float | None = None) -> Converter:  # fmt: skip
    """The exact circuit with these parts and a load of `i_out` A, its duty found for `v_out` V (`switched.duty_for`).

    i_lost A: what has to reach the output besides (`Losses.on_the_way` over v_out). near: a duty close by, if known. A dead time
    is left out: the circuit's rectifier conducts through it, and `at` adds what the body diode takes. Raises ValueError where
    v_out is out of reach.
    """
    bare = circuit(parts, v_in, i_out + i_lost, f_sw, temperatures)
    return bare.change(duty=switched.duty_for(bare, v_out, near))


def circuit(parts: Parts, v_in: float, i_out: float, f_sw: float, temperatures: dict[str, float] | None = None) -> Converter:
    """The same with a duty yet to be found."""
    letters = {name: float(value) for name, value in resistances(parts, temperatures).items()}
    if parts.rectifier.kind == "switch":
        del letters["v_rectifier"]
    if parts.inductor.saturation:
        letters["saturation"] = parts.inductor.saturation
    return Converter.of(v_in=v_in, i_out=i_out, f_sw=f_sw, duty=0.0, inductance=parts.inductor.inductance,
                        capacitance=parts.capacitor.capacitance, rectifier=parts.rectifier.kind, **letters)  # fmt: skip


def critical_frequency(losses: Losses, f_sw: Number) -> Number:
    """The frequency (Hz) at which switching would cost as much as all the rest does at this point, at f_sw."""
    by_cycle = losses.by_the_cycle
    return crossing.critical_frequency().formula(
        p_conduction=losses.conduction, p_fixed=losses.total - losses.conduction - by_cycle, energy_period=by_cycle / f_sw)  # fmt: skip


def _inductor(point: Point, inductor: Inductor, path: dict) -> dict:
    """Winding, for the rms current; what its resistance for the ripple exceeds that by, for the ripple alone; core."""
    excess = (inductor.ac_ratio - 1) * (point.f_sw / inductor.ac_frequency) ** 2
    return {
        "inductor winding": path["r_inductor"] * point.i_inductor_rms**2,
        "inductor winding, ripple": path["r_inductor"] * excess * point.i_inductor_ripple_rms**2,
        "inductor core": _core(point, inductor),
    }


def _core(point: Point, inductor: Inductor) -> Number:
    """Core loss of the two-slope ripple, from the loss stated for a sine. The flux density goes with the current, and the whole core
    with a cubic metre of it, so the formula's letters stand for those."""
    runs = np.asarray(point.ripple_current) > 0
    return runs * iron.triangle_loss().formula(
        loss_reference=inductor.core_loss, f_sw=point.f_sw, f_reference=inductor.core_frequency, core_alpha=inductor.core_alpha,
        flux_swing=point.ripple_current, flux_reference=inductor.core_ripple / 2, core_beta=inductor.core_beta,
        duty=np.where(runs, point.duty, 0.5)[()], duty_rectifier=np.where(runs, point.duty_rectifier, 0.5)[()],
        cosine_integral=iron.steinmetz_integral(inductor.core_alpha))  # fmt: skip


def _switch(point: Point, switch: Switch, path: dict) -> dict:
    """Conduction, edges, capacitance, gate. It closes at the lowest current of the coil and opens at the highest, so each edge
    costs by its own current; a coil current that runs back makes no loss at the closing edge."""
    runs = np.where(np.asarray(point.duty) > 0, 1.0, 0.0)[()]
    edge = real_parts.overlap_loss().formula
    closing = edge(v_out=point.v_out, i_inductor_mean=_forward(point.i_inductor_min), t_rise=switch.rise_time, t_fall=0.0, f_sw=point.f_sw)
    opening = edge(v_out=point.v_out, i_inductor_mean=_forward(point.i_inductor_max), t_rise=0.0, t_fall=switch.fall_time, f_sw=point.f_sw)
    return {
        "switch conduction": path["r_switch"] * point.i_switch_rms**2,
        "switch edges": runs * (closing + opening),
        "switch capacitance": runs * _capacitance(point, switch),
        "switch gate": runs * _gate(point, switch),
    }


def _forward(current: Number) -> Number:
    return np.maximum(current, 0.0)


def _capacitance(point: Point, switch: Switch) -> Number:
    """From the output voltage down at each closing; in discontinuous conduction the node has come to rest lower, and this errs
    high."""
    if np.any(switch.capacitance_voltage):  # of an array of switches all, or none
        return real_parts.falling_capacitance_loss().formula(
            c_switch=switch.output_capacitance, v_stated=switch.capacitance_voltage, v_out=point.v_out, f_sw=point.f_sw)  # fmt: skip
    return real_parts.capacitance_loss().formula(c_switch=switch.output_capacitance, v_out=point.v_out, f_sw=point.f_sw)


def _gate(point: Point, part: Switch | Rectifier) -> Number:
    return real_parts.gate_loss().formula(q_gate=part.gate_charge, v_drive=part.drive_voltage, f_sw=point.f_sw)


def _rectifier(point: Point, rectifier: Rectifier, path: dict) -> dict:
    """Conduction, recovery, and for a second switch its dead times and gate. A second switch recovers only where a dead time lets
    its body diode conduct."""
    second = rectifier.kind == "switch"
    waits = second and np.any(rectifier.dead_time)
    resistive = path["r_rectifier"] * point.i_rectifier_rms**2
    forward = 0.0 if second else path["v_rectifier"] * point.i_rectifier_mean
    nothing = 0.0 * point.f_sw
    return {
        "rectifier conduction": resistive + forward,
        "rectifier recovery": _recovery(point, rectifier) if waits or not second else nothing,
        "rectifier dead time": _dead_time(point, rectifier) if waits else nothing,
        "rectifier gate": _gate(point, rectifier) if second else nothing,
    }


def _recovery(point: Point, rectifier: Rectifier) -> Number:
    """What has run dry has nothing to recover from: below a stated current the charge falls in proportion to it."""
    current = _forward(point.i_inductor_min)
    charge = rectifier.recovery_charge * np.minimum(current / rectifier.recovery_current, 1.0)
    return recovery.recovery_loss().formula(
        v_out=point.v_out, i_inductor_min=current, t_recovery=rectifier.recovery_time, q_recovery=charge, f_sw=point.f_sw)  # fmt: skip


def _dead_time(point: Point, rectifier: Rectifier) -> Number:
    """Counted on top of the channel, which the circuit lets conduct all through: errs high, by R i/V of it."""
    current = (_forward(point.i_inductor_max) + _forward(point.i_inductor_min)) / 2
    return recovery.dead_time_loss().formula(
        t_dead=rectifier.dead_time, f_sw=point.f_sw, i_inductor_mean=current, v_body=rectifier.body_diode_voltage)  # fmt: skip


def _rest(point: Point, parts: Parts, path: dict) -> dict:
    """Capacitors, and what the controller takes."""
    extra = parts.input_capacitor
    return {
        "capacitor ESR": path["r_capacitor"] * point.i_capacitor_rms**2,
        "input capacitor ESR": (extra.series_resistance if extra else 0.0) * point.i_inductor_ripple_rms**2,
        "control": parts.control_current * point.v_in,
    }
