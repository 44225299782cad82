"""Random converters over many decades: conservation laws, the independent integrator, and many at once against one by one."""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from kirchhoff import Network, run
from stages import INPUT, LOSSLESS, SECOND, converters, sizes, stage

from boostkit.circuit import switched


def integral(s, quantity):
    """The integral of a quantity over the period, from the exact moments."""
    return sum(np.array(p.mode.rows[quantity]) @ p.mode.flow.moments(p.state, p.duration)[:, -1] for p in s.pieces)


@settings(derandomize=True, max_examples=250, deadline=None, database=None)
@given(converters())
def test_balances_close(converter):
    """Volt-seconds, charge and energy balance, and a disturbance never grows, in any converter under clock and duty."""
    try:
        s = switched.steady_state(converter)
    except ValueError as refused:
        assert "collapse" in str(refused)                # a constant current beyond what the losses let through
        return
    current, voltage = sizes(s)
    c = converter
    # a state known to rounding (2e-16 of its size) moves flux L i and charge C v by as much a period: the first term
    assert abs(integral(s, "v_inductor")) < 1e-14 * c.inductor.inductance * current + 1e-11 * voltage * s.period
    assert abs(integral(s, "i_capacitor")) < 1e-14 * c.capacitor.capacitance * voltage + 1e-11 * current * s.period
    assert s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-10)
    assert all(loss >= -1e-12 * s.input_power for loss in s.losses.values())
    # two courses of passive parts under one clock differ by the state of a passive network, whose energy cannot grow
    assert max(abs(m) for m in s.multipliers) < 1 + 1e-9
    assert s.inductor_current.min >= -1e-12 * current or c.rectifier.kind == "switch"
    assert 0 <= s.conduction_end <= 1 and (s.mode == "discontinuous") == (s.conduction_end < 1)


@settings(derandomize=True, max_examples=40, deadline=None, database=None)
@given(converters())
def test_random_converters_return_to_their_start(converter):
    """The independent integrator returns to the start after one period, for random converters in either mode."""
    network = Network(converter)
    on = "channel" if network.second else "diode"
    speeds = [np.abs(np.linalg.eigvals(network.solve(*state)[0][10:])).max()
              for state in (("closed", "off", True), ("open", on, True))]
    assume(max(speeds) < 100 * converter.switch.frequency)               # else the explicit integrator takes seconds
    try:
        s = switched.steady_state(converter)
    except ValueError:
        return
    current, voltage = sizes(s)
    course = run(converter, s.pieces[0].state)
    for k, (after, before) in enumerate(zip(course.x, s.pieces[0].state, strict=True)):
        assert abs(after - before) < 1e-9 * (current if k in (0, 3) else voltage)


# ------------------------------------------------------------------------------------------------- many at once

@pytest.mark.filterwarnings("error")
@settings(derandomize=True, max_examples=40, deadline=None, database=None)
@given(converters(), st.integers(0, 2**32 - 1))
def test_many_at_once_equal_single_ones(converter, seed):
    """Each entry of the batch equals its single steady state, and is nan with the same reason where that is refused."""
    assume(converter.input_capacitor is None and not converter.rectifier.dead_time)
    rng = np.random.default_rng(seed)
    letters = {"duty": rng.uniform(0, 0.97, 5) * [0, 1, 1, 1, 1], "v_in": converter.source.voltage * rng.uniform(0.5, 2, 5),
               "r_load" if converter.load.resistance else "i_out":
               (converter.load.resistance or converter.load.current) * 10 ** rng.uniform(-1, 1.5, 5)}  # fmt: skip
    batch = switched.steady_states(converter, **letters)
    for k in range(5):
        check_entry(batch, k, converter.change(**{name: float(values[k]) for name, values in letters.items()}))


