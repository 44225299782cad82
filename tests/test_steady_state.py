"""The exact periodic solution against an integrator written from Kirchhoff's laws, all along the period."""

import math

import numpy as np
import pytest
from kirchhoff import run
from stages import INPUT, LOSSLESS, SECOND, sizes, stage

from boostkit.circuit import switched
from boostkit.circuit.periodic import periodic

BORDER = 198.2263197466  # Ω: the inductor current of the tide gauge just reaches zero (found by bisection below)

# name: the letters that differ from the tide gauge's stage, the mode, and the conducting elements in order
OFF, ON, BOTH, REST = ("closed", "off"), ("open", "diode"), ("closed", "diode"), ("open", "off")
CASES = {
    "continuous": ({}, "continuous", [OFF, ON]),
    "discontinuous": ({"r_load": 600}, "discontinuous", [OFF, ON, REST]),
    "hardly continuous": ({"r_load": BORDER * (1 - 1e-6)}, "continuous", [OFF, ON]),
    "hardly discontinuous": ({"r_load": BORDER * (1 + 1e-6)}, "discontinuous", [OFF, ON, REST]),
    "second conduction": ({"capacitance": 2e-7, "duty": 0.15, "r_load": 10, "inductance": 2e-6}, "discontinuous",
                          [OFF, ON, REST, ON]),
    "rectifier beside the switch": ({"r_switch": 3, "v_rectifier": 0.2, "r_load": 3, "duty": 0.4}, "continuous", [BOTH, ON]),
    "rectifier joins late": ({"r_switch": 1.5, "r_load": 5, "duty": 0.8, "capacitance": 4e-6}, "continuous", [OFF, BOTH, ON]),
    "never switched": ({"duty": 0.0}, "continuous", [ON]),
    "beyond the peak": ({"duty": 0.995}, "continuous", [OFF, ON]),
    "constant current": ({"r_load": None, "i_out": 0.6}, "continuous", [OFF, ON]),
    "constant current, light": ({"r_load": None, "i_out": 0.02}, "discontinuous", [OFF, ON, REST]),
    "reversed current": ({**SECOND, "r_load": 600}, "continuous", [OFF, ("open", "channel")]),
    "dead time": ({**SECOND, "r_load": 600, "dead_time": 1e-7}, "continuous",
                  [OFF, ("open", "body"), ("open", "channel"), ("body", "off")]),
    "dead time, heavy": ({**SECOND, "dead_time": 1e-7}, "continuous",
                         [OFF, ("open", "body"), ("open", "channel"), ("open", "body")]),
    "source resistance": ({"r_source": 0.2}, "continuous", [OFF, ON]),
    "input capacitor": (INPUT, "continuous", [OFF, ON]),
    "input capacitor, light": ({**INPUT, "r_load": 600}, "discontinuous", [OFF, ON, REST]),
    "source inductance": ({**INPUT, "l_source": 1e-6}, "continuous", [OFF, ON]),
    "peak current": ({"duty": None, "peak_current": 1.2}, "continuous", [OFF, ON]),
    "peak current, unstable": ({"duty": None, "peak_current": 2.0}, "continuous", [OFF, ON]),
    "peak current, light": ({"duty": None, "peak_current": 0.4, "r_load": 900}, "discontinuous", [OFF, ON, REST]),
    "two thresholds": ({"duty": None, "f_sw": None, "peak_current": 2.0}, "continuous", [OFF, ON]),
}  # fmt: skip


def solved(name):
    """The steady state of a case, and one period of the independent integrator from its start."""
    s = switched.steady_state(stage(**CASES[name][0]))
    return s, run(s.converter, s.pieces[0].state)


@pytest.mark.parametrize("name", CASES)
def test_case_is_what_it_says(name):
    """Each case has the mode and runs through the conducting elements that its name promises."""
    s = switched.steady_state(stage(**CASES[name][0]))
    assert s.mode == CASES[name][1]
    assert [tuple(p.mode.kind[:2]) for p in s.pieces] == CASES[name][2]


@pytest.mark.parametrize("name", CASES)
def test_one_period_brings_the_state_back(name):
    """The independent integrator, started in our steady state, returns to it after our period."""
    s, course = solved(name)
    current, voltage = sizes(s)
    for k, (after, before) in enumerate(zip(course.x, s.pieces[0].state, strict=True)):
        # 1e-11: the integrator runs at rtol 1e-12, and two digits are lost at most where it adds up tens of steps
        assert abs(after - before) < 1e-11 * (current if k in (0, 3) else voltage)
    assert course.time == pytest.approx(s.period, rel=1e-12)


