"""One operating point, or an array of them: the voltages, times and currents from which every loss follows.

    Point.of(state)             as the exact circuit has them, from a SteadyState or SteadyStates
    Point.by_formula(...)       as the formulas have them, both modes of conduction, for arrays of any shape
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np

from ..derivations import duty_with_losses, stress, switching
from ..units import guard, show

Number = float | np.ndarray
ALMOST = np.nextafter(1.0, 0.0)  # a rectifier that never conducts blocks all but this share of the period


@dataclass(frozen=True)
class Point:
    """Numbers or arrays of one shape, SI units; nan where no such point exists (see `by_formula`).

    `i_out` is the current of the load, `i_rectifier_mean` what the rectifier brings: the load's and what the edges of the
    switch, the core and the rectifier's recovery take on the way. `duty` is the closed share of the period, `conduction_end`
    the share at which the rectifier stops (1 in continuous conduction, as `discontinuous` says). Ripple is peak to peak.
    """

    v_in: Number
    v_out: Number
    i_out: Number
    f_sw: Number
    duty: Number
    conduction_end: Number
    i_inductor_mean: Number
    i_inductor_rms: Number
    i_inductor_min: Number
    i_inductor_max: Number
    i_switch_mean: Number
    i_switch_rms: Number
    i_rectifier_mean: Number
    i_rectifier_rms: Number
    i_capacitor_rms: Number
    discontinuous: bool | np.ndarray

    @property
    def output_power(self) -> Number:
        """What the load takes, W."""
        return self.v_out * self.i_out

    @property
    def duty_rectifier(self) -> Number:
        """The share of the period in which the rectifier conducts."""
        return self.conduction_end - self.duty

    @property
    def ripple_current(self) -> Number:
        """The coil's, A peak to peak."""
        return self.i_inductor_max - self.i_inductor_min

    @property
    def i_inductor_ripple_rms(self) -> Number:
        """The rms value of the coil's ripple alone, A; an input capacitor at a stiff source carries all of it."""
        return np.sqrt(np.maximum(self.i_inductor_rms**2 - self.i_inductor_mean**2, 0.0))

    def without_nan(self) -> Point:
        """The same with no current at all in place of nan, for formulas that take numbers only."""
        return replace(self, **{f.name: np.nan_to_num(getattr(self, f.name))[()] for f in fields(self) if f.name != "discontinuous"})

    @classmethod
    def of(cls, state, i_out: Number | None = None) -> Point:
        """From the exact circuit: a SteadyState, or SteadyStates for an array.

        i_out A: the load's own current, where the circuit was made to give more (see `Losses.on_the_way`); else all that the
        rectifier brings, which is the mean current of any load.
        """
        letters = state.letters
        discontinuous = state.discontinuous if hasattr(state, "discontinuous") else state.mode == "discontinuous"
        coil, switch, rectifier = state.inductor_current, state.switch_current, state.rectifier_current
        return cls(
            letters["v_in"], state.output_voltage.mean, rectifier.mean if i_out is None else i_out, 1 / state.period, state.duty,
            state.conduction_end, coil.mean, coil.rms, coil.min, coil.max, switch.mean, switch.rms, rectifier.mean, rectifier.rms,
            state.capacitor_current.rms, discontinuous,
        )  # fmt: skip

    @classmethod
    def by_formula(cls, v_in: Number, v_out: Number, i_out: Number, f_sw: Number, inductance: Number, *, r_inductor: Number = 0.0,
                   r_switch: Number = 0.0, v_rectifier: Number = 0.0, r_rectifier: Number = 0.0, r_capacitor: Number = 0.0,
                   i_lost: Number = 0.0, diode: bool = True) -> Point:  # fmt: skip
        """From the formulas: the duty that brings `v_out`, with these resistances, and the currents that go with it.

        V, A, Hz, H and Ω; numbers or arrays that broadcast. i_lost A: what has to reach the output beyond the load's current.
        diode: whether the rectifier stops at zero current, so that conduction may be discontinuous. A point that the
        resistances put out of reach is nan throughout. Raises ValueError where the output does not lie above the source.
        """
        numbers = [np.asarray(x, float) for x in (v_in, v_out, i_out, f_sw, inductance, r_inductor, r_switch, v_rectifier,
                                                  r_rectifier, r_capacitor, i_lost)]  # fmt: skip
        shape = np.broadcast_shapes(*(x.shape for x in numbers))
        v_in, v_out, i_out, f_sw, inductance, r_inductor, r_switch, v_rectifier, r_rectifier, r_capacitor, i_lost = numbers
        _check(v_in, v_out, i_out)
        path = {"r_inductor": r_inductor, "r_switch": r_switch, "r_rectifier": r_rectifier, "v_rectifier": v_rectifier}
        drawn = i_out + i_lost
        duty_off = duty_with_losses.duty_off_with_losses().formula
        series = np.minimum(r_capacitor * drawn, 0.5 * v_in)
        reach = duty_off.holds(v_in=v_in - series, v_out=v_out - series, i_out=drawn, **path)
        drawn = np.where(reach, drawn, 0.0)
        found = _continuous(v_in, v_out, drawn, f_sw, inductance, path, series)
        dry = (found["i_inductor_min"] < 0) & diode
        if np.any(dry):
            found = _merge(dry, _dry(v_in, v_out, np.where(dry, drawn, 0.0), f_sw, inductance, path, r_capacitor), found)
        currents = _currents(found, drawn) | found
        gone = np.where(reach, 0.0, np.nan)
        values = {name: _plain(value + gone, shape) for name, value in currents.items()}
        given = {"v_in": v_in, "v_out": v_out, "i_out": i_out, "f_sw": f_sw}
        return cls(**{name: _plain(value, shape) for name, value in given.items()}, **values,
                   discontinuous=bool(dry) if shape == () else np.broadcast_to(dry, shape))  # fmt: skip