def check_entry(batch, k, converter):
    """One entry of a batch against its single steady state."""
    try:
        s = switched.steady_state(converter)
    except ValueError as refused:
        assert batch.refused[k] == str(refused) and math.isnan(batch.output_voltage.mean[k])
        return
    assert k not in batch.refused and batch.discontinuous[k] == (s.mode == "discontinuous")
    current, voltage = sizes(s)
    assert batch.conduction_end[k] == pytest.approx(s.conduction_end, abs=1e-9) and batch.duty[k] == pytest.approx(s.duty, rel=1e-12)
    for name in ("output_voltage", "inductor_current", "switch_current", "rectifier_current", "capacitor_current",
                 "switch_voltage", "source_current"):  # fmt: skip
        size = voltage if "voltage" in name else current
        for field in ("mean", "min", "max", "rms"):
            one, many = getattr(getattr(s, name), field), getattr(getattr(batch, name), field)[k]
            power = 2 if field == "rms" else 1                           # squares are what is integrated: a zero is 1e-16 there
            assert abs(one**power - many**power) < 1e-9 * size**power, (name, field)      # two ways to one root, each to rounding
    for part, loss in s.losses.items():
        assert abs(batch.losses[part][k] - loss) < 1e-9 * s.input_power, part
    assert batch.efficiency[k] == pytest.approx(s.efficiency, rel=1e-9)


def test_many_at_once_beyond_the_common_path():
    """What the common path does not serve goes one by one: input capacitor, dead time, peak current, late rectifier."""
    for letters, name, values in (
        (INPUT, "duty", [0.3, 0.6]), ({**SECOND, "dead_time": 1e-7}, "duty", [0.3, 0.6]), ({}, "peak_current", [0.05, 1.0]),
        ({"capacitance": 2e-7, "r_load": 10, "inductance": 2e-6}, "duty", [0.1, 0.15]), ({}, "duty", [0.0, 0.3]),
        ({**LOSSLESS, "v_in": 261.6, "inductance": 1.33666e-3, "f_sw": 13972.9, "v_rectifier": 4.328, "r_rectifier": 0.174,
          "capacitance": 3.01727e-9, "r_capacitor": 0.0726, "r_load": None, "i_out": 0.0357942}, "duty", [0.073027, 0.5]),
        ({}, "c_input", [1e-5, 1e-6]), ({}, "r_source", [0.0, 0.3]),
    ):  # fmt: skip
        c = stage(**letters)
        if name == "c_input":
            c = c.change(r_source=0.1, c_input=1e-5)
        batch = switched.steady_states(c, **{name: values})
        for k, value in enumerate(values):
            check_entry(batch, k, c.change(**{name: value}))


def test_many_at_once_without_ripple():
    """Where nothing moves, the capacitor's rms current is zero to rounding, and never nan."""
    rms = switched.steady_states(stage(duty=0.0), r_load=np.geomspace(1, 1e4, 200)).capacitor_current.rms
    assert np.all(rms < 1e-6)                            # its square is rounding of a square of some ampere


def test_many_at_once_refuses_singly_or_as_a_whole():
    """A collapsed entry is nan with its reason; a value out of range, no value, or rival letters refuse the whole call."""
    batch = switched.steady_states(stage(r_load=None, i_out=1.0), i_out=[0.5, 20.0, 0.0], duty=0.9)
    assert batch.refused.keys() == {1, 2} and "collapses" in batch.refused[1] and "0 A" in batch.refused[2]
    assert np.isnan(batch.efficiency).tolist() == [False, True, True]
    check_entry(switched.steady_states(stage(), i_out=[0.5]), 0, stage(r_load=None, i_out=0.5))    # a new kind of load
    for letters in ({}, {"duty": []}, {"duty": [0.5, math.nan]}, {"duty": [0.5, 1.0]}, {"f_sw": [1e5, 0.0]},
                    {"inductance": [0.0]}, {"r_load": [1.0], "i_out": [1.0]}, {"dutty": [0.5]}):  # fmt: skip
        with pytest.raises(ValueError):
            switched.steady_states(stage(), **letters)
