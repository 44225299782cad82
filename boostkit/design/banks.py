"""The capacitors that a design asks for at one operating point, by formula: at the output, and at the input."""

from __future__ import annotations

from ..control.placement import OF_SWITCHING
from ..derivations import input_ripple, landmarks, load_step, sizing
from ..parts import capacitor_choice
from ..parts.capacitor_choice import Bank
from ..parts.point import Point
from ..units import show
from .at_output import room_for
from .spec import Spec

INPUT_RIPPLE = 0.01  # of the lowest source voltage, peak to peak: common practice, no source
ESR_SHARES = (0.1, 0.3, 0.6, 0.85)  # of a ripple limit that series resistance may take; the smallest bank of these is taken
OF_ZERO = 0.2  # of the right-half-plane zero, as crossover: a little below what `placement` lets a loop have; common practice, no source


def output_bank(spec: Spec, point: Point, inductance: float, types) -> Bank:
    """The smallest output bank: ripple within its limit, and the load step's reserve.

    `point` is full load at the lowest source voltage, H, types of capacitor. Errors: ValueError with the reasons where none will do.
    """
    if point.i_inductor_min < point.i_out:
        raise ValueError(f"the coil current falls to {show(point.i_inductor_min, 'A')}, below the load current, where the formula for the "
                         "output capacitor ends: less ripple, please")
    limit = spec.ripple_limit
    reserve = step_reserve(spec, point, inductance)
    step = sizing.esr_ripple().formula(r_capacitor=1.0, i_inductor_max=point.i_inductor_max)

    def wanted(share: float) -> tuple[float, float]:
        esr = share * limit / step
        charge = sizing.capacitance_for_ripple().formula(
            i_out=point.i_out, duty=point.duty, ripple_voltage=limit, r_capacitor=esr, i_inductor_max=point.i_inductor_max, f_sw=point.f_sw)
        return max(float(charge), reserve), esr

    return _smallest("output", wanted, spec.v_out, point.i_capacitor_rms, spec, point, types, room_for(spec))


def input_bank(spec: Spec, point: Point, types) -> Bank:
    """The smallest input bank at the point of largest coil ripple; all of the ripple is taken to flow in it."""
    limit, ripple = INPUT_RIPPLE * spec.v_in.min, point.ripple_current
    swing = input_ripple.input_ripple().formula(ripple_current=ripple, c_input=1.0, f_sw=point.f_sw)
    rms = input_ripple.input_capacitor_rms().formula(ripple_current=ripple)

    def wanted(share: float) -> tuple[float, float]:
        return float(swing) / (limit * (1 - share)), share * limit / ripple

    return _smallest("input", wanted, spec.v_in.max, float(rms), spec, point, types)


def step_reserve(spec: Spec, point: Point, inductance: float) -> float:
    """Output capacitance in F that holds a load step within its limit, 0 where none is demanded.

    Reckoned for a loop of the first order whose crossover lies at a tenth of the switching frequency and a fifth of the right-half-plane
    zero at most: common practice, no source.
    """
    if spec.step is None or spec.step_deviation is None:
        return 0.0
    zero = landmarks.rhp_zero().formula(duty=point.duty, r_load=spec.v_out / spec.step.high, inductance=inductance)
    crossover = min(OF_SWITCHING * point.f_sw, OF_ZERO * zero)
    return float(load_step.capacitance_for_step().formula(i_step=spec.step.high - spec.step.low, f_crossover=crossover,
                                                          dip=spec.step_deviation))  # fmt: skip


def _smallest(role: str, wanted, voltage: float, rms: float, spec: Spec, point: Point, types, rated: float = 0.0) -> Bank:
    """The smallest bank of all types and all ways to part the ripple limit between capacitance and series resistance."""
    banks, refused = [], {}
    for share in ESR_SHARES:
        needed, esr = wanted(share)
        found, refused = capacitor_choice.weigh(role, needed, voltage, float(rms), float(point.f_sw), spec.surroundings, esr, types,
                                                rated)  # fmt: skip
        banks += found[:1]
    if not banks:
        raise ValueError(f"no {role} capacitor will do: " + "; ".join(f"{kind}: {why}" for kind, why in refused.items()))
    return min(banks, key=lambda bank: bank.volume)
