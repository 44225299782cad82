"""The exact periodic solution against an integrator written from Kirchhoff's laws, conservation laws, and textbooks.

EM3 is R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer 2020; Rashid4 is M. H. Rashid,
Power Electronics, 4th ed., Pearson 2014; Hart is D. W. Hart, Power Electronics, McGraw-Hill 2011. Codes: R read in the
book's text, RT read in a transcription, M from memory.
"""

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from kirchhoff import Network, run

from boostkit.circuit import Converter, switched

TIDE_GAUGE = {
    "v_in": 6.0, "inductance": 47e-6, "r_inductor": 0.04, "f_sw": 150e3, "duty": 0.68, "r_switch": 0.02, "v_rectifier": 0.4,
    "r_rectifier": 0.02, "capacitance": 100e-6, "r_capacitor": 0.01, "r_load": 30.0,
}  # fmt: skip
SECOND = {"rectifier": "switch", "v_rectifier": None}
LOSSLESS = {"r_inductor": None, "r_switch": None, "v_rectifier": None, "r_rectifier": None, "r_capacitor": None}
INPUT = {"r_source": 0.1, "c_input": 10e-6, "r_input_capacitor": 0.02}
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


def stage(**letters):
    """The tide gauge's stage with some letters changed; None takes one away."""
    return Converter.of(**TIDE_GAUGE | letters)


def solved(name):
    """The steady state of a case, and one period of the independent integrator from its start."""
    s = switched.steady_state(stage(**CASES[name][0]))
    return s, run(s.converter, s.pieces[0].state)


def sizes(s):
    """What one ampere and one volt of error count for: the inductor current's peak and the largest voltage."""
    current = max(abs(s.inductor_current.max), abs(s.inductor_current.min))
    return current, max(s.switch_voltage.max, s.output_voltage.max)


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


# ------------------------------------------------------------------------------------------------- conservation laws

def log_range(low, high):
    """Numbers spread evenly over the decades from low to high."""
    return st.floats(math.log10(low), math.log10(high)).map(lambda e: 10**e)


@st.composite
def converters(draw, **fixed):
    """Converters over many decades, both modes, loads and rectifiers. Energies kept in a period's work of the load stay
    within C V² f / P < 1e3, so that rounding of the capacitor voltage (2e-16) is 2e-13 of the power."""
    r, v, f = draw(log_range(0.5, 5e3)), draw(log_range(1, 300)), draw(log_range(1e3, 3e6))
    part = st.one_of(st.just(0.0), log_range(1e-5, 0.05))
    letters = {
        "v_in": v, "f_sw": f, "duty": draw(st.floats(0, 0.95)), "inductance": draw(log_range(3e-3, 30)) * r / (2 * f),
        "capacitance": draw(log_range(0.2, 1e3)) / (r * f), "r_inductor": r * draw(part), "r_switch": r * draw(part),
        "r_rectifier": r * draw(part), "r_capacitor": r * draw(part), "r_source": r * draw(part),
    }  # fmt: skip
    if draw(st.booleans()):
        letters["r_load"] = r
    else:
        letters |= {"i_out": v / r, "v_knee": 0.03 * v}
    if draw(st.booleans()):
        letters["v_rectifier"] = v * draw(st.floats(0, 0.2))
    else:
        letters |= {"rectifier": "switch", "dead_time": draw(st.floats(0, 0.4)) * (1 - letters["duty"]) / f}
    if draw(st.integers(0, 3)) == 0:
        letters |= {"c_input": draw(log_range(0.05, 50)) / (r * f), "r_source": r * 0.01, "r_input_capacitor": r * draw(part)}
    return Converter.of(**letters | fixed)


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


# ------------------------------------------------------------------------------------------------- textbook values

def textbook(v_in, duty, r_load, f_sw, inductance, capacitance=1.0, **letters):
    """A stage with nothing but the named parts; a capacitor of 1 F holds the output still."""
    return switched.steady_state(Converter.of(v_in=v_in, duty=duty, r_load=r_load, f_sw=f_sw, inductance=inductance,
                                              capacitance=capacitance, **letters))  # fmt: skip


@pytest.mark.parametrize(("duty", "gain"), [(0.5, 2), (0.6, 2.5), (0.75, 4)])
def test_ideal_gain(duty, gain):
    """A1, EM3 eq. 2.35 (RT): the lossless gain in continuous conduction is 1/D'."""
    s = textbook(10, duty, 20, 1e5, 1e-3)
    assert s.output_voltage.mean / 10 == pytest.approx(gain, rel=1e-9)   # ripple of a 1 F capacitor: below 1e-5


