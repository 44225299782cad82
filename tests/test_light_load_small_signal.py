"""Small changes in discontinuous conduction: published values, the exact circuit stepped a little, and slips that must be found.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020.
"""

import math

import numpy as np
import pytest
from scipy.optimize import brentq
from test_derivations import tampered, value

from boostkit.circuit import Converter, switched
from boostkit.derivations import light_load, light_load_fast, light_load_small_signal

BOOK = {"v_in": 24.0, "v_out": 36.0, "r_load": 12.0, "inductance": 5e-6, "f_sw": 100e3, "duty": 0.25, "gain": 1.5}
IDEAL = {"v_in": 24.0, "duty": 0.25, "f_sw": 100e3, "inductance": 5e-6, "r_load": 12.0}


def of(derivation, **more):
    """A formula at those of the book's values that it takes."""
    formula, given = derivation().formula, BOOK | more
    return formula(**{quantity.name: given[quantity.name] for quantity in formula.inputs})


# --- published values ---


def test_gain_and_load_pole():
    """EM3 eq. 15.65 and fig. 15.22, read: 72 V (37 dB of a volt) and 112 Hz, the book's last digit cut off, not rounded."""
    gain = of(light_load_small_signal.dry_control_gain)
    assert gain == pytest.approx(72.0, rel=1e-12)
    assert 20 * math.log10(gain) == pytest.approx(37.0, abs=0.5)
    assert of(light_load_small_signal.load_pole, capacitance=470e-6) == pytest.approx(112.0, abs=1.0)


def test_fast_pole_and_zero():
    """EM3 sec. 15.3.1, read: a pole at 64 kHz and a right-half-plane zero at 127 kHz."""
    assert of(light_load_fast.fast_pole) == pytest.approx(64e3, abs=0.5e3)      # two and three digits printed
    assert of(light_load_fast.fast_zero) == pytest.approx(127e3, abs=0.5e3)


# --- the same by other roads ---


@pytest.mark.parametrize(("k_load", "duty"), [(0.05, 0.25), (0.05, 0.5), (0.1, 0.5), (0.01, 0.5)])
def test_the_gain_is_the_slope_of_the_static_curve(k_load, duty):
    """For slow changes the output follows the static gain, so a difference along that curve must give the same."""
    v_in, step = 6.0, 1e-6
    curve = [v_in * value(light_load.discontinuous_gain, k_load=k_load, duty=duty + side) for side in (-step, 0, step)]
    slope = (curve[2] - curve[0]) / (2 * step)
    found = value(light_load_small_signal.dry_control_gain, v_out=curve[1], duty=duty, gain=curve[1] / v_in)
    assert found == pytest.approx(slope, rel=1e-8)      # a central difference of step 1e-6


def test_pole_and_zero_by_eigenvalues():
    """The averaged equations of coil and capacitor, differentiated by numbers: poles and zero by scipy's plain roots."""
    v_in, r, inductance, f, capacitance = 24.0, 12.0, 5e-6, 100e3, 470e-3     # so large a capacitor holds the output

    def rates(x, duty):
        conducts = 2 * inductance * f * x[0] / (v_in * duty) - duty
        return np.array([(duty * v_in + conducts * (v_in - x[1])) / inductance,
                         (x[0] - v_in * duty**2 / (2 * inductance * f) - x[1] / r) / capacitance])

    at = np.array([brentq(lambda i: rates((i, 36.0), 0.25)[0], 1.0, 9.0, xtol=1e-13), 36.0])
    assert np.abs(rates(at, 0.25) * (inductance, capacitance)).max() < 1e-10
    a = np.column_stack([(rates(at + d, 0.25) - rates(at - d, 0.25)) / 2e-6 for d in 1e-6 * np.eye(2)])
    b = (rates(at, 0.25 + 1e-7) - rates(at, 0.25 - 1e-7)) / 2e-7
    slow, fast = sorted(-np.linalg.eigvals(a) / (2 * np.pi))
    assert slow == pytest.approx(of(light_load_small_signal.load_pole, capacitance=capacitance), rel=1e-5)
    assert fast == pytest.approx(of(light_load_fast.fast_pole), rel=1e-4)      # the capacitor is large, not infinite
    system = np.block([[a, b[:, None]], [0.0, 1.0, 0.0]])                       # singular at the zero
    zero = -np.linalg.det(system) / (np.linalg.det(system + np.diag([-1.0, -1.0, 0.0])) - np.linalg.det(system)) / (2 * np.pi)
    assert zero == pytest.approx(of(light_load_fast.fast_zero), rel=1e-3)


