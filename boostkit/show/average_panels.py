"""The duty moves a little: what the output does, period by period, in waves, and over frequency, on paper and under sliders.

    more_duty(converter, rise, periods)     exact means of each period after a small lasting rise of the duty
    wrong_way(means, made_good)             what the rectifier brings and the output, the first moments
    wiggled(converter, per_cycle, size)     exact means of each period while the duty goes up and down
    waves(...)                              such courses above one another, along the cycle
    wiggle(converter)                       panel: the duty and the output in time, at a frequency to choose
    late(answer), counted(path, f)          by how many degrees the waves of a response come late
    size_and_lag(...)                       how large and how late, over frequency
    departure(f, ratios)                    how far models are off, over frequency
    response(converter)                     panel: the same while source, load, coil and capacitor are moved
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from ..circuit import Converter, averaged, perturbed
from ..circuit.linear import Linear
from ..circuit.modes import Piece
from ..circuit.results import SteadyState, Summary
from ..circuit.switched import after_step, steady_state
from ..units import guard, show
from .curves import rows
from .live import Panel, Slider
from .panels import sliders_for
from .style import Figure, styled

SETTLED = 1e-3  # share of a disturbance that may be left where waves are looked at
SWEEP = 31  # frequencies of the averaged model's curve under a slider
POINTS = 7  # of the exact circuit beside it
SEEN = 60  # periods of a cycle whose means are taken; every one of them where there are fewer
CYCLES = np.linspace(0.0, 2.0, 121)  # along which a wave is drawn
HIGHEST = 0.49  # of the switching frequency: from a half on there is no answer
AVERAGED = ("i_inductor", "i_rectifier", "v_out")
TURN = np.tan(np.radians(np.linspace(-80, 80, 17)))  # even steps of the angle of a resonance
PARTS = ("v_in", "r_load", "i_out", "inductance", "capacitance", "r_capacitor")


@dataclass(frozen=True)
class Means:
    """Means of whole periods, shape (n,): `time` (s) is the middle of each. `duty` of each period, and as changes against the
    steady state before: coil current (A), rectifier current (A), output (V)."""

    time: np.ndarray
    duty: np.ndarray
    i_inductor: np.ndarray
    i_rectifier: np.ndarray
    v_out: np.ndarray


def _means(periods: Mapping[int, list[Piece]], period: float, before: SteadyState) -> Means:
    """The means of periods: for the number of each, its pieces."""
    pieces = periods.values()
    found = np.array([_mean_of(each) for each in pieces]) / period
    rested = [_rest(before, name).mean for name in AVERAGED]
    closed = [sum(piece.duration for piece in each if piece.mode.kind.switch == "closed") / period for each in pieces]
    return Means(period * (np.array(list(periods)) + 0.5), np.array(closed), *(found - rested).T)


def _rest(state: SteadyState, name: str) -> Summary:
    return {"i_inductor": state.inductor_current, "i_rectifier": state.rectifier_current, "v_out": state.output_voltage}[name]


def _mean_of(pieces: list[Piece]) -> list[float]:
    """Exact integrals of the three quantities over these pieces."""
    integrals = [piece.mode.flow.moments(piece.state, piece.duration)[:, -1] for piece in pieces]
    return [sum(float(np.array(piece.mode.rows[name]) @ part) for piece, part in zip(pieces, integrals, strict=True))
            for name in AVERAGED]  # fmt: skip


# --- a little more duty, once ---


def more_duty(converter: Converter, rise: float, periods: int) -> Means:
    """Exact means of periods after the duty has risen by `rise` (below 0: has fallen) for good, at time 0: of each of the
    `periods`, or where they are many of about 120 of them."""
    period, step = converter.t_sw, max(1, periods // (2 * SEEN))
    run = after_step(converter, converter.change(duty=converter.switch.duty + rise), periods).pieces
    each: dict[int, list[Piece]] = {k: [] for k in range(0, periods, step)}
    for piece in run:
        each.get(min(int((piece.start + piece.duration / 2) / period), periods - 1), []).append(piece)
    return _means(each, period, steady_state(converter))


@styled
def wrong_way(means: Means, made_good: float | None = None, *, onto: Figure | None = None) -> Figure:
    """After a rise of the duty: the means of coil current, of the rectifier's current and of the output, as changes. `made_good`:
    time (s) until the rectifier brings as much as before, a tinted stretch."""
    spans = [(0.0, made_good, "brings less")] if made_good else []
    low = int(np.argmin(means.v_out))
    says = (f"In the first period after the rise the rectifier current is {show(means.i_rectifier[0], 'A')} off on average; output lowest "
            f"{show(means.v_out[low], 'V')} at {show(means.time[low], 's')}, after {show(means.time[-1], 's')} "
            f"{show(means.v_out[-1], 'V')}").replace("-", "−")
    drawn = {"coil current": (means.i_inductor, "A"), "rectifier current": (means.i_rectifier, "A"), "output": (means.v_out, "V")}
    stacked = [({"": values}, (f"{what}, change of its mean", unit), {"level": {"before": 0.0}}) for what, (values, unit) in drawn.items()]
    return rows(means.time, stacked, along=("time since the duty rose", "s"), spans=spans, heights=[0.95] * 3, says=says, onto=onto)


# --- the duty in a wave ---


def wiggled(converter: Converter, per_cycle: int, size: float, cycles: int = 2) -> Means:
    """Exact means of periods while the switch opens where the clock's ramp meets duty + size sin(2 pi f t), with
    f = f_sw/per_cycle: of about 60 periods in each of the `cycles`, which begin once all has settled.
    Raises ValueError for two periods a cycle or fewer, for a size that would take the duty out of 0 to 1, and without a set duty."""
    guard("per_cycle", per_cycle, 3, why="two periods a cycle are half the switching frequency")
    before, period = steady_state(converter), converter.t_sw
    guard("size", size, 0, min(before.duty, 1 - before.duty), open_high=True, why="the duty would leave 0 to 1")
    slowest, step = max(abs(np.array(before.multipliers))), max(1, per_cycle // SEEN)
    wait = per_cycle * math.ceil(math.log(SETTLED) / math.log(slowest) / per_cycle)
    turn = 2 * math.pi / (per_cycle * period)
    run = perturbed.course(converter, lambda t: before.duty + size * math.sin(turn * t), wait + cycles * per_cycle)
    seen = {k - wait: pieces for k, (pieces, _) in enumerate(run) if k >= wait and (k - wait) % step == 0}
    return _means(seen, period, before)


@styled
def waves(duty: tuple, outputs: Mapping[str, tuple], *, says: str = "", onto: Figure | None = None) -> Figure:
    """The duty above, and below it a row for each of the `outputs`, along cycles: pairs (cycles, values)."""
    stacked = [({"": duty}, ("duty", "")), *(({"": course}, (words, "V")) for words, course in outputs.items())]
    return rows(duty[0], stacked, along=("cycles of the wiggle", ""), heights=[0.8, *[1.0] * len(outputs)], says=says, onto=onto)


def wiggle(converter: Converter) -> Panel:
    """The duty and the output in time, once all has settled: exact but for small changes, the ripple left out. Frequency and
    size of the wiggle, source, load and output capacitor under sliders."""
    f_sw, most = converter.switch.frequency, min(converter.switch.duty, 1 - converter.switch.duty) / 10
    sliders = [Slider("f", "frequency of the wiggle", "Hz", f_sw / 3e4, HIGHEST * f_sw, f_sw / 1000, logarithmic=True),
               Slider("size", "size of the wiggle", "", most / 20, most, most / 5),
               *sliders_for(converter, "v_in", "r_load", "i_out", "capacitance")]  # fmt: skip

    def compute(f, size, **values):
        now = converter.change(**values)
        answer = perturbed.response(now, f)
        return now, f, size, abs(answer), float(_nearest(counted(averaged.model(now).control_to_output, f), answer))

    def draw(numbers, onto):
        now, f, size, gain, lag = numbers
        duty = now.switch.duty + size * np.sin(2 * np.pi * CYCLES)
        output = size * gain * np.sin(2 * np.pi * CYCLES - np.radians(lag))
        return waves((CYCLES, duty), {"change of the output": (CYCLES, output)}, says=_told(f, size, gain, lag), onto=onto)

    return Panel(compute, draw, sliders)


def _told(f: float, size: float, gain: float, lag: float) -> str:
    """Size and lateness in words."""
    return (f"duty up and down by {show(size)} at {show(f, 'Hz')}: output up and down by {show(size * gain, 'V')}, "
            f"{show(gain, 'V')} for each unit of duty, {show(lag, '°')} late, that is {show(lag / 360 / f, 's')}")


# --- over frequency ---


def late(answer) -> np.ndarray:
    """By how many degrees the output's wave comes late, shape (n,), for a complex response along rising frequencies that lie
    close enough to follow the angle, the first of them slow (within half a turn of no delay)."""
    return -np.degrees(np.unwrap(np.angle(np.asarray(answer))))


def counted(path: Linear, f) -> np.ndarray:
    """The same for a linear system at any frequencies (Hz), each pole and zero by itself, so that no turn is lost between them."""
    s = 2j * np.pi * np.asarray(f, float)
    led = sum(np.angle(1 - s / zero) for zero in path.zeros) - sum(np.angle(1 - s / pole) for pole in path.poles)
    return (180.0 if path.dc < 0 else 0.0) - np.degrees(led)


def _nearest(turn, answer) -> np.ndarray:
    """The lag of a complex answer in degrees, on that turn which is nearest to a lag known roughly."""
    return turn + (-np.degrees(np.angle(answer)) - turn + 180) % 360 - 180


@styled
def size_and_lag(
    f, answers: Mapping[str, np.ndarray], points: tuple | None = None, *, of: tuple[str, str] = ("output, V for each unit of duty", ""),
    says: str = "", onto: Figure | None = None,
) -> Figure:
    """How large above, how late below, along frequency (Hz). `answers`: for each label a complex response, shape (n,) of f.
    `points`: (frequencies, response) of the exact circuit, close enough to the first answer to be on the same turn."""
    sizes = {label: np.abs(answer) for label, answer in answers.items()}
    named = len(answers) > 1  # a single curve is named once, in the row above: a label costs time under a slider
    lags = {label * named: late(answer) for label, answer in answers.items()}
    dots = ({}, {})
    if points is not None:
        at, exact = points
        first = next(iter(answers.values()))
        near = _nearest(np.interp(np.log(at), np.log(f), late(first)), exact)
        dots = {"exact": (at, np.abs(exact))}, {"exact" * named: (at, near)}
    stacked = [(sizes, of, {"marks": dots[0], "logarithmic": True}), (lags, ("comes late by", "°"), {"marks": dots[1]})]
    return rows(f, stacked, along=("frequency", "Hz"), logarithmic=True, heights=[1.45, 1.15], says=says, onto=onto)


@styled
def departure(f, ratios: Mapping[str, np.ndarray], *, onto: Figure | None = None) -> Figure:
    """How far models are off over frequency (Hz), size above, angle below. `ratios`: for each label a model's complex answer
    over the exact one, shape (n,) of f."""
    sizes = {label: np.abs(ratio) - 1 for label, ratio in ratios.items()}
    angles = {label: np.degrees(np.angle(ratio)) for label, ratio in ratios.items()}
    return rows(f, [(sizes, ("error in size", "%")), (angles, ("error in angle", "°"))], along=("frequency", "Hz"),
                logarithmic=True, onto=onto)  # fmt: skip


def response(converter: Converter) -> Panel:
    """From duty to output over frequency while source, load, coil and output capacitor are moved, the duty kept: the averaged
    model with all losses as a curve, the exact circuit as points."""
    f_sw = converter.switch.frequency
    f, at = np.geomspace(f_sw / 3e4, HIGHEST * f_sw, SWEEP), np.geomspace(f_sw / 1e4, HIGHEST * f_sw, POINTS)

    def compute(**values):
        model = averaged.model(now := converter.change(**values))
        own = np.sort(np.append(f, _steep(model, f)))
        return model, own, model.control_to_output(own), perturbed.response(now, at)

    def draw(numbers, onto):
        model, own, curve, exact = numbers
        return size_and_lag(own, {"averaged": curve}, (at, exact), says=landmarks(model), onto=onto)

    return Panel(compute, draw, sliders_for(converter, *PARTS))


def _steep(model: averaged.Averaged, f: np.ndarray) -> np.ndarray:
    """More frequencies where the curve turns quickly: around the resonance, at even steps of the angle."""
    if model.resonance is None or not math.isfinite(model.quality) or not f[0] < model.resonance < f[-1]:
        return np.zeros(0)
    near = model.resonance * np.exp(np.arcsinh(TURN / (2 * model.quality)))
    return near[(near > f[0]) & (near < f[-1])]


def landmarks(model: averaged.Averaged) -> str:
    """What a model's response is known by, in words."""
    parts = [f"{model.mode} conduction, duty {show(model.duty)}, {show(model.control_to_output.dc, 'V')} of output for each unit of duty"]
    if model.resonance:
        parts.append(f"resonance {show(model.resonance, 'Hz')} with quality {show(model.quality)}")
    else:
        slow = min(abs(model.control_to_output.poles)) / (2 * math.pi)
        parts.append(f"no resonance, slow pole {show(slow, 'Hz')}")
    if model.rhp_zero:
        parts.append(f"right-half-plane zero {show(model.rhp_zero, 'Hz')}")
    return ", ".join(parts)