@pytest.mark.parametrize("name", CASES)
def test_waveforms_agree_all_along_the_period(name):
    """Every quantity of the waveforms agrees with the independent integrator to 1e-9 of its size."""
    s, course = solved(name)
    current, voltage = sizes(s)
    w = s.waveforms(400)
    instants = np.array([0.0, *w.edges, s.period, *(segment[2] for segment in course.segments)])
    clear = np.min(np.abs(w.time[:, None] - instants), axis=1) > 1e-9 * s.period       # a jump has two values at its instant
    assert clear.sum() > 350
    for quantity in ("i_inductor", "v_capacitor", "v_out", "v_inductor", "v_switch", "v_rectifier", "i_switch",
                     "i_rectifier", "i_capacitor", "i_load", "i_source", "v_input"):  # fmt: skip
        error = np.abs(getattr(w, quantity) - course.at(quantity, w.time))[clear]
        assert error.max() < 1e-9 * (current if quantity[0] == "i" else voltage), quantity
    segments = [[seg for seg in course.segments if seg[2] <= t <= seg[3]][-1] for t in w.time[clear]]
    assert w.closed[clear].tolist() == [seg[1][0] == "closed" for seg in segments]
    assert w.conducting[clear].tolist() == [seg[1][1] != "off" for seg in segments]


@pytest.mark.parametrize("name", CASES)
def test_means_rms_and_losses_agree_with_quadrature(name):
    """Means, rms values, powers and losses agree with adaptive quadrature of the independent solution."""
    s, course = solved(name)
    current, voltage = sizes(s)
    c, t = s.converter, s.period
    for summary, quantity in ((s.output_voltage, "v_out"), (s.inductor_current, "i_inductor"), (s.switch_current, "i_switch"),
                              (s.rectifier_current, "i_rectifier"), (s.capacitor_current, "i_capacitor"),
                              (s.switch_voltage, "v_switch"), (s.source_current, "i_source")):  # fmt: skip
        size = current if quantity[0] == "i" else voltage
        assert abs(summary.mean - course.integral(quantity) / t) < 1e-10 * size      # quadrature and integrator: 1e-11
        assert abs(summary.rms**2 - course.integral(quantity, quantity) / t) < 1e-10 * size**2
    expected = {
        "inductor": c.inductor.resistance * course.integral("i_inductor", "i_inductor"),
        "switch": course.integral("v_switch", "i_switch"),
        "rectifier": course.integral("v_rectifier", "i_rectifier"),
        "capacitor": c.capacitor.series_resistance * course.integral("i_capacitor", "i_capacitor"),
    }
    if c.source.resistance:
        expected["source"] = c.source.resistance * course.integral("i_source", "i_source")
    if c.input_capacitor:
        square = course.integral("i_input_capacitor", "i_input_capacitor")
        expected["input_capacitor"] = c.input_capacitor.series_resistance * square
    assert s.losses.keys() == expected.keys()
    for part, energy in expected.items():
        assert abs(s.losses[part] - energy / t) < 1e-10 * s.input_power, part
    assert s.input_power == pytest.approx(c.source.voltage * course.integral("i_source") / t, rel=1e-10)
    assert s.output_power == pytest.approx(course.integral("v_out", "i_load") / t, rel=1e-10)


@pytest.mark.parametrize("name", CASES)
def test_extremes_agree_with_a_fine_search(name):
    """Lowest and highest values agree with a bounded search on the independent solution, each where it lies."""
    s, course = solved(name)
    current, voltage = sizes(s)
    for summary, quantity in ((s.output_voltage, "v_out"), (s.inductor_current, "i_inductor"),
                              (s.capacitor_current, "i_capacitor"), (s.switch_voltage, "v_switch")):  # fmt: skip
        low, high = course.extremes(quantity)
        size = current if quantity[0] == "i" else voltage
        assert abs(summary.min - low) < 1e-10 * size and abs(summary.max - high) < 1e-10 * size, quantity


@pytest.mark.parametrize("name", [name for name in CASES if "hardly" not in name])
def test_multipliers_agree_with_disturbed_courses(name):
    """What a period makes of a disturbance agrees with the independent integrator started a millionth off."""
    s = switched.steady_state(stage(**CASES[name][0]))
    current, voltage = sizes(s)
    start = np.array(s.pieces[0].state)
    steps = 1e-6 * np.array([current, voltage, voltage, current])[: len(start)]
    columns = [(run(s.converter, start + step).x - start) / size
               for step, size in zip(np.diag(steps), steps, strict=True)]  # fmt: skip
    expected = np.poly(np.array(columns).T)                     # the characteristic polynomial: no need to sort
    assert np.poly(s.multipliers) == pytest.approx(expected, abs=1e-4)    # one-sided difference of a millionth, curvature


def test_border_lies_where_the_current_just_touches_zero():
    """Just short of the border the lowest current is a hair above zero, just beyond it the rest is a hair long."""
    before, beyond = (switched.steady_state(stage(r_load=BORDER * (1 + side * 1e-6))) for side in (-1, 1))
    assert 0 < before.inductor_current.min < 1e-6 * before.inductor_current.max
    assert 1 - 1e-5 < beyond.conduction_end < 1 and before.conduction_end == 1.0
    assert before.output_voltage.mean == pytest.approx(beyond.output_voltage.mean, rel=1e-6)   # no jump at the border


def test_border_is_crossed_to_the_last_digit():
    """A bisection of the load towards the border finds a steady state at every step, down to neighbouring numbers."""
    low, high = 100.0, 400.0
    while (middle := (low + high) / 2) not in (low, high):
        s = switched.steady_state(stage(r_load=middle))
        assert s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-10)
        low, high = (middle, high) if s.mode == "continuous" else (low, middle)
    assert low == pytest.approx(BORDER, rel=1e-11)


