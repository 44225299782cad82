"""Small swings in continuous conduction: against textbook values, a general-purpose control library, and the exact circuit."""

from math import degrees, exp, log10, pi

import control
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.optimize import minimize_scalar

from boostkit.circuit import Converter, switched
from boostkit.derivations import asymptotes, averaging, landmarks, light_load, rhp_zero, small_signal, standard_form, swings

# Two textbook converters. HART: Hart, Power Electronics, example 6-4 (from memory): 12 V to 30 V, 50 ohm, with 120 uH and 48 uF.
# RASHID: Rashid, Power Electronics Handbook, 4th ed., example 5.6 (as quoted, the page not seen): 5 V to 15 V, 0.5 A, 150 uH, 220 uF.
HART = {"v_out": 30.0, "duty": 0.6, "r_load": 50.0, "inductance": 120e-6, "capacitance": 48e-6}
RASHID = {"v_out": 15.0, "duty": 2 / 3, "r_load": 30.0, "inductance": 150e-6, "capacitance": 220e-6}
F = np.geomspace(10.0, 2e5, 400)


def take(values, *names):
    """Some of the values."""
    return {name: values[name] for name in names}


def plant(values, drive):
    """Kirchhoff's two laws, averaged, linearised by hand, as matrices for the control library: from `drive` to the output."""
    off, r = 1 - values["duty"], values["r_load"]
    coil, cap, i_coil = values["inductance"], values["capacitance"], values["v_out"] / (r * off)
    a = [[0, -off / coil], [off / cap, -1 / (r * cap)]]
    b = {"duty": [[values["v_out"] / coil], [-i_coil / cap]], "source": [[1 / coil], [0]], "draw": [[0], [1 / cap]]}[drive]
    return control.ss(a, b, [[0, 1]], 0)


def response(system, f=F):
    """Complex response at frequencies."""
    return system(2j * pi * np.asarray(f))


@pytest.mark.parametrize(("values", "gain", "f0", "q", "f_zero"), [
    (HART, 75.0, 838.8, 12.65, 10.61e3), (RASHID, 45.0, 292.0, 12.11, 3.537e3),
])  # fmt: skip
def test_textbook_landmarks(values, gain, f0, q, f_zero):
    """Erickson & Maksimovic, 3rd ed., table 8.2 (formulas as quoted, the page not seen), for two textbook converters."""
    close = {"rel": 5e-4}  # the values stand with four digits
    assert small_signal.control_gain().formula(**take(values, "v_out", "duty")) == pytest.approx(gain, **close)
    assert small_signal.resonance().formula(**take(values, "duty", "inductance", "capacitance")) == pytest.approx(f0, **close)
    assert small_signal.quality().formula(**take(values, "duty", "r_load", "inductance", "capacitance")) == pytest.approx(q, **close)
    assert small_signal.rhp_zero().formula(**take(values, "duty", "r_load", "inductance")) == pytest.approx(f_zero, **close)


def test_no_switching_passes_the_source_through():
    """At duty zero a volt at the source is a volt at the output, and coil and capacitor are a plain L-C."""
    assert small_signal.source_gain().formula(duty=0.0) == 1
    assert small_signal.resonance().formula(duty=0.0, inductance=1e-3, capacitance=1e-3) == pytest.approx(1e3 / (2 * pi), rel=1e-14)


@pytest.mark.parametrize("values", [HART, RASHID])
def test_landmarks_are_poles_and_zeros(values):
    """Poles and zero of the same circuit by the control library: resonance, quality, and a zero on the right."""
    system = plant(values, "duty")
    pole = system.poles()[0]
    f0, q = (small_signal.resonance().formula(**take(values, "duty", "inductance", "capacitance")),
             small_signal.quality().formula(**take(values, "duty", "r_load", "inductance", "capacitance")))  # fmt: skip
    assert abs(pole) / (2 * pi) == pytest.approx(f0, rel=1e-10)
    assert -abs(pole) / (2 * pole.real) == pytest.approx(q, rel=1e-10)
    zero = system.zeros()[0]
    f_zero = small_signal.rhp_zero().formula(**take(values, "duty", "r_load", "inductance"))
    assert zero.real > 0 and zero.real / (2 * pi) == pytest.approx(f_zero, rel=1e-8) and abs(zero.imag) < 1e-6 * zero.real