@pytest.mark.parametrize(("duty", "ratio"), [(0.5, 0.02), (0.7, 0.1), (0.9, 0.05)])
def test_gain_with_winding_resistance(duty, ratio):
    """A2 and A6, EM3 eq. 3.14 and 3.23 (R): M = (1/D')/(1 + R_L/(D'² R)), efficiency D' M, in the limit of small ripple."""
    s = textbook(10, duty, 20, 1e5, 0.1, r_inductor=ratio * 20)
    share = 1 + ratio / (1 - duty) ** 2
    assert s.output_voltage.mean / 10 == pytest.approx(1 / (1 - duty) / share, rel=1e-5)  # ripple below 1e-3, its square counts
    assert s.efficiency == pytest.approx(1 / share, rel=1e-5)


@pytest.mark.parametrize(("ratio", "gain"), [(0.01, 5.0), (0.05, 2.2361), (0.1, 1.5811)])
def test_highest_gain_with_winding_resistance(ratio, gain):
    """A5, from EM3 eq. 3.14 (R): the gain peaks at 0.5 sqrt(R/R_L), so that is the highest output `duty_for` can name."""
    c = Converter.of(v_in=10, duty=0.5, r_load=20, f_sw=1e5, inductance=0.1, capacitance=1.0, r_inductor=ratio * 20)
    below = switched.duty_for(c, 10 * (gain - 0.001))
    assert below < 1 - math.sqrt(ratio)                                   # the branch below the peak at D' = sqrt(R_L/R)
    with pytest.raises(ValueError, match="out of reach"):
        switched.duty_for(c, 10 * (gain + 0.001))                         # the tolerance of the printed values


def test_gain_with_all_resistances_and_forward_voltage():
    """A8, EM3 eq. 3.30-3.35 (3.30 R, rest RT; inputs made up): gain 2.34871 and efficiency 0.939485."""
    s = textbook(10, 0.6, 20, 1e5, 0.1, r_inductor=0.1, r_switch=0.05, r_rectifier=0.02, v_rectifier=0.5)
    assert s.output_voltage.mean / 10 == pytest.approx(2.34871, abs=1e-5)        # five decimals given
    assert s.efficiency == pytest.approx(0.939485, abs=2e-6)


def test_rashid_example():
    """A11, C1-C4, Rashid4 Ex. 5.6 (RT): 5 V to 15 V at 0.5 A; tolerance half the last digit printed, plus the ripple's own
    square that the book neglects."""
    s = textbook(5, 2 / 3, 30, 25e3, 150e-6, 220e-6)
    assert s.output_voltage.mean == pytest.approx(15, rel=5e-4)          # an eighth of the ripple of 0.4 %
    assert s.source_current.mean == pytest.approx(1.5, rel=1e-3)
    assert s.ripple_current == pytest.approx(0.8889, rel=1e-4)
    assert s.inductor_current.max == pytest.approx(1.9444, rel=1e-3)
    assert s.ripple_voltage == pytest.approx(60.606e-3, rel=5e-3)
    assert s.switch_voltage.max == pytest.approx(15 + 0.0303, rel=1e-3)
    assert s.capacitor_current.rms == pytest.approx(0.7225, rel=1e-3)            # C4, EM3 app. A method (M)
    flat = textbook(5, 2 / 3, 30, 25e3, 150e-3)
    assert flat.capacitor_current.rms == pytest.approx(0.7071, rel=1e-4)         # C3, no coil ripple (M)


def test_rashid_example_border():
    """A12, EM3 eq. 5.32 (R): the border of A11 lies at D D'² R/(2f) = 44.44 µH, not at the 133 µH printed in Rashid4."""
    border = 2 / 3 / 9 * 30 / (2 * 25e3)
    assert border == pytest.approx(44.44e-6, abs=0.005e-6)               # half the last digit
    assert textbook(5, 2 / 3, 30, 25e3, border * 1.0001).mode == "continuous"
    assert textbook(5, 2 / 3, 30, 25e3, border * 0.9999).mode == "discontinuous"


def test_hart_example():
    """A13, C1, C4, Hart Ex. 6-4 (M): 12 V to 30 V, 120 µH and 48 µF; peak 2.7 A, valley 0.3 A, ripple 1 %."""
    s = textbook(12, 0.6, 50, 25e3, 120e-6, 48e-6)
    assert s.output_voltage.mean == pytest.approx(30, rel=2e-3)          # a fifth of the ripple of 1 %, which Hart neglects
    assert s.inductor_current.mean == pytest.approx(1.5, rel=3e-3)
    assert s.inductor_current.max == pytest.approx(2.7, rel=2e-3)
    assert s.inductor_current.min == pytest.approx(0.3, abs=8e-3)        # half a percent of the mean
    assert s.ripple_current / 2 == pytest.approx(1.2, rel=1e-6)
    assert s.ripple_voltage == pytest.approx(0.3, rel=0.025)             # the coil ends on 0.3 A, less than the load takes
    assert s.capacitor_current.rms == pytest.approx(0.8556, rel=2e-3)


