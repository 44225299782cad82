"""Protections at the output and in the controller: soft start, current limit, cut-off, clamp, discharge."""

from __future__ import annotations

from math import ceil

from ..circuit import faults
from ..derivations import clamp, discharge, runaway, soft_start
from ..units import preferred, show
from .hazard import GROUP, Case, Protection, say
from .procedure import EXTRA_LOW, UNHELD, worked
from .spec import Spec

OVER_OUTPUT = 1.15  # the cut-off over the output voltage and its step deviation: common practice, no source
SLOW = 2.0  # a soft start over its least time: common practice, no source
REACT = 2e-6  # s that a cut-off takes: invented
FOLLOWED = (4, 40)  # times the least time that a runaway is followed for; the more where losses slow it down
CLAMPED = 1.1  # what a clamp lets through over the voltage at which it begins to hold: invented
DRAINED = 5.0  # s after which a dangerous output must be below 60 V: common practice, no source
LARGEST = 1e6  # Ω of a discharge resistor: beyond it moisture and the meter decide; common practice, no source


def slow_start(case: Case) -> Protection:
    """Slow enough for the current limit, at full load and the lowest source voltage."""
    allowed, off = case.i_limit - case.full.state.ripple_current / 2, 1 - case.full.duty
    what, against = "Soft start", "overload at the end of the climb, overshoot; it does nothing against the inrush, which is over by then"
    caution = ("The converter is live from the instant at which the source is connected, not only once the output has arrived: keep "
               "hands off while it climbs.")
    if allowed * off <= case.spec.i_out.max:
        line = say("At full load and the lowest source voltage the load alone takes all that the current limit allows: it does **not** "
                   "start under full load.")  # fmt: skip
        return Protection(what, "none is slow enough", against, "a higher current limit, or a load that comes later", (line,), caution,
                          unmet="it does not start under full load at the lowest source voltage")  # fmt: skip
    least = worked(GROUP, "With a set point that climbs this slowly the coil just comes to its limit at the end of the climb, under full "
                   f"load. {SLOW:g} times that is set: losses, a limit below its mark and overshoot take their part.",
                   soft_start.soft_start_time(), capacitance=case.marked, v_out=case.spec.v_out, duty_off=off, i_allowed=allowed,
                   i_out=case.spec.i_out.max)  # fmt: skip
    return Protection(what, f"{show(SLOW * least.value, 's')} or slower", against,
                      "the set point climbs from zero in a straight line, anew after every stop", (least,), caution)  # fmt: skip


def current_limit(case: Case) -> Protection:
    """Cycle by cycle, in the switch."""
    saturates, limit = case.known.i_saturation, show(case.i_limit, "A")
    words = "where the coil saturates is **not known** here" if saturates is None else f"the coil saturates at {show(saturates, 'A')}"
    line = say(f"The coil peaks at {show(case.peak, 'A')} in service; the limit lies above that; {words}.", case.i_limit, "A")
    unmet = f"the coil saturates at {show(saturates, 'A')}, before it acts" if saturates and saturates < case.i_limit else ""
    return Protection("Current limit, cycle by cycle", limit, "overload, lost feedback, saturation",
                      "acts once the least on-time has passed, and then opens the switch for the rest of the period; the coil keeps its "
                      f"inductance up to {limit}", (line,),
                      "It does nothing against a shorted output or the inrush: that path holds no switch.", unmet=unmet)  # fmt: skip


def cut_off_level(spec: Spec) -> float:
    """Where the cut-off acts, V."""
    return OVER_OUTPUT * (spec.v_out + (spec.step_deviation or 0.0))


def room_for(spec: Spec) -> float:
    """What the parts at the output have to bear, V, so that a clamp has room above the cut-off."""
    return CLAMPED * cut_off_level(spec)