def random_plants(count=40):
    """Converters over the usual ranges, quality from 0.3 (no resonance left) to about 100."""
    chance = np.random.default_rng(5)
    for _ in range(count):
        duty, r = chance.uniform(0.1, 0.85), np.exp(chance.uniform(np.log(5), np.log(500)))
        coil, cap = np.exp(chance.uniform(np.log([5e-6, 2e-6]), np.log([5e-4, 5e-4])))
        yield {"v_out": chance.uniform(10, 60), "duty": duty, "r_load": r, "inductance": coil, "capacitance": cap}


@pytest.mark.parametrize(("drive", "size", "phase"), [
    ("duty", small_signal.control_to_output, small_signal.control_phase),
    ("source", small_signal.source_to_output, small_signal.source_phase),
    ("draw", small_signal.output_impedance, small_signal.impedance_phase),
])  # fmt: skip
def test_responses_against_the_control_library(drive, size, phase):
    """Height and angle from 10 Hz to 200 kHz, over 40 random converters, whole turns of the angle counted."""
    size, phase = size().formula, phase().formula
    for values in random_plants():
        want = response(plant(values, drive))
        usable = [set(take(values, *values)) - (set() if drive == "duty" else {"v_out"}) for _ in (size, phase)]
        usable[1] -= {"v_out"}
        assert size(f=F, **take(values, *usable[0])) == pytest.approx(np.abs(want), rel=1e-8)  # rounding, near the resonance
        mine = phase(f=F, **take(values, *usable[1]))
        assert np.exp(1j * mine) == pytest.approx(want / np.abs(want), abs=1e-8)
        assert np.max(np.abs(np.diff(mine))) < np.pi * 1.01 and np.all(np.diff(mine) <= 0)  # no jump by a turn; it only falls
        assert mine[0] == pytest.approx(pi / 2 if drive == "draw" else 0.0, abs=0.2)  # 10 Hz is slow, not still


@pytest.mark.parametrize(("derivation", "drive"), [
    (swings.control_transfer, "duty"), (swings.source_transfer, "source"), (swings.impedance_transfer, "draw"),
])  # fmt: skip
def test_ratios_at_real_rates(derivation, drive):
    """At a real rate of growth the ratio is the control library's at that s."""
    for values in random_plants(10):
        given = values if drive == "duty" else take(values, "duty", "r_load", "inductance", "capacitance")
        for s in (10.0, 1e3, 1e5):
            assert derivation().formula(s=s, **given) == pytest.approx(plant(values, drive)(s).real, rel=1e-9)


def test_coil_current_has_no_zero_on_the_right():
    """From duty to coil current: the control library finds the same ratio, and its zero on the left."""
    system = plant(HART, "duty")
    current = control.ss(system.A, system.B, [[1, 0]], 0)
    for s in (10.0, 1e3, 1e5):
        assert swings.current_transfer().formula(s=s, **HART) == pytest.approx(current(s).real, rel=1e-9)
    assert np.all(current.zeros().real < 0)


def test_standard_form_is_the_same():
    """Read by landmarks or by parts, the three ratios are the same numbers."""
    parts = take(HART, "duty", "r_load", "inductance", "capacitance")
    assert standard_form.control_form().formula(s=1e3, **HART) == pytest.approx(swings.control_transfer().formula(s=1e3, **HART), rel=1e-13)
    assert standard_form.source_form().formula(s=1e3, **parts) == pytest.approx(swings.source_transfer().formula(s=1e3, **parts), rel=1e-13)
    assert standard_form.impedance_form().formula(s=1e3, **parts) == pytest.approx(
        swings.impedance_transfer().formula(s=1e3, **parts), rel=1e-13)


