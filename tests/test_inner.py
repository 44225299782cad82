"""The inner loop of peak-current control: a textbook's numbers, the exact circuit's multipliers, and the plant that is left.

The textbook is Erickson & Maksimovic, Fundamentals of Power Electronics, 3rd ed., ch. 18, its equations as quoted.
"""

from math import inf, pi

import numpy as np
import pytest

from boostkit.circuit import Converter, averaged, regulated, switched
from boostkit.circuit.controller import Controller
from boostkit.circuit.linear import Linear
from boostkit.control import inner


def _ideal(duty: float, v_in: float = 20.0, inductance: float = 100e-6, capacitance: float = 10e-3, r_load: float = 10.0) -> Converter:
    """A stage of ideal parts, its output capacitor so large that the output stands still from period to period."""
    return Converter.of(v_in=v_in, duty=duty, f_sw=100e3, inductance=inductance, capacitance=capacitance, r_load=r_load)


def test_a_boost_from_20_to_50_volts():
    """Eq. 18.40 to 18.47: duty 0.6, a disturbance grows by -1.5 each period without a ramp."""
    found = inner.calm(_ideal(0.6), 0.0)
    assert found.growth == pytest.approx(-1.5, rel=1e-3) and found.quality == inf  # the output's own ripple, 1e-4 of it
    assert found.growth**2 == pytest.approx(2.25, rel=2e-3) and found.growth**3 == pytest.approx(-3.375, rel=3e-3)
    assert -found.fall / found.rise == pytest.approx(1.5, rel=1e-3)  # eq. 18.35: m2/m1 = D/D'


@pytest.mark.parametrize(("duty", "share", "growth"), [(0.6, 0.5, -0.4286), (0.8, 0.5, -0.6667), (0.6, 1.0, 0.0)])
def test_a_ramp_calms_it(duty, share, growth):
    """Eq. 18.52 to 18.58: half the falling slope calms every duty, all of it leaves nothing."""
    stage = _ideal(duty)
    slope = -share * inner.calm(stage, 0.0).fall
    assert inner.calm(stage, slope).growth == pytest.approx(growth, abs=2e-3)  # four digits; the output's own ripple


@pytest.mark.parametrize(("duty", "share", "quality"), [(0.5, 0.5, 1.273), (0.5, 1.0, 0.637), (0.6, 0.5, 1.592)])
def test_the_resonance_at_half_the_switching_frequency(duty, share, quality):
    """Eq. 18.173: at half duty, a quality of 1.273 with half the falling slope and 0.637 with all of it; at 0.6, more."""
    stage = _ideal(duty)
    slope = -share * inner.calm(stage, 0.0).fall
    assert inner.calm(stage, slope).quality == pytest.approx(quality, rel=2e-3)  # three or four digits; the output's own ripple


@pytest.mark.parametrize("seed", range(12))
def test_growth_against_the_exact_circuit(seed):
    """The disturbance's factor is the multiplier of the exact circuit driven by peak current, output standing still, losses and all."""
    rng = np.random.default_rng(seed)
    v_in = rng.uniform(4, 12)
    stage = Converter.of(v_in=v_in, duty=rng.uniform(0.2, 0.75), f_sw=150e3, inductance=rng.uniform(60e-6, 150e-6), capacitance=20e-3,
                         r_load=rng.uniform(8, 15), r_inductor=0.04, r_switch=0.03, v_rectifier=0.4, r_rectifier=0.02)  # fmt: skip
    opened = switched.steady_state(stage)
    assert opened.mode == "continuous"
    driven = switched.steady_state(_with_peak(stage, opened.inductor_current.max))
    fast = max(driven.multipliers, key=lambda m: -np.real(m))  # the other is that of capacitor and load, near one
    # within a period resistance lets a disturbance fade by r T/L, up to 0.8 %; the slopes leave that out
    assert inner.calm(stage, 0.0).growth == pytest.approx(float(np.real(fast)), rel=0.01)


def _with_peak(stage: Converter, peak: float) -> Converter:
    return Converter.of(v_in=stage.source.voltage, f_sw=stage.switch.frequency, inductance=stage.inductor.inductance,
                        capacitance=stage.capacitor.capacitance, r_load=stage.load.resistance, r_inductor=0.04, r_switch=0.03,
                        v_rectifier=0.4, r_rectifier=0.02, peak_current=peak)  # fmt: skip


