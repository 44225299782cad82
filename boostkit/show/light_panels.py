"""Light load under sliders: on which side of the border a converter runs, its gain there, and the climb without a load.

    border(converter, v_out)     panel: the border in the plane of duty and load, and the path of a falling load
    gains(converter)             panel: exact gain against duty, beside the formula of both modes of conduction
    climb(converter, ...)        panel: the output at fixed duty once the load is gone
    border_map, climb_of         the pictures behind them, numbers in
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from ..circuit import Converter
from ..circuit.switched import steady_state, steady_states
from ..circuit.validity import measured, value_of
from ..derivations import light_load, switching, unloaded
from ..units import show
from . import figures
from .curves import curves
from .live import Panel, Slider
from .panels import WORDS, sliders_for
from .style import Figure, styled

DUTIES = np.linspace(0.01, 0.95, 95)
LIGHTEST = 1e-3  # of the border's highest current: where the picture of the border ends below
ALONG_LOAD = np.geomspace(1e-4, 100, 121)  # of the same: how far the path of a falling load is drawn


# --- the border ---

@styled
def border_map(
    border, ways: Mapping[str, tuple], marks: Mapping[str, tuple], *, around: float | None = None, says: str = "",
    onto: Figure | None = None,
) -> Figure:
    """The plane of duty and load current. `border`: its current (A) along DUTIES; below it the current runs dry.
    `ways`: for each label (duties, load currents) along which a point moves; `marks`: for each label a point, or arrays.
    `around`: the load current (A) around which the axis goes, by default the border's highest."""
    middle = around or np.max(border)
    return curves(DUTIES, {"border": border} | dict(ways), along=("duty D", ""), of=("load current", "A"), marks=marks,
                  logarithmic="y", bottom=LIGHTEST * middle, top=middle / LIGHTEST**0.5, height=3.2, says=says, onto=onto)  # fmt: skip


def border_of(converter: Converter, v_out: float) -> np.ndarray:
    """The load current (A) at the border along DUTIES, for a coil, a clock and a regulated output (V)."""
    f, two_coil = converter.switch.frequency, 2 * converter.inductor.inductance
    return switching.conduction_border().formula(duty=DUTIES) * v_out / (two_coil * f)


def duty_needed(converter: Converter, v_out: float, i_out) -> np.ndarray:
    """The duty without loss that keeps `v_out` (V) at load currents (A), on either side of the border."""
    gain = v_out / converter.source.voltage
    k_load = 2 * converter.inductor.inductance * converter.switch.frequency * np.asarray(i_out, float) / v_out
    wet, dry = 1 - 1 / gain, light_load.duty_for_gain().formula(k_load=k_load, gain=gain)
    return np.minimum(wet, dry)  # they cross at the border, and the lower one is the right one on either side


def border(converter: Converter, v_out: float) -> Panel:
    """Source, load, coil and clock of a converter whose output is held at `v_out` (V) by its duty: where it runs, on which
    side of the border, and for how long its coil idles in the exact circuit at that duty."""
    load = converter.change(r_load=v_out / converter.letters()["i_out"]) if "i_out" in converter.letters() else converter
    source, i_out = load.source.voltage, v_out / load.load.resistance
    around = border_of(load, v_out).max()  # the axis stays, so that the line is seen to move
    sliders = [Slider("v_in", WORDS["v_in"], "V", min(0.3 * v_out, source), max(0.95 * v_out, source), source),
               Slider("i_out", WORDS["i_out"], "A", i_out / 100, 100 * i_out, i_out, logarithmic=True),
               *sliders_for(load, "inductance", "f_sw")]

    def compute(i_out, **values):
        now = load.change(r_load=v_out / i_out, **values)
        limit = border_of(now, v_out)
        loads = ALONG_LOAD * around
        duty = float(duty_needed(now, v_out, i_out))
        return limit, (duty_needed(now, v_out, loads), loads), (duty, i_out), steady_state(now.change(duty=duty))

    def draw(numbers, onto):
        limit, way, point, state = numbers
        return border_map(limit, {"as the load falls": way}, {"here": point}, around=around, says=_where(point, state),
                          onto=onto)  # fmt: skip

    return Panel(compute, draw, sliders)


def _where(point: tuple[float, float], state) -> str:
    """Where it runs and what the exact circuit says of that, in words."""
    coil = state.inductor_current
    words = (f"the coil idles for {show(1 - state.conduction_end, '%')} of the period" if state.mode == "discontinuous"
             else f"the lowest coil current is {show(coil.min, 'A')}")
    return (f"load {show(point[1], 'A')}, source {show(state.letters['v_in'], 'V')}: duty without loss {show(point[0])}; in the "
            f"exact circuit {state.mode} conduction, {words}, highest coil current {show(coil.max, 'A')}, output "
            f"{show(state.output_voltage.mean, 'V')}")


# --- the gain ---