def test_peaks():
    """The values at resonance are those of the responses there; the output impedance is highest there, and the load's own."""
    f0 = small_signal.resonance().formula(**take(HART, "duty", "inductance", "capacitance"))
    at = abs(response(plant(HART, "duty"), f0))
    q = small_signal.quality().formula(**take(HART, "duty", "r_load", "inductance", "capacitance"))
    assert small_signal.control_peak().formula(gain_control=75.0, q_output=q) == pytest.approx(at, rel=1e-9)
    at = abs(response(plant(HART, "source"), f0))
    assert small_signal.source_peak().formula(duty=0.6, q_output=q) == pytest.approx(at, rel=1e-9)
    system = plant(HART, "draw")
    top = minimize_scalar(lambda f: -abs(response(system, f)), bounds=(0.5 * f0, 2 * f0), method="bounded", options={"xatol": 1e-6})
    assert (top.x, -top.fun) == pytest.approx((f0, 50.0), rel=1e-6)  # the search stops that close
    assert small_signal.impedance_peak().formula(r_load=50.0) == 50.0


def test_zero_is_quality_times_resonance():
    """Without loss f_z = Q f_res, for the textbook converters and at random."""
    for values in (HART, RASHID, *random_plants(5)):
        zero = small_signal.rhp_zero().formula(**take(values, "duty", "r_load", "inductance"))
        f0 = small_signal.resonance().formula(**take(values, "duty", "inductance", "capacitance"))
        q = small_signal.quality().formula(**take(values, "duty", "r_load", "inductance", "capacitance"))
        same = small_signal.zero_and_resonance().formula(f_resonance=f0, q_output=q)
        assert same == pytest.approx(zero, rel=1e-13)


def test_series_resistance_adds_a_zero_on_the_left():
    """A capacitor with series resistance has 3 dB more impedance at its corner, 20 dB more a decade above it."""
    assert small_signal.esr_zero().formula(r_capacitor=0.05, capacitance=220e-6) == pytest.approx(1 / (2 * pi * 0.05 * 220e-6), rel=1e-14)
    factor = small_signal.esr_factor().formula
    assert factor(f=1e3, f_corner=1e3) == pytest.approx(2**0.5, rel=1e-14)
    direct = abs((0.05 + 1 / (2j * pi * 5e4 * 220e-6)) * (2j * pi * 5e4 * 220e-6))
    corner = small_signal.esr_zero().formula(r_capacitor=0.05, capacitance=220e-6)
    assert factor(f=5e4, f_corner=corner) == pytest.approx(direct, rel=1e-13)


def test_single_pole_textbook_figures():
    """Erickson & Maksimovic, 3rd ed., eq. 8.24-8.28 (as quoted): -3 dB at the corner, -1 dB an octave below, 5.7 degrees at the ends."""
    def decibels(f):
        return 20 * log10(asymptotes.pole_size().formula(f=f, f_pole=1.0))

    def off(f):
        return degrees(asymptotes.pole_angle().formula(f=f, f_pole=1.0) - asymptotes.pole_line().formula(f=f, f_pole=1.0))

    assert decibels(1.0) == pytest.approx(-3, abs=0.05) and decibels(0.5) == pytest.approx(-1, abs=0.05)  # printed with one digit
    assert off(0.1) == pytest.approx(-5.7, abs=0.05) and off(10.0) == pytest.approx(5.7, abs=0.05)  # printed with two digits
    assert off(1.0) == pytest.approx(0, abs=1e-12)