def test_no_switching_passes_the_input_through():
    """Without loss and switching the output is the input, and nothing moves."""
    s = switched.steady_state(stage(**LOSSLESS, duty=0.0))
    assert s.output_voltage.mean == pytest.approx(6, rel=1e-14) and s.ripple_current < 1e-12
    assert s.efficiency == pytest.approx(1, rel=1e-14)


def test_a_rectifier_that_needs_more_than_the_source_gives():
    """Without switching and with a forward voltage above the source nothing flows at all."""
    s = switched.steady_state(stage(duty=0.0, v_rectifier=7.0))
    assert (s.output_voltage.max, s.inductor_current.max, s.input_power) == (0, 0, 0) and math.isnan(s.efficiency)


def test_peak_current_below_the_standing_current():
    """A current that never falls below the set peak leaves the switch open for good: the same as duty 0."""
    s = switched.steady_state(stage(duty=None, peak_current=0.05))
    assert s.duty == 0 and s.output_voltage.mean == switched.steady_state(stage(duty=0.0)).output_voltage.mean


def test_waveforms_begin_and_end_at_the_same_value():
    """The samples cover the period from 0 on, two at each edge, and the continuous quantities close."""
    s = switched.steady_state(stage(r_load=600))
    w = s.waveforms(1000)
    assert w.time[0] == 0 and w.time[-1] == pytest.approx(s.period, rel=1e-12) and abs(len(w.time) - 1000) < 5
    assert np.all(np.diff(w.time) >= 0) and all(np.sum(np.isclose(w.time, e, rtol=1e-12, atol=0)) == 2 for e in w.edges)
    assert w.i_inductor[0] == 0 and w.v_capacitor[-1] == pytest.approx(w.v_capacitor[0], rel=1e-13)
    assert w.edges == pytest.approx((0.68 * s.period, s.conduction_end * s.period), rel=1e-12)
    with pytest.raises(ValueError, match="n = 1 must be at least 2"):
        s.waveforms(1)


@pytest.mark.parametrize(("letters", "said"), [
    ({"r_load": None, "i_out": 0.0}, "load.current = 0 A: nothing takes the energy"),
    ({"r_load": None, "i_out": 0.0, "duty": 0.0}, "load.current = 0 A: nothing discharges the output"),
    ({"r_load": None, "i_out": 20.0, "duty": 0.9}, "load.current = 20 A: no steady state with the load above its knee of 1 V"),
    ({"duty": None, "peak_current": 200.0}, "switch.peak_current = 200 A: no duty below"),
    ({"duty": None, "f_sw": None, "peak_current": 200.0}, "settles at 100 A and never reaches peak_current"),
    ({"duty": None, "f_sw": None, "peak_current": 2.0, "r_load": 0.5}, "settles at 10 A and never comes to rest"),
    ({"c_input": 1e-5}, "input_capacitor sits on a source without resistance"),
    ({"duty": None, "peak_current": 2.0, "r_load": None, "i_out": 0.6, "v_in": 1.2}, "load.current = 600 mA"),
])  # fmt: skip
def test_what_has_no_steady_state_is_refused(letters, said):
    """Where no steady state exists, the error says so with the values."""
    with pytest.raises(ValueError) as caught:
        switched.steady_state(stage(**letters))
    assert said in str(caught.value)


@pytest.mark.parametrize("letters", [
    {"f_sw": 1e-3}, {"f_sw": 1e9, "inductance": 1e-9, "capacitance": 1e-12}, {"f_sw": 1e9, "capacitance": 1e-3},
    {"inductance": 1e-12}, {"capacitance": 1e-12}, {"r_load": 1e-9}, {"r_switch": 1e6}, {"r_rectifier": 1e6},
    {"r_capacitor": 1e6}, {"duty": 1e-15}, {"duty": 1 - 1e-12}, {"v_rectifier": 100.0},
])  # fmt: skip
@pytest.mark.filterwarnings("error")
def test_extreme_numbers_still_balance(letters):
    """At the ends of the ranges, stiff or ringing through a thousand seconds, power in still equals power out plus losses,
    and nothing is printed."""
    s = switched.steady_state(stage(**letters))
    assert s.input_power > 0 and s.input_power == pytest.approx(s.output_power + sum(s.losses.values()), rel=1e-9)


@pytest.mark.parametrize("name", [name for name, (letters, *_) in CASES.items() if stage(**letters).switch.drive == "duty"])
def test_a_search_over_duties_may_keep_the_modes(name):
    """The modes of a circuit do not depend on its duty: found with those of another duty, the pieces are the same to the last digit."""
    converter = stage(**CASES[name][0])
    other, _, _ = periodic(converter.change(duty=0.31))
    _, alone, length = periodic(converter)
    _, kept, same = periodic(converter, other)
    assert (length, [piece[1:] for piece in alone]) == (same, [piece[1:] for piece in kept])
    assert all(piece.mode is other.mode(piece.mode.kind) for piece in kept)
