"""Regulators that make things worse, on the exact circuit: one that turns the duty past the peak of the gain and stays there, and one
that is too fast for the right-half-plane zero.

    thin_source(converter, v_out)          the same, so small, and so weakly fed, that the peak of its gain lies near what is asked
    overloaded(stage, controller, begin)   an overload that passes, with a largest duty
    lock_up(stage, v_out)                  panel: the largest duty
    hasty(rest, high)                      a load step from a steady state of the closed loop
    too_fast(low, high, controller)        panel: gain, and size of the step
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..circuit import Converter, regulated
from ..circuit.controller import Controller
from ..circuit.course import Course, Steady
from ..circuit.switched import duty_for, steady_states
from ..control.compensator import Compensator
from ..units import show
from .curves import rows
from .live import Panel, Slider
from .regulator_panels import step_course
from .style import Figure, styled

DUTIES = np.linspace(0.3, 0.98, 69)
SPARE = 1.15  # the highest output of the weakly fed stage over what is asked
TURN = 0.9  # of the output's time R C: how long the overload lasts
AFTER = 1.1  # of the same: how long the output is watched once it is gone
PERIODS = 75  # of the clock to the time R C, in the weakly fed stage
HEAVIER = 3.0  # by this the load resistance is divided meanwhile
TAIL = 15  # periods at the end of a course that are looked at for a swing that lasts
CALM, WATCHED = 4, 100  # periods before the step and after it
INSTANT = 0.35  # of the period, at which the load steps
GAINS = 2.0 ** (np.arange(-6, 10) / 3)  # a quarter to eight times, an octave in three steps


def thin_source(converter: Converter, v_out: float) -> Converter:
    """The same coil, switch and rectifier with a small output capacitor, a resistance as load that takes the same current, and so much
    resistance in the source (an old battery, thin leads) that no duty gives more than SPARE times `v_out` (V)."""
    from scipy.optimize import brentq

    r_load = v_out / converter.letters()["i_out"] if "i_out" in converter.letters() else converter.load.resistance
    stage = converter.change(r_load=r_load, capacitance=PERIODS * converter.t_sw / r_load)
    high = brentq(lambda r: _highest(stage.change(r_source=r)) - SPARE * v_out, 1e-4 * r_load, r_load, rtol=1e-3)
    weak = stage.change(r_source=float(high))
    return weak.change(duty=duty_for(weak, v_out))


def _highest(stage: Converter) -> float:
    return float(np.max(steady_states(stage, duty=DUTIES).output_voltage.mean))


def peak_of(stage: Converter) -> tuple[np.ndarray, float]:
    """Output (V) along DUTIES, and the duty at which it is highest."""
    outputs = steady_states(stage, duty=DUTIES).output_voltage.mean
    return outputs, float(DUTIES[np.argmax(outputs)])


def slow_regulator(stage: Converter, v_out: float, most_duty: float = 0.95) -> Controller:
    """An integrator that takes the duty from nothing to one in the stage's time R C, at an error of `v_out`; a ramp of 1 V."""
    rate = 1 / (PERIODS * stage.t_sw * v_out)
    return Controller(Compensator("integrator", rate / (2 * np.pi)).linear(), v_out, high=1.0, most_duty=most_duty)


def overloaded(stage: Converter, controller: Controller, begin) -> Course:
    """From `begin` (a steady state's `last`): the load HEAVIER for TURN, then as before for AFTER."""
    span = PERIODS * stage.t_sw
    begun = 0.1 * span
    changes = ((begun, stage.change(r_load=stage.load.resistance / HEAVIER)), (begun + TURN * span, stage))
    return regulated.follow(stage, controller, round((0.1 + TURN + AFTER) * PERIODS), begin=begin, changes=changes)


@styled
def overload_page(course: Course, says: str = "", onto: Figure | None = None) -> Figure:
    """The output and the duty of each period, the time of the overload named."""
    _, output = step_course(course)
    span = PERIODS * course.converter.t_sw
    spans = [(0.1 * span, (0.1 + TURN) * span, "overload")]
    stacked = [({"": output}, ("output, read at each clock", "V"), {"level": {"what is set": course.controller.v_set}, "bottom": 0.0}),
               ({"": course.duty}, ("duty", ""), {"bottom": 0.0, "top": 1.0})]
    return rows(course.starts, stacked, along=("time", "s"), spans=spans, heights=[1.5, 1.1], says=says or locked_words(course), onto=onto)