def _check(v_in: np.ndarray, v_out: np.ndarray, i_out: np.ndarray) -> None:
    """Refuse what no boost converter can do, in words."""
    for name, value, unit in (("v_in", v_in, "V"), ("v_out", v_out, "V"), ("i_out", i_out, "A")):
        guard(name, float(np.min(value)), 0, unit=unit, open_low=unit == "V")
        guard(name, float(np.max(value)), unit=unit)
    low, source = np.broadcast_arrays(v_out, v_in)
    if np.any(low <= source):
        k = np.flatnonzero(low <= source)[0]
        raise ValueError(f"v_out = {show(low.flat[k], 'V')} must lie above the source voltage, {show(source.flat[k], 'V')}: "
                         "a boost converter cannot lower it")


def _continuous(v_in, v_out, drawn, f_sw, inductance, path: dict, series) -> dict:
    """Duty, mean and extremes of the coil current in continuous conduction. The capacitor's series resistance lifts the output just
    while the coil works against it; put into the volt-second balance, it takes `series` V (it times the load) from both voltages."""
    duty_off = duty_with_losses.duty_off_with_losses().formula
    duty = 1 - duty_off(v_in=v_in - series, v_out=v_out - series, i_out=drawn, **path)
    duty = np.maximum(duty, 0.0)  # with a source just below the output the forward voltage alone may be in the way
    mean = switching.charge_balance().formula(i_out=drawn, duty=duty)
    driving = np.maximum(v_in - (path["r_inductor"] + path["r_switch"]) * mean, 0.0)
    ripple = switching.inductor_ripple().formula(v_in=driving, duty=duty, inductance=inductance, f_sw=f_sw)
    return {"duty": duty, "conduction_end": np.ones_like(duty), "i_inductor_mean": mean, "i_inductor_min": mean - ripple / 2,
            "i_inductor_max": mean + ripple / 2}  # fmt: skip


def _dry(v_in, v_out, drawn, f_sw, inductance, path: dict, r_capacitor) -> dict:
    """The same in discontinuous conduction: triangles from zero. The falling current flows through the capacitor's resistance too, but
    for what the load takes of it."""
    rise = {name: path[name] for name in ("r_inductor", "r_switch")}
    fall = {"r_inductor": path["r_inductor"], "r_rectifier": path["r_rectifier"] + r_capacitor, "v_rectifier": path["v_rectifier"]}
    peak = duty_with_losses.dry_peak_for_load().formula(
        v_in=v_in, v_out=v_out - r_capacitor * drawn, i_out=drawn, inductance=inductance, f_sw=f_sw, **fall)  # fmt: skip
    duty = duty_with_losses.dry_duty_with_losses().formula(v_in=v_in, i_inductor_max=peak, inductance=inductance, f_sw=f_sw, **rise)
    with np.errstate(invalid="ignore", divide="ignore"):
        conducts = np.where(peak > 0, 2 * drawn / peak, 0.0)
    end = np.minimum(duty + conducts, 1.0)
    return {"duty": duty, "conduction_end": end, "i_inductor_mean": peak * end / 2, "i_inductor_min": np.zeros_like(peak),
            "i_inductor_max": peak}  # fmt: skip


def _merge(dry: np.ndarray, there: dict, else_: dict) -> dict:
    return {name: np.where(dry, there[name], else_[name]) for name in there}


def _currents(found: dict, drawn: np.ndarray) -> dict:
    """Mean and rms values. Whether the coil idles or not, what conducts carries a straight line through the middle between the
    lowest and the highest current, so one formula serves both modes."""
    duty, end = found["duty"], found["conduction_end"]
    middle = (found["i_inductor_max"] + found["i_inductor_min"]) / 2
    ripple = found["i_inductor_max"] - found["i_inductor_min"]
    switch = stress.switch_rms().formula(duty=duty, i_inductor_mean=middle, ripple_current=ripple)
    blocking = np.minimum(1 - (end - duty), ALMOST)
    rectifier = stress.rectifier_rms().formula(duty=blocking, i_inductor_mean=middle, ripple_current=ripple)
    return {
        "i_inductor_rms": np.sqrt(switch**2 + rectifier**2),  # one or the other carries the coil current, never both
        "i_switch_mean": duty * middle, "i_switch_rms": switch, "i_rectifier_mean": drawn, "i_rectifier_rms": rectifier,
        "i_capacitor_rms": np.sqrt(np.maximum(rectifier**2 - drawn**2, 0.0)),  # the rectifier's current less its mean
    }  # fmt: skip


def _plain(value: np.ndarray, shape: tuple) -> Number:
    """A float where all was single, else an array of the common shape."""
    return float(value) if shape == () else np.broadcast_to(value, shape)