@pytest.mark.parametrize("capacitance", [470e-6, 4.7e-3])
def test_against_the_exact_circuit(capacitance):
    """A small step of duty on the switched circuit: the output goes by the gain, along the exponential of the pole."""
    before, step = Converter.of(**IDEAL, capacitance=capacitance), 1e-4
    after = before.change(duty=0.25 + step)
    ends = [switched.steady_state(c).output_voltage.mean for c in (before, after)]
    gain = of(light_load_small_signal.dry_control_gain)
    assert (ends[1] - ends[0]) / step == pytest.approx(gain, rel=0.02)      # sag within a period: 1/(R C f) is 2e-3 here, and less
    pole = of(light_load_small_signal.load_pole, capacitance=capacitance)
    periods = round(BOOK["f_sw"] / (2 * math.pi * pole))                    # one time constant
    start, end = (switched.steady_state(c).pieces[0].state[1] for c in (before, after))
    now = switched.after_step(before, after, periods).state[1]
    left = (end - now) / (end - start)
    assert -math.log(left) == pytest.approx(2 * math.pi * pole * periods / BOOK["f_sw"], rel=0.01)


def test_what_happens_at_once_and_at_last():
    """The slope just after a step of duty, carried on for one time constant, is where the output ends: obvious for one pole."""
    capacitance, change = 470e-6, 0.01
    push, hold = of(light_load_small_signal.duty_pushes), of(light_load_small_signal.output_holds)
    slope = of(light_load_small_signal.dry_output_moves, push_of_duty=push, hold_of_output=hold, duty_swing=change,
               v_out_swing=0.0, capacitance=capacitance)
    constant = 1 / (2 * math.pi * of(light_load_small_signal.load_pole, capacitance=capacitance))
    assert slope * constant == pytest.approx(change * of(light_load_small_signal.dry_control_gain), rel=1e-12)


# --- slips ---


@pytest.mark.parametrize(("derivation", "number", "wrong"), [
    (light_load_small_signal.charge_of_period, 9, "i_rectifier_mean = v_in**2*duty**2/(2*inductance*f_sw*v_out)"),    # source forgotten
    (light_load_small_signal.duty_pushes, 3, "push_of_duty = v_in**2*duty/(2*inductance*f_sw*(v_out - v_in))"),       # the two of D²
    (light_load_small_signal.output_holds, 3, "hold_of_output = -v_in**2*duty**2/(2*inductance*f_sw*(v_out - v_in)**2)"),
    (light_load_small_signal.dry_control_gain, 11, "control_gain_dry = 2*v_out/duty*(gain - 1)/(2*gain + 1)"),
    (light_load_small_signal.load_pole, 3,
     "v_out_swing = push_of_duty*duty_swing/(hold_of_output + 1/r_load)*exp(-rate_load*t)"),                        # the other course
    (light_load_small_signal.load_pole, 9, "f_load_pole = (2*gain - 1)/(2*pi*gain*r_load*capacitance)"),
    (light_load_fast.mean_current_moves, 4, "duty_rectifier = 2*inductance*f_sw*i_inductor_mean/(v_in*duty)"),
    (light_load_fast.coil_rate, 3, "rate_coil = 2*f_sw*v_out/(v_in*duty)"),
    (light_load_fast.fast_pole, 6, "f_fast_pole = gain*f_sw/(pi*duty)"),
    (light_load_fast.fast_zero, 12, "push_of_slope = v_out/inductance"),
    (light_load_fast.fast_zero, 15, "rate_zero = push_of_slope/loss_at_once + rate_coil"),                            # dies out, sign
])
def test_slips_of_the_pen_are_named(derivation, number, wrong):
    """The slips that a learner makes here are found, and the step is named."""
    with pytest.raises(ValueError, match=rf"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()