def gain_of(duty, k_load) -> np.ndarray:
    """The gain without loss at a load number, in whichever mode of conduction the duty leads to."""
    duty = np.asarray(duty, float)
    wet = switching.ideal_gain().formula(duty=duty)
    dry = light_load.discontinuous_gain().formula(duty=duty, k_load=k_load)
    return np.where(k_load < switching.conduction_border().formula(duty=duty), dry, wet)


def gains(converter: Converter) -> Panel:
    """Exact gain against duty with this converter's losses, beside the formula of both modes and that of the continuous
    one; load, coil and duty under sliders."""
    duty = np.linspace(0.0, 0.9, 31)
    wet = switching.ideal_gain().formula(duty=duty)

    def compute(**values):
        now = converter.change(**values)
        state = steady_state(now)
        here = measured(state)
        exact = steady_states(now, duty=duty).output_voltage.mean / now.source.voltage
        seen = {"1/(1 − D)": wet, "exact, with losses": exact, "formula of both modes": gain_of(duty, here["k_load"])}
        return seen, {f"now, {state.mode}": (here["duty"], here["gain"])}

    def draw(numbers, onto):
        return figures.gain(duty, *numbers, onto=onto)

    sliders = [_lighter(slider) for slider in sliders_for(converter, "duty", "r_load", "inductance", "v_rectifier")]
    return Panel(compute, draw, sliders)


def _lighter(slider: Slider) -> Slider:
    """Room for loads lighter than the converter's own, which is light already."""
    return replace(slider, high=max(10 * slider.start, slider.high), logarithmic=True) if slider.name == "r_load" else slider


# --- no load ---

@styled
def climb_of(time, formula, floor, limit: float, exact: tuple | None = None, *, says: str = "", onto: Figure | None = None) -> Figure:
    """An unloaded output along `time` (s): by the formula, and the `floor` that its promise leaves to losses; `limit` (V) is
    drawn across, `exact` are (times, volts) of the exact circuit."""
    seen = {"without loss": formula, "at least": floor}
    marks = {"exact": exact} if exact else {}
    return curves(np.asarray(time, float), seen, along=("time since the load was taken away", "s"), of=("output voltage", "V"),
                  marks=marks, level={"limit": limit}, bottom=0.0, height=2.8, says=says, onto=onto)  # fmt: skip


def climb_curves(converter: Converter, v_before: float, v_after: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """From `v_before` until a little beyond `v_after` (V), once the load is gone: time (s), output by the formula (V), and
    the least that its promise allows (V), each of shape (101,)."""
    letters = {**measured(steady_state(converter)), "v_before": v_before, "v_after": v_after}
    last = 1.15 * value_of(unloaded.cycles_to_voltage().formula, letters)
    cycles = last * np.linspace(0, 1, 101) ** 2  # the climb is steepest at first
    letters["cycles"] = cycles
    formula = unloaded.unloaded_climb().formula
    volts = value_of(formula, letters)
    return cycles / converter.switch.frequency, volts, volts / (1 + formula.error_bound(**letters))


def climb(converter: Converter, v_before: float, limit: float) -> Panel:
    """The output of a converter that loses its load at `v_before` (V), its duty staying as it is, up to `limit` (V)."""
    letters = [name for name in ("duty", "v_in", "inductance", "capacitance") if name in converter.letters()]
    sliders = [_within(slider, v_before) for slider in sliders_for(converter, *letters)]
    if not v_before < limit:
        raise ValueError(f"limit = {show(limit, 'V')} must lie above v_before = {show(v_before, 'V')}: nothing is climbed otherwise")

    def compute(**values):
        now = converter.change(**values)
        if v_before * (1 - now.switch.duty) < now.source.voltage:
            raise ValueError(f"duty = {show(now.switch.duty)} is too high to begin dry at {show(v_before, 'V')}: with a source of "
                             f"{show(now.source.voltage, 'V')} it must be below {show(1 - now.source.voltage / v_before)}")
        return *climb_curves(now, v_before, limit), now

    def draw(numbers, onto):
        time, volts, floor, now = numbers
        return climb_of(time, volts, floor, limit, says=_until(time, volts, floor, limit, now), onto=onto)

    return Panel(compute, draw, sliders)


def _within(slider: Slider, v_before: float) -> Slider:
    """The source cannot lie above the output that it starts from."""
    return replace(slider, high=max(0.9 * v_before, slider.start), logarithmic=False) if slider.name == "v_in" else slider


def _until(time, volts, floor, limit: float, now: Converter) -> str:
    """When the limit is reached, in words."""
    soonest, latest = (float(np.interp(limit, course, time)) for course in (volts, floor))
    late = f"and with losses {show(latest, 's')} at the latest" if floor[-1] >= limit else "and losses may hold it below that"
    periods = show(round(soonest * now.switch.frequency), "", 4)
    return f"duty {show(now.switch.duty)}, no load: {show(limit, 'V')} after {periods} periods, {show(soonest, 's')} without loss, {late}"