def test_angle_of_a_resonance_by_straight_lines():
    """Erickson & Maksimovic, 3rd ed., sec. 8.2.1 (as quoted): 400 Hz with Q = 4 runs from 300 Hz to 533 Hz."""
    given = {"f_resonance": 400.0, "q_output": 4.0}
    assert asymptotes.angle_sets_in().formula(**given) == pytest.approx(300, abs=0.5)  # printed with three digits
    assert asymptotes.angle_ends().formula(**given) == pytest.approx(533, abs=0.5)
    alike = {"f_resonance": 400.0, "q_output": 0.5}
    assert asymptotes.angle_sets_in().formula(**alike) == pytest.approx(40, rel=1e-13)  # two poles alike: the tenth ...
    assert asymptotes.angle_ends().formula(**alike) == pytest.approx(4000, rel=1e-13)  # ... and the tenfold


def test_tangent_touches_the_angle():
    """The tangent at resonance has the slope that the angle has there, by differences."""
    phase, step = small_signal.source_phase().formula, 1e-6
    up, down = (phase(f=400 * exp(sign * step), f_resonance=400.0, q_output=4.0) for sign in (1, -1))
    start = asymptotes.tangent_sets_in().formula(f_resonance=400.0, q_output=4.0)
    slope = (up - down) / (2 * step)
    assert (pi / 2) / np.log(400 / start) == pytest.approx(-slope, rel=1e-8)  # differences, second order


def test_averaging_operator():
    """Erickson & Maksimovic, 3rd ed., eq. 7.20-7.22 (as quoted): at a third of the switching frequency 0.827, -1.65 dB, no angle."""
    left = averaging.averaging_factor().formula
    assert left(f=50e3, f_sw=150e3) == pytest.approx(0.827, abs=5e-4)  # printed with three digits
    assert 20 * log10(left(f=50e3, f_sw=150e3)) == pytest.approx(-1.65, abs=5e-3)
    assert abs(left(f=150e3, f_sw=150e3)) < 1e-15  # the clock's own frequency is averaged away
    n = np.arange(2000)
    window = (n + 0.5) / 2000 - 0.5  # one period, in periods, about the middle
    for at in (0.0, 0.3, 1.1):  # a mean of samples, at several instants: the wave keeps its place
        mean = np.mean(np.cos(2 * pi / 3 * (at + window)))
        assert mean == pytest.approx(left(f=1.0, f_sw=3.0) * np.cos(2 * pi / 3 * at), rel=1e-6)  # sum for an integral, second order


def test_averaged_laws_balance_in_steady_state():
    """At the operating point neither mean moves; the numbers are those of a textbook converter (Hart, example 6-4, from memory)."""
    assert averaging.averaged_coil().formula(v_in=12.0, duty=0.6, v_out=30.0) == pytest.approx(0, abs=1e-12)
    assert averaging.averaged_capacitor().formula(duty=0.6, i_inductor_mean=1.5, i_out=0.6) == pytest.approx(0, abs=1e-12)


# --- the zero told by charge ---

POINT = {"v_in": 12.0, "duty": 0.6, "inductance": 120e-6, "capacitance": 48e-6, "r_load": 50.0}


def test_time_to_make_good_is_the_zeros():
    """L I_L/(D' V_out) is one over 2 pi f_z: 15 us for the textbook converter."""
    time = rhp_zero.time_to_make_good().formula(inductance=120e-6, i_inductor_mean=1.5, duty=0.6, v_out=30.0)
    zero = small_signal.rhp_zero().formula(duty=0.6, r_load=50.0, inductance=120e-6)
    assert time == pytest.approx(1 / (2 * pi * zero), rel=1e-13) == pytest.approx(15e-6, rel=1e-13)
    assert rhp_zero.zero_by_charge().formula(f_zero=zero) == pytest.approx(time, rel=1e-13)