def lock_up(stage: Converter, v_out: float) -> Panel:
    """The largest duty of a slow regulator under a slider: an overload takes the duty up, and beyond the peak of the gain it stays there.
    `stage`: what `thin_source` gives."""
    base = slow_regulator(stage, v_out)
    begin = regulated.steady(stage, base).last

    def compute(most_duty):
        return overloaded(stage, replace(base, most_duty=most_duty), begin)

    def draw(course, onto):
        return overload_page(course, onto=onto)

    return Panel(compute, draw, [Slider("most_duty", "largest duty", "", stage.switch.duty + 0.02, 0.98, base.most_duty)])


def locked_words(course: Course) -> str:
    """What came of an overload, in words."""
    kept = "the output has come back" if back(course) else "the output has not come back"
    end = course.output(course.starts[-1] + course.converter.t_sw * np.linspace(0, 1, 9)).mean()
    return (f"largest duty {show(course.controller.most_duty)}: {kept}; at the end {show(float(end), 'V')} at a duty of "
            f"{show(course.duty[-1])}, set are {show(course.controller.v_set, 'V')}")  # fmt: skip


def back(course: Course) -> bool:
    """Whether the output has been as high as what is set since the overload went."""
    gone = (0.1 + TURN) * PERIODS * course.converter.t_sw
    return bool(np.max(course.output(course.starts[course.starts > gone])) >= course.controller.v_set)


# --- too fast ---


def hasty(rest: Steady, high: Converter) -> Course:
    """From a steady state of the closed loop, stable or not, after CALM periods: the load of `high`, for WATCHED periods."""
    at = (CALM + INSTANT) * rest.converter.t_sw
    return regulated.follow(rest.converter, rest.controller, CALM + WATCHED, begin=rest.last, changes=((at, high),))


def _from_rest(course: Course) -> tuple[np.ndarray, np.ndarray]:
    return step_course(course, float(course.output(course.starts[0])[0]))


@styled
def hasty_page(course: Course, says: str = "", onto: Figure | None = None) -> Figure:
    """The output and the duty of each period."""
    time, output = _from_rest(course)
    stacked = [({"": output}, ("change of the output, read at each clock", "V")),
               ({"": course.duty}, ("duty", ""), {"bottom": 0.0, "top": 1.0})]
    return rows(time, stacked, along=("time", "s"), heights=[1.6, 1.1], says=says or hasty_words(course), onto=onto)


def with_gain(controller: Controller, gain: float) -> Controller:
    """The same regulator with `gain` times its gain."""
    return replace(controller, network=controller.network.scaled(gain))


def too_fast(low: Converter, high: Converter, controller: Controller) -> Panel:
    """A regulator's gain, and the load after a step, under sliders: from the load of `low` to that of `high`.

    The steady states before the step are found once, for GAINS; another gain costs one more search."""
    rests = {_step_of(gain): _rest(low, controller, gain) for gain in GAINS}

    def compute(gain, i_out):
        if _step_of(gain) not in rests:
            rests[_step_of(gain)] = _rest(low, controller, gain)
        rest = rests[_step_of(gain)]
        if isinstance(rest, ValueError):
            raise rest
        return hasty(rest, high.change(i_out=i_out)), gain

    def draw(numbers, onto):
        course, gain = numbers
        return hasty_page(course, f"gain {show(gain)} times: {hasty_words(course)}", onto)

    before, after = (stage.load.current for stage in (low, high))
    return Panel(compute, draw, [Slider("gain", "gain of the regulator, times", "", GAINS[0], GAINS[-1], 1.0, len(GAINS) - 1, True),
                                 Slider("i_out", "load after the step", "A", 0.5 * before, 2 * after - before, after)])  # fmt: skip


def _step_of(gain: float) -> float:
    return round(3 * np.log2(gain), 3)


def _rest(low: Converter, controller: Controller, gain: float) -> Steady | ValueError:
    try:
        return regulated.steady(low, with_gain(controller, gain))
    except ValueError as trouble:
        return trouble


def hasty_words(course: Course) -> str:
    """How far the output moved, and how much it still swings at the end, in words."""
    _, output = _from_rest(course)
    return (f"output lowest {show(float(output.min()), 'V')} from where it was, highest {show(float(output.max()), 'V')}; over the last "
            f"{TAIL} periods the duty still moves by {show(float(np.ptp(course.duty[-TAIL:])))}").replace("-", "−")  # fmt: skip
