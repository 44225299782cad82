"""Peak-current control: the ramp that calms the inner loop at every corner, and the converter that the outer loop then sees.

    chosen = inner.choose(converters)                     # corner to Converter
    plants = inner.plants(converters, sense=0.2, slope=chosen.slope)

Without a ramp every disturbance of the coil current grows from period to period above half duty (`derivations/current_mode`). Too
steep a ramp makes the current loop slow, so the least that calms the worst corner is chosen.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from math import inf

from ..circuit import averaged, switched
from ..circuit.converter import Converter
from ..circuit.linear import Linear
from ..derivations import current_mode
from ..units import guard, show

LEFT = 0.25  # of a disturbance after one period, at the worst corner: a quality of about 1 at half the switching frequency


@dataclass(frozen=True)
class Calm:
    """The inner loop at one corner. rise, fall A/s (fall is negative): the coil current's slopes where the switch opens. growth: what a
    disturbance becomes in one period (size above 1: it grows). quality: of the resonance at half the switching frequency (inf: it does
    not die out). In discontinuous conduction nothing is left of a disturbance of the current: growth 0, quality 0."""

    rise: float
    fall: float
    growth: float
    quality: float


@dataclass(frozen=True)
class Inner:
    """The chosen slope (A/s) of the ramp, the corner that asks for it (None: none asks for one), and each corner with it and without."""

    slope: float
    worst: object
    with_ramp: Mapping[object, Calm]
    without: Mapping[object, Calm]
    why: tuple[str, ...]


def choose(converters: Mapping[object, Converter], left: float = LEFT) -> Inner:
    """The least ramp with which, at every corner, at most a share of a disturbance is left after one period.

    Args: converters, corner to Converter at its operating point; left, 0 (nothing) up to 1 (not included: it would ring for ever).
    Errors: ValueError. Source: Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed., sec. 18.2 (as quoted).
    """
    guard("left", left, 0, 1, open_high=True, why="at 1 a disturbance never dies out")
    if not converters:
        raise ValueError("converters must hold at least one corner")
    without = {corner: calm(converter, 0.0) for corner, converter in converters.items()}
    asked = {corner: _least(each, left) for corner, each in without.items()}
    worst = max(asked, key=asked.get)
    slope = max(0.0, asked[worst])
    with_ramp = {corner: calm(converter, slope) for corner, converter in converters.items()}
    return Inner(slope, worst if slope else None, with_ramp, without, _words(slope, worst, without, with_ramp))


def calm(converter: Converter, slope: float) -> Calm:
    """The inner loop of a converter with a ramp of `slope` (A/s), by the slopes that the exact circuit has where its switch opens."""
    guard("slope", slope, 0, unit="A/s")
    steady = switched.steady_state(converter)
    rise, fall = _slopes(steady.pieces)
    if steady.mode == "discontinuous":
        return Calm(rise, fall, 0.0, 0.0)
    growth = float(current_mode.growth_in_slopes().formula(slope_rise=rise, slope_fall=fall, slope_ramp=slope))
    duty, share = fall / (fall - rise), -slope / fall
    dies = abs(growth) < 1
    return Calm(rise, fall, growth, float(current_mode.inner_quality().formula(duty=duty, ramp_share=share)) if dies else inf)


def plants(converters: Mapping[object, Converter], sense: float, slope: float) -> dict[object, Linear]:
    """Corner to the response from control voltage to output with the inner loop closed.

    Args: sense Ω, from coil current to the comparator; slope A/s, of the ramp. Errors: ValueError.
    """
    return {corner: averaged.current_mode(averaged.model(each), each, sense, slope).control_to_output
            for corner, each in converters.items()}  # fmt: skip


def _slopes(pieces) -> tuple[float, float]:
    """Of the coil current just before the switch opens, and once the rectifier has taken over (past a dead time, which only moves)."""
    k = averaged.opening(pieces)
    if k is None or k + 1 >= len(pieces):
        raise ValueError("the switch must close and open within the period: a duty of 0 has no slopes to compare")
    driven = [piece for piece in pieces[k + 1:] if piece.mode.kind.rectifier == "channel"]
    before, after = pieces[k], (driven or pieces[k + 1:])[0]
    return float(before.mode.flow.rate(before.end_state)[0]), float(after.mode.flow.rate(after.state)[0])


def _least(found: Calm, left: float) -> float:
    """The ramp that leaves just this share; 0 or below where none is needed. The formula's voltages are those across a coil of 1 H."""
    if not found.growth:
        return 0.0
    return float(current_mode.least_ramp().formula(v_in=found.rise, v_out=found.rise - found.fall, inductance=1.0, growth_allowed=left))


def _words(slope: float, worst, without: Mapping, with_ramp: Mapping) -> tuple[str, ...]:
    bare = without[worst].growth
    if not slope:
        return (f"no ramp is needed: at most {abs(bare):.2f} of a disturbance is left after one period",)
    grows = "it grows" if abs(bare) >= 1 else "it dies out slowly"
    return (
        f"without a ramp a disturbance becomes {bare:.2f} times itself in one period at {worst}: {grows}",
        f"a ramp of {show(slope, 'A/s')} leaves {abs(with_ramp[worst].growth):.2f} of it there, a quality of "
        f"{with_ramp[worst].quality:.2f} at half the switching frequency",
    )