@pytest.mark.parametrize("left", [0.1, 0.25, 0.6])
def test_the_chosen_ramp_on_the_exact_circuit(left):
    """With the chosen ramp the closed current loop's multiplier is minus what was to be left, on the exact circuit."""
    stage = _ideal(0.6)
    chosen = inner.choose({"only": stage}, left)
    assert chosen.with_ramp["only"].growth == pytest.approx(-left)
    steady = switched.steady_state(stage)
    top = steady.inductor_current.max + chosen.slope * 0.6 * stage.t_sw  # where the comparator trips
    loop = regulated.steady(stage, Controller(Linear.constant(0.0), v_set=50.0, drive="current", sense=1.0, slope=chosen.slope, bias=top))
    assert loop.duty == pytest.approx(0.6, rel=1e-6)
    fast = min(np.real(loop.multipliers))
    assert fast == pytest.approx(-left, abs=2e-3)  # the output moves a little


def test_the_worst_corner_sets_the_ramp():
    """The lowest source voltage at full load asks for the ramp; a corner in discontinuous conduction asks for none."""
    stages = {(v, i): Converter.of(v_in=v, duty=1 - 0.95 * v / 18, f_sw=150e3, inductance=47e-6, capacitance=150e-6, r_load=18 / i,
                                   r_inductor=0.05, r_switch=0.03, v_rectifier=0.4) for v in (5.5, 7.2) for i in (0.02, 0.6)}  # fmt: skip
    chosen = inner.choose(stages)
    assert chosen.worst == (5.5, 0.6) and "grows" in chosen.why[0]
    assert max(abs(each.growth) for each in chosen.with_ramp.values()) == pytest.approx(inner.LEFT)
    assert chosen.with_ramp[5.5, 0.02] == inner.Calm(*[pytest.approx(x) for x in (stages_slopes(stages[5.5, 0.02]))], 0.0, 0.0)
    assert abs(inner.calm(stages[5.5, 0.6], 0.99 * chosen.slope).growth) > inner.LEFT  # the least that does it


def stages_slopes(stage: Converter) -> tuple[float, float]:
    """By hand: the voltages across the coil at the peak of its current, over its inductance."""
    steady = switched.steady_state(stage)
    peak = steady.inductor_current.max
    v_cap = steady.waveforms(4001).v_capacitor
    at = float(np.interp(stage.switch.duty * stage.t_sw, steady.waveforms(4001).time, v_cap))
    rise = (stage.source.voltage - peak * 0.08) / 47e-6
    return rise, (stage.source.voltage - 0.4 - at - peak * 0.05) / 47e-6


def test_below_half_duty_no_ramp_is_asked_for():
    """At a duty of 0.15 less than a quarter of a disturbance is left without any ramp."""
    chosen = inner.choose({"only": _ideal(0.15)})
    assert chosen.slope == 0 and chosen.worst is None and "no ramp" in chosen.why[0]
    assert abs(chosen.without["only"].growth) == pytest.approx(0.15 / 0.85, rel=1e-3)


def test_the_plant_that_is_left():
    """Eq. 18.28 and table 18.3: D'R/2 over the sense resistor at rest, a pole at 2/(RC), the right-half-plane zero of the stage."""
    stage = _ideal(0.4, inductance=2e-3, capacitance=48e-6, r_load=50.0)  # hardly any ripple, as the simple model has it
    plant = inner.plants({"only": stage}, sense=0.5, slope=0.0)["only"]
    assert plant.dc == pytest.approx(0.6 * 50 / 2 / 0.5, rel=0.02)  # half the ripple of 3.6 % lies between peak and mean
    slow = min(abs(pole) for pole in plant.poles) / 2 / pi
    assert slow == pytest.approx(2 / (50 * 48e-6) / 2 / pi, rel=0.03)
    zero = min(z.real for z in plant.zeros if z.real > 0) / 2 / pi
    assert zero == pytest.approx(averaged.model(stage).rhp_zero, rel=0.01)
    assert zero == pytest.approx(0.36 * 50 / 2e-3 / 2 / pi, rel=0.01)


def test_what_makes_no_sense_is_refused():
    """No corner, all of a disturbance left, a negative ramp, a switch that never closes."""
    with pytest.raises(ValueError, match="at least one corner"):
        inner.choose({})
    with pytest.raises(ValueError, match="left"):
        inner.choose({"only": _ideal(0.6)}, 1.0)
    with pytest.raises(ValueError, match="slope"):
        inner.calm(_ideal(0.6), -1.0)
    with pytest.raises(ValueError, match="duty of 0"):
        inner.calm(_ideal(0.0), 0.0)