def test_the_output_starts_the_wrong_way():
    """The step response of the control library starts along this slope and falls this far, at about this time."""
    step, i_coil = 0.01, 1.5
    system = plant(HART, "duty")
    good = rhp_zero.time_to_make_good().formula(inductance=120e-6, i_inductor_mean=i_coil, duty=0.6, v_out=30.0)
    t = np.linspace(0, 3 * good, 3001)
    answer = step * control.step_response(system, t).outputs
    slope = rhp_zero.first_slope().formula(i_inductor_mean=i_coil, duty_swing=step, capacitance=48e-6)
    assert answer[1] / t[1] == pytest.approx(slope, rel=2e-3)  # a thousandth of the way the slope has changed by a thousandth
    dip = rhp_zero.first_dip().formula(i_inductor_mean=i_coil, duty_swing=step, t_made_good=good, capacitance=48e-6)
    assert -answer.min() == pytest.approx(dip, rel=0.02)  # the output that has moved counts: a share of about 1/Q^2
    assert t[answer.argmin()] == pytest.approx(good, rel=0.02)
    assert rhp_zero.dip_share().formula(q_output=12.649) == pytest.approx(dip / (75 * step), rel=1e-4)  # Q with five digits


def test_the_exact_circuit_loses_charge_at_once():
    """The exact switched circuit hands over less at first by I_L T dD, and as much as before after 1/(2 pi f_z)."""
    f_sw, periods, fine = 1e6, 40, 2000
    before, after = (Converter.of(f_sw=f_sw, **{**POINT, "duty": duty}) for duty in (0.6, 0.602))
    waves = switched.after_step(before, after, periods).waveforms(50 * periods)
    middles = (np.arange(periods * fine) + 0.5) / (f_sw * fine)
    current = np.interp(middles, waves.time, waves.i_rectifier).reshape(periods, fine)
    change = current.mean(axis=1) / f_sw - 0.6e-6  # against 0.6 A for a period of 1 us
    climb = rhp_zero.current_climb().formula(v_out=30.0, duty_swing=0.002, t=1 / f_sw, inductance=120e-6)
    lost = rhp_zero.charge_by_duty().formula(duty=0.6, i_inductor_mean=1.53, duty_swing=0.002, i_inductor_swing=climb, f_sw=f_sw)
    assert change[0] == pytest.approx(lost, rel=2e-3)  # 1.53 A is the peak, where the switch opens; second order is 0.002/0.4 of the climb
    at_once = rhp_zero.charge_at_once().formula(i_inductor_mean=1.5, duty_swing=0.002, f_sw=f_sw)
    assert change[0] == pytest.approx(at_once, rel=1 / 15 + 0.02)  # a fifteenth is made good in a period; half the ripple is 0.02
    after = np.argmax(change > 0)
    middle = after + 0.5 - change[after] / (change[after] - change[after - 1])  # between middles of periods, by a straight line
    assert middle / f_sw == pytest.approx(15e-6, rel=0.06)  # within a period of 15


def test_light_load_has_no_such_story():
    """The formulas say where they hold: in discontinuous conduction they do not."""
    holds = small_signal.control_gain().formula.holds
    assert holds(v_out=30.0, duty=0.6, k_load=1.0) and not holds(v_out=30.0, duty=0.6, k_load=0.01)
    assert light_load.DRY[0].relation != landmarks.VALID[0].relation


def test_linear_laws_against_a_time_course():
    """A swing that grows as e^(st) obeys the averaged equations, integrated in time without linearising, to first order."""
    s, size = 2e3, 1e-5
    ratio = swings.control_transfer().formula(s=s, **HART)
    current = swings.current_transfer().formula(s=s, **HART)

    def rates(t, x):
        off = 0.4 - size * exp(s * t)
        return [(12 - off * x[1]) / 120e-6, (off * x[0] - x[1] / 50) / 48e-6]

    start = [1.5 + current * size, 30 + ratio * size]
    end = solve_ivp(rates, (0, 1e-3), start, method="DOP853", rtol=1e-12, atol=1e-12).y[:, -1]
    grown = size * exp(s * 1e-3)
    assert end[1] - 30 == pytest.approx(ratio * grown, rel=5e-3)  # what is of second order: grown over 0.4, and its echoes