@pytest.mark.parametrize("duty", [0.1, 1 / 3, 0.5, 0.8])
def test_border_of_continuous_conduction(duty):
    """B1, B5 and B6, EM3 eq. 5.32-5.33, sec. 5.3 (R) and table 5.1 (RT): the border lies at K = D D'², the gain is the same
    on both sides of it, and no load heavier than 27 L/(2 T_s) ever reaches it."""
    r, f = 20.0, 1e5
    inductance = duty * (1 - duty) ** 2 * r / (2 * f)
    above, below = (textbook(10, duty, r, f, inductance * (1 + side)) for side in (1e-6, -1e-6))
    assert (above.mode, below.mode) == ("continuous", "discontinuous")
    for s in (above, below):
        assert s.output_voltage.mean / 10 == pytest.approx(1 / (1 - duty), rel=1e-5)      # 1e-6 off the border
    lightest = 27 * inductance * f / 2
    assert textbook(10, duty, lightest * 0.999, f, inductance).mode == "continuous" and lightest <= r * (1 + 1e-12)


@pytest.mark.parametrize(("k", "duty", "gain", "conduction", "line"), [
    (0.05, 0.25, 1.7247, 0.3449, 1.618), (0.05, 0.5, 2.7913, 0.2791, 2.736),
    (0.1, 0.5, 2.1583, 0.4317, 2.081), (0.01, 0.5, 5.5249, 0.1105, 5.500),
])  # fmt: skip
def test_discontinuous_gain(k, duty, gain, conduction, line):
    """B2-B4, EM3 eq. 5.52, table 5.2 and eq. 5.54 (R): gain, the rectifier's share of the period, and the straight line
    1/2 + D/sqrt(K), which errs low by 0.4 to 6.3 % here."""
    s = textbook(10, duty, 20, 1e5, k * 20 / 2e5)
    assert s.mode == "discontinuous"
    assert s.output_voltage.mean / 10 == pytest.approx(gain, abs=6e-5)                     # four decimals printed
    assert s.conduction_end - duty == pytest.approx(conduction, abs=6e-5)
    assert 0.004 < 1 - line / (s.output_voltage.mean / 10) < 0.063
    assert s.mode != textbook(10, duty, 20, 1e5, duty * (1 - duty) ** 2 * 20 / 2e5 * 1.01).mode


def test_discontinuous_operating_point():
    """B7, EM3 eq. 15.61-15.64 (R): 24 V to 36 V at 3 A from 5 µH and 100 kHz needs D = 0.25; peak 12 A, D2 0.5."""
    c = Converter.of(v_in=24, duty=0.5, r_load=12, f_sw=100e3, inductance=5e-6, capacitance=1.0)
    assert switched.duty_for(c, 36) == pytest.approx(0.25, rel=1e-6)                       # exact in the limit of no ripple
    s = switched.steady_state(c.change(duty=0.25))
    assert s.output_voltage.mean == pytest.approx(36, rel=1e-6)
    assert s.inductor_current.max == pytest.approx(12, rel=1e-6)
    assert s.conduction_end - 0.25 == pytest.approx(0.5, rel=1e-5)
    assert pytest.approx(24**2 * 0.25**2 / (2 * 5e-6 * 100e3)) == 36 / 12 * (36 - 24)     # the book's P = I(V-V_g) = 36 W


@pytest.mark.parametrize(("ripple", "factor"), [(0.1, 1.00167), (1.0, 1.1547)])
def test_switch_rms_with_ripple(ripple, factor):
    """C5, EM3 table 3.1 (RT): with a peak ripple of 0.1 and 1 times the mean current the switch's rms value is 1.00167 and
    1.155 times I sqrt(D)."""
    duty, r, f = 0.5, 20.0, 1e5
    border = duty * (1 - duty) ** 2 * r / (2 * f)                                          # peak ripple = mean current there
    s = textbook(10, duty, r, f, border / ripple)
    assert s.switch_current.rms / (s.inductor_current.mean * math.sqrt(duty)) == pytest.approx(factor, abs=6e-5)