def cut_off(case: Case) -> Protection:
    """A second comparator with a divider of its own: exact course of a runaway that it ends."""
    level, thin = cut_off_level(case.spec), case.thin
    stage = {"capacitance": thin.capacitor.capacitance, "v_in": case.spec.v_in.max, "i_limit": case.i_limit}
    broken = max(case.v_limit, level)
    time = worked(GROUP, f"With the feedback lost, no load, and the least that is left of the output capacitor, the output comes to "
                  f"{show(broken, 'V')} in no less than this.", runaway.runaway_time(), **stage, v_after=broken,
                  v_before=case.spec.v_out)  # fmt: skip
    react = worked(GROUP, f"While the cut-off reacts ({show(REACT, 's')}, invented) it climbs by this besides.", runaway.react_margin(),
                   **stage, t_react=REACT, v_before=level)  # fmt: skip
    for times in FOLLOWED:
        run = faults.unregulated(thin, ceil(times * time.value * case.spec.frequency), i_limit=case.i_limit, loaded=False, cut_off=level)
        if (seen := run.reaches("v_out", level)) is not None:
            break
    top = run.output_voltage.max + react.value
    ends = f"cut off there, it still climbs to {show(run.output_voltage.max, 'V')} by the coil's energy"
    exact = say(f"On the exact circuit it comes to {show(level, 'V')} after {show(seen, 's')}; {ends}." if seen is not None else
                f"On the exact circuit it comes to {show(run.output_voltage.max, 'V')} only, within {show(run.duration, 's')}.",
                run.output_voltage.max, "V")  # fmt: skip
    unmet = "" if top <= case.v_limit else (f"parts at the output must bear {show(top, 'V')}, and the weakest bears "
                                            f"{show(case.v_limit, 'V')}")
    return Protection("Over-voltage cut-off", show(level, "V"), "lost feedback, lost load",
                      f"a divider and a reference of its own; keeps the switch open; parts at the output bear {show(top, 'V')}",
                      (time, exact, react), f"{UNHELD}. {faults.CAUTIONS['runaway']}", unmet=unmet)  # fmt: skip


def output_clamp(case: Case) -> Protection:
    """The last line, for the coil's energy only."""
    begins = case.v_limit / CLAMPED
    power = worked(GROUP, "It cannot take this for good, which is the most that a converter without feedback brings.",
                   runaway.runaway_power(), v_in=case.spec.v_in.max, i_limit=case.i_limit)  # fmt: skip
    what, against = "Clamp at the output", "what a cut-off lets through"
    warns = "A clamp that is asked to replace the cut-off overheats and fails, shorted or open: fit both. " + faults.CAUTIONS["load lost"]
    if begins <= case.spec.v_in.max:
        return Protection(what, "none", against, f"parts at the output that bear more than {show(case.v_limit, 'V')}", (power,), warns,
                          unmet=f"it would begin to hold at {show(begins, 'V')}, below the source")  # fmt: skip
    energy = worked(GROUP, "A clamp across the output takes what the coil still holds when the switch stops.", clamp.clamp_across_switch(),
                    **case.coil, i_start=case.i_limit, v_clamp=begins, v_in=case.spec.v_in.max)  # fmt: skip
    level = cut_off_level(case.spec)
    unmet = "" if begins > level else (
        f"it begins to hold at {show(begins, 'V')}, below the cut-off at {show(level, 'V')}: it would take the whole runaway, and burn. "
        f"The weakest part at the output bears {show(case.v_limit, 'V')}; parts that all bear more than {show(room_for(case.spec), 'V')} "
        "make room")
    return Protection(what, f"holds from {show(begins, 'V')} on", against,
                      f"swallows {show(energy.value, 'J')} at {show(case.i_limit, 'A')} without passing {show(case.v_limit, 'V')}",
                      (energy, power), warns, unmet=unmet)  # fmt: skip


def drain(case: Case) -> Protection:
    """A resistor that empties a dangerous output."""
    charge = {"capacitance": case.marked, "v_charged": case.spec.v_out, "v_safe": EXTRA_LOW}
    resistor = preferred(min(DRAINED / discharge.safe_time().formula(r_bleed=1.0, **charge), LARGEST), "E12", "down")
    line = worked(GROUP, "After switch-off the output is below 60 V in this time.", discharge.safe_time(), r_bleed=resistor, **charge)
    return Protection("Discharge resistor at the output", show(resistor, "Ω"), "charge that stays after switch-off",
                      f"bears {show(case.spec.v_out, 'V')} and {show(case.spec.v_out**2 / resistor, 'W')} for good", (line,),
                      "A resistor can break: measure before you touch, every time.")  # fmt: skip
