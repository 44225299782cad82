"""Margins put to the test: with the gain raised to just under its margin the exact closed loop settles, just above it does not."""

import numpy as np
import pytest

from boostkit.circuit import Converter, averaged, regulated, switched
from boostkit.circuit.controller import Controller
from boostkit.control import inner, sampled
from boostkit.control.compensator import Compensator
from boostkit.control.margins import margins

F_SW = 150e3


def _stage(r_load: float, duty: float) -> Converter:
    return Converter.of(v_in=6.0, duty=duty, f_sw=F_SW, inductance=47e-6, capacitance=150e-6, r_load=r_load, r_inductor=0.05,
                        r_switch=0.03, v_rectifier=0.4, r_rectifier=0.02, r_capacitor=0.005)  # fmt: skip


FULL, LIGHT = _stage(30.0, 0.68), _stage(900.0, 0.45)
TWO = Compensator("two zeros", 20.0, (600.0, 600.0), (30e3, 30e3))


def _held(stage: Converter) -> float:
    return switched.steady_state(stage).output_voltage.mean


def _read(stage: Converter) -> float:
    """The output as a sampled regulator reads it, just before the switch closes."""
    last = switched.steady_state(stage).pieces[-1]
    return last.mode.flow.value(last.mode.rows["v_out"], last.end_state)


def _grows(stage: Converter, controller) -> bool:
    """Whether a disturbance grows on the exact circuit: a multiplier beyond one."""
    return float(np.max(np.abs(regulated.steady(stage, controller).multipliers))) > 1


def _edge_lies_within(share: float, stage: Converter, gain_margin: float, made) -> None:
    assert not _grows(stage, made(gain_margin * (1 - share)))
    assert _grows(stage, made(gain_margin * (1 + share)))


def test_voltage_mode_on_the_exact_circuit():
    """The averaged model gives the edge of an analogue loop within 4 %, with its phase crossover at a thirteenth of the clock."""
    plant = averaged.model(FULL).control_to_output
    found = margins(lambda f: TWO(f) * plant(f), 0.01, F_SW / 2)
    assert 10 < F_SW / found.phase_crossover < 20
    # the ripple at the comparator changes its gain, by a few per cent here: what an average leaves out
    _edge_lies_within(0.04, FULL, found.gain_margin, lambda k: Controller(TWO.scaled(k).linear(), _held(FULL), ramp=1.0))


def test_current_mode_on_the_exact_circuit():
    """The same for the outer loop about a calmed inner one, with its phase crossover at an eighth of the clock."""
    slope = inner.choose({"only": FULL}).slope
    plant = inner.plants({"only": FULL}, 0.2, slope)["only"]
    one = Compensator("one zero", 600.0, (1e3,), (60e3,))
    found = margins(lambda f: one(f) * plant(f), 0.01, F_SW / 2)
    assert 6 < F_SW / found.phase_crossover < 12
    _edge_lies_within(0.05, FULL, found.gain_margin,  # the same ripple
                      lambda k: Controller(one.scaled(k).linear(), _held(FULL), drive="current", sense=0.2, slope=slope))  # fmt: skip


@pytest.mark.parametrize("delay", [0, 1, 2])
def test_a_sampled_loop_on_the_exact_circuit(delay):
    """With the output as it is read at the clocks the edge is exact, for any delay."""
    def made(k: float):
        return sampled.sampled(TWO.scaled(k), F_SW, _read(FULL), prewarp=1.5e3, delay=delay)

    found = margins(sampled.loop(made(1.0), FULL), 0.01, F_SW / 2)
    _edge_lies_within(1e-5, FULL, found.gain_margin, made)  # the operating point itself is found to about 1e-9


def test_a_sampled_loop_in_light_load():
    """The same in discontinuous conduction."""
    assert switched.steady_state(LIGHT).mode == "discontinuous"

    def made(k: float):
        return sampled.sampled(TWO.scaled(k), F_SW, _read(LIGHT), prewarp=1.5e3)

    found = margins(sampled.loop(made(1.0), LIGHT), 0.001, F_SW / 2)
    _edge_lies_within(1e-5, LIGHT, found.gain_margin, made)  # as above


def test_what_is_read_at_the_clock_is_not_the_mean():
    """Averaged plant and delays agree with what is read at low frequency, and part by a tenth or more at a tenth of the clock."""
    digital = sampled.sampled(TWO, F_SW, _read(FULL), prewarp=1.5e3)
    exact, plant = sampled.loop(digital, FULL), averaged.model(FULL).control_to_output
    rough = sampled.response(digital, F_SW, 0.68)
    f = np.array([10.0, 1.5e3, F_SW / 10])
    apart = np.abs(rough(f) * plant(f) / exact(f) - 1)
    assert apart[0] < 1e-2 and apart[1] < 0.06 and 0.1 < apart[2] < 0.6


def test_a_sampled_loop_whose_edge_is_half_the_clock():
    """Without delay and without a pole the phase only comes to -180 degrees at half the clock itself: the edge is there, exactly."""
    def made(k: float):
        return sampled.sampled(Compensator("one zero", 20.0 * k, (600.0,)), F_SW, _read(LIGHT), prewarp=1.5e3, delay=0)

    found = margins(sampled.loop(made(1.0), LIGHT), 0.001, F_SW / 2)
    assert found.phase_crossover == pytest.approx(F_SW / 2, rel=1e-12)  # rounding
    _edge_lies_within(1e-5, LIGHT, found.gain_margin, made)  # the operating point itself is found to about 1e-9