def test_ripple_current_of_both_modes():
    """C1, EM3 eq. 2.43 (RT): the lossless peak-to-peak ripple is V_in D/(L f_s), in discontinuous conduction too."""
    for inductance in (1e-3, 2e-6):
        s = textbook(10, 0.4, 20, 1e5, inductance)
        assert s.ripple_current == pytest.approx(10 * 0.4 / (inductance * 1e5), rel=1e-9)


@pytest.mark.parametrize("duty", [0.3, 0.6])
def test_peak_current_drive_multiplies_a_disturbance(duty):
    """D17, EM3 eq. 18.40-18.47 (RT): without a ramp a disturbance is multiplied by -D/D' each period, -1.5 from 20 to 50 V."""
    clocked = textbook(20, duty, 50, 1e5, 1e-3)
    s = switched.steady_state(clocked.converter.change(peak_current=clocked.inductor_current.max))
    assert s.duty == pytest.approx(duty, rel=1e-6)
    assert min(s.multipliers, key=lambda m: m.real).real == pytest.approx(-duty / (1 - duty), rel=1e-6)


# ------------------------------------------------------------------------------------------------- the obvious

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


# ------------------------------------------------------------------------------------------------- the duty for an output

@pytest.mark.parametrize(("letters", "v_out"), [
    ({}, 18.0), ({}, 66.6), ({"r_load": 600}, 18.0), ({"r_load": None, "i_out": 0.6}, 18.0),
    (SECOND, 6.5), ({**SECOND, "dead_time": 1e-7}, 18.0), (INPUT, 18.0), (LOSSLESS, 600.0),
    ({"capacitance": 2e-7, "r_load": 10, "inductance": 2e-6}, 5.8), ({"duty": None, "peak_current": 1.0}, 18.0),
])  # fmt: skip
def test_duty_for_gives_the_output_asked_for(letters, v_out):
    """The duty found gives the output to 1e-9, also next to the gain's peak and where the output dips before it rises."""
    c = stage(**letters)
    assert switched.steady_state(c.change(duty=switched.duty_for(c, v_out))).output_voltage.mean == pytest.approx(v_out, rel=1e-9)


def test_duty_for_names_lowest_and_highest():
    """Out of reach, below or above, the error names both ends of what can be reached, and those ends are right."""
    found = [switched.steady_state(stage(duty=d)).output_voltage.mean for d in (0.0, *np.linspace(0.9553, 0.9555, 21))]
    for v_out in (5.0, 100.0):
        with pytest.raises(ValueError) as caught:
            switched.duty_for(stage(), v_out)
        assert f"v_out = {v_out:g} V is out of reach" in str(caught.value)
        assert f"from {found[0]:.4g} V (duty 0) to {max(found[1:]):.4g} V (duty 0.955" in str(caught.value)
    assert switched.duty_for(stage(), found[0]) == 0.0
    for v_out in (math.nan, -3.0, 0.0):
        with pytest.raises(ValueError, match="^v_out = "):
            switched.duty_for(stage(), v_out)


# ------------------------------------------------------------------------------------------------- many at once

@pytest.mark.filterwarnings("error")
@settings(derandomize=True, max_examples=40, deadline=None, database=None)
@given(converters(), st.integers(0, 2**32 - 1))
def test_many_at_once_equal_single_ones(converter, seed):
    """Each entry of the batch equals its single steady state, and is nan with the same reason where that is refused."""
    assume(converter.input_capacitor is None and not converter.rectifier.dead_time)
    rng = np.random.default_rng(seed)
    letters = {"duty": rng.uniform(0, 0.97, 5), "v_in": converter.source.voltage * rng.uniform(0.5, 2, 5),
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
            assert abs(one - many) < 1e-9 * size, (name, field)          # two ways to the same root, each to rounding
    for part, loss in s.losses.items():
        assert abs(batch.losses[part][k] - loss) < 1e-9 * s.input_power, part
    assert batch.efficiency[k] == pytest.approx(s.efficiency, rel=1e-9)


def test_many_at_once_beyond_the_common_path():
    """What the common path does not serve goes one by one: input capacitor, dead time, peak current, late rectifier."""
    for letters, name, values in (
        (INPUT, "duty", [0.3, 0.6]), ({**SECOND, "dead_time": 1e-7}, "duty", [0.3, 0.6]), ({}, "peak_current", [0.05, 1.0]),
        (CASES["second conduction"][0], "duty", [0.1, 0.15]), ({}, "c_input", [1e-5, 1e-6]), ({}, "r_source", [0.0, 0.3]),
    ):  # fmt: skip
        c = stage(**letters)
        if name == "c_input":
            c = c.change(r_source=0.1, c_input=1e-5)
        batch = switched.steady_states(c, **{name: values})
        for k, value in enumerate(values):
            check_entry(batch, k, c.change(**{name: value}))


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
