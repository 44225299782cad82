"""Ripple of output and input: published values, straight slopes summed by numbers, the exact circuit, and slips.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020. Rashid4: M. H. Rashid,
Power Electronics, 4th ed., Pearson, 2014. Hart: D. W. Hart, Power Electronics, McGraw-Hill, 2011. How a value was
obtained stands beside it. Ripple of coil and ideal capacitor, the factor of two between peak and peak to peak, and rms
with ripple are held to the same books in `test_derivations`.
"""

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from test_bounds import converters, shares, solved, some_converters
from test_derivations import tampered, value

from boostkit.circuit import Converter, switched
from boostkit.circuit.validity import exact_of, measured, value_of
from boostkit.derivations import input_ripple, ripple, ripple_esr, sizing, stress, switching

STAGE = Converter.of(v_in=6.0, inductance=47e-6, f_sw=150e3, duty=0.6, capacitance=100e-6, r_load=30.0)


# --- published values ---


@pytest.mark.parametrize(("i_out", "duty", "rms"), [(0.5, 2 / 3, 0.7071), (0.6, 0.6, 0.7348)])
def test_capacitor_rms_without_ripple(i_out, duty, rms):
    """EM3 appendix A (method, from memory) on Rashid4 example 5.6 and Hart example 6-4: I_out sqrt(D/D')."""
    assert value(ripple.steady_capacitor_rms, i_out=i_out, duty=duty) == pytest.approx(rms, abs=5e-5)    # four decimals
    assert value(stress.capacitor_rms, i_out=i_out, duty=duty, ripple_current=0.0) == pytest.approx(rms, abs=5e-5)


def test_corner_of_a_capacitor():
    """EM3 problem 8.22, read in a copied-out text (the formula; inputs of our own): 50 mΩ with 220 µF, 14.47 kHz."""
    assert value(ripple_esr.esr_corner, r_capacitor=0.05, capacitance=220e-6) == pytest.approx(14.47e3, abs=5)   # four digits


def test_one_sag_for_ripple_and_capacitance():
    """Rashid4 example 5.6, read in a copied-out text: 60.61 mV, and the capacitance that allows it is the 220 µF."""
    stage = {"i_out": 0.5, "duty": 2 / 3, "f_sw": 25e3}
    sag = value(switching.capacitor_sag, capacitance=220e-6, **stage)
    assert sag == pytest.approx(60.61e-3, abs=0.01e-3)
    assert value(switching.output_ripple, capacitance=220e-6, **stage) == sag
    asked = value(sizing.capacitance_for_ripple, ripple_voltage=sag, r_capacitor=0.0, i_inductor_max=1.94, **stage)
    assert asked == pytest.approx(220e-6, rel=1e-12)


# --- straight slopes, summed by numbers ---


def by_numbers(i_out, duty, t_sw, i_max, i_min, capacitance, r_capacitor):
    """Peak to peak of an output on straight slopes with a steady load, from many samples: nothing shared with the formulas."""
    t = np.linspace(0.0, (1 - duty) * t_sw, 200_001)
    current = i_max + (i_min - i_max) * t / t[-1] - i_out
    gained = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) / 2 * np.diff(t))])
    output = gained / capacitance + r_capacitor * current
    return output.max() - min(output.min(), -r_capacitor * i_out)


@pytest.mark.parametrize("ripple_current", [0.3, 1.2, 2.4])
@pytest.mark.parametrize("r_capacitor", [0.0, 0.003, 0.02, 0.05, 0.3])
def test_exactly_one_of_three_cases_holds(r_capacitor, ripple_current):
    """With any series resistance one case claims the ripple, and it is right to the sampling of a parabola."""
    i_out, duty, t_sw, capacitance = 0.6, 0.6, 1 / 25e3, 100e-6
    mean = i_out / (1 - duty)
    letters = {"i_out": i_out, "duty": duty, "f_sw": 1 / t_sw, "capacitance": capacitance, "r_capacitor": r_capacitor,
               "ripple_current": ripple_current, "i_inductor_max": mean + ripple_current / 2,
               "i_inductor_min": mean - ripple_current / 2, "duty_rectifier": 1 - duty, "v_in": 12.0, "v_out": 30.0,
               "r_load": 50.0, "inductance": 12.0 * duty * t_sw / ripple_current}
    claims = [d().formula for d in (ripple_esr.rising_ripple, ripple_esr.turning_ripple, ripple_esr.falling_ripple)]
    claims = [formula for formula in claims if formula.holds(**letters)]
    assert len(claims) == 1
    exact = by_numbers(i_out, duty, t_sw, letters["i_inductor_max"], letters["i_inductor_min"], capacitance, r_capacitor)
    assert value_of(claims[0], letters) == pytest.approx(exact, rel=1e-8)
    if r_capacitor == 0 and letters["i_inductor_min"] < i_out:
        assert value_of(ripple.large_ripple().formula, letters) == pytest.approx(exact, rel=1e-8)
        assert value_of(switching.output_ripple().formula, letters) < exact          # where the textbook errs low


def test_dry_ripple_is_the_turning_case_without_resistance():
    """In discontinuous conduction the general case with no series resistance is the short formula."""
    i_out, peak = 0.15, 1.0
    given_ = {"capacitance": 100e-6, "f_sw": 1e5, "i_inductor_max": peak, "i_out": i_out}
    turning = value(ripple_esr.turning_ripple, r_capacitor=0.0, ripple_current=peak, duty_rectifier=2 * i_out / peak, **given_)
    assert value(ripple.dry_ripple, **given_) == pytest.approx(turning, rel=1e-12)


def test_input_ripple_by_numbers():
    """A triangle of current into capacitance and series resistance, summed by samples: both cases, and the rms."""
    swing, duty, f_sw, c_input = 0.58, 0.68, 150e3, 10e-6
    t = np.linspace(0.0, 1 / f_sw, 400_001)
    current = np.interp(t, [0.0, duty / f_sw, 1 / f_sw], [swing / 2, -swing / 2, swing / 2])       # out of source, into C
    gained = np.concatenate([[0.0], np.cumsum((current[1:] + current[:-1]) / 2 * np.diff(t))])
    given_ = {"ripple_current": swing, "c_input": c_input, "f_sw": f_sw, "duty": duty}
    for resistance in (0.0, 0.05, 0.1):
        found = value(input_ripple.turning_input_ripple, r_input_capacitor=resistance, **given_)
        assert found == pytest.approx(np.ptp(gained / c_input + resistance * current), rel=1e-8)
    assert value(input_ripple.stepping_input_ripple, r_input_capacitor=0.5, ripple_current=swing) == pytest.approx(
        np.ptp(gained / c_input + 0.5 * current), rel=1e-8)
    assert value(input_ripple.input_capacitor_rms, ripple_current=swing) == pytest.approx(np.std(current), rel=1e-4)   # samples


# --- the exact circuit ---


def sag_of(s):
    """Fall of the capacitance's own voltage while the switch is closed."""
    closed = [piece for piece in s.pieces if piece.mode.kind.switch == "closed"]
    return closed[0].state[1] - closed[-1].mode.flow.advance(closed[-1].state, closed[-1].duration)[1]


@settings(max_examples=50, derandomize=True, deadline=None)
@given(converter=converters())
def test_sag_within_its_bound(converter):
    """With or without series resistance, in either mode, the capacitance itself sags as it says."""
    s, formula = solved(converter), switching.capacitor_sag().formula
    letters = measured(s)
    assume(formula.holds(**letters))
    assert abs(value_of(formula, letters) / sag_of(s) - 1) <= formula.error_bound(**letters) + 2e-9      # rounding


def test_sag_bound_is_not_idle():
    """A load that takes a large part of the charge uses most of the bound; the series resistance does not matter."""
    formula, used = switching.capacitor_sag().formula, []
    for r_capacitor in (None, 0.05):
        s = switched.steady_state(STAGE.change(duty=0.15, capacitance=0.7e-6, r_capacitor=r_capacitor, inductance=20e-6))
        letters = measured(s)
        assert formula.holds(**letters)
        used.append((value_of(formula, letters) / sag_of(s) - 1) / formula.error_bound(**letters))
    assert 0.1 < min(used) <= max(used) < 1


@pytest.mark.parametrize("duty", [0.2, 0.5, 0.75])
def test_where_the_textbook_ripple_ends(duty):
    """The load number at which the lowest coil current is the load current is D'^2 in the exact circuit, within its bound."""
    border = ripple.sag_border().formula
    stage = STAGE.change(duty=duty, r_inductor=0.05, r_switch=0.05, v_rectifier=0.3, r_capacitor=0.01)
    low, high = 0.2 * border(duty=duty), 5.0 * border(duty=duty)
    for _ in range(40):
        k_load = (low * high) ** 0.5
        s = switched.steady_state(stage.change(inductance=k_load * 30.0 / (2 * 150e3)))
        low, high = (k_load, high) if s.inductor_current.min < s.rectifier_current.mean else (low, k_load)
    letters = measured(s)
    assert abs(border(duty=duty) / k_load - 1) <= border.error_bound(**letters)
    assert border(duty=duty) == pytest.approx(value(switching.conduction_border, duty=duty) / duty)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(converter=converters())
def test_capacitance_for_ripple_is_on_the_safe_side(converter):
    """Asked for the ripple that a converter has, it names at least the capacitance that the converter has."""
    s, formula = solved(converter), sizing.capacitance_for_ripple().formula
    letters = measured(s)
    assume(formula.holds(**letters) and s.mode == "continuous")
    left = letters["ripple_voltage"] - letters["r_capacitor"] * letters["i_inductor_max"]
    assume(left > 0.05 * letters["ripple_voltage"])     # else it is the step that takes all, and no capacitance helps
    ripple_bound = switching.capacitor_sag().formula.error_bound(**letters)
    assert value_of(formula, letters) >= letters["capacitance"] * (1 - ripple_bound)


def test_without_its_condition_it_is_not_safe():
    """Where the coil current falls below the load current the textbook names too little capacitance, and does not hold."""
    s = switched.steady_state(STAGE.change(inductance=13e-6, duty=0.5))
    formula, letters = sizing.capacitance_for_ripple().formula, measured(s)
    assert s.mode == "continuous" and not formula.holds(**letters)
    assert value_of(formula, letters) < 0.95 * letters["capacitance"]


# --- the input side ---


@st.composite
def fed(draw):
    """A converter with a source of some resistance and an input capacitor with some series resistance."""
    stage = draw(converters())
    duty, f_sw = stage.switch.duty, stage.switch.frequency
    r_source = draw(shares(1e-3, 0.1)) * stage.load.resistance * (1 - duty) ** 2
    c_input = draw(shares(0.3, 100.0)) / (r_source * f_sw)
    resistance = draw(shares(0.02, 12.0)) * duty * (1 - duty) / (c_input * f_sw)
    return stage.change(r_source=r_source, c_input=c_input, r_input_capacitor=resistance)


def swings(s):
    """What the input side's formulas claim, on an exact steady state."""
    wave, resistance = s.waveforms(4000), s.converter.input_capacitor.series_resistance
    volts = np.ptp(wave.v_input)
    return {
        "input_dip": np.ptp(wave.v_input - resistance * (wave.i_source - wave.i_inductor)),
        "input_ripple": volts, "turning_input_ripple": volts, "stepping_input_ripple": volts,
        "source_ripple": exact_of(input_ripple.source_ripple().formula)(s),
        "input_capacitor_rms": (s.losses["input_capacitor"] / resistance) ** 0.5,
    }


INPUT = (input_ripple.input_dip, input_ripple.input_ripple, input_ripple.turning_input_ripple,
         input_ripple.stepping_input_ripple, input_ripple.source_ripple, input_ripple.input_capacitor_rms)


def judge_input(stage, used):
    """Hold each formula of the input side against one fed converter; `used` gathers the shares of their bounds."""
    try:
        s = switched.steady_state(stage)
    except ValueError:
        return
    letters, exact = measured(s), swings(s)
    for derivation in INPUT:
        formula = derivation().formula
        if formula.holds(**letters):
            off = abs(value_of(formula, letters) / exact[formula.name] - 1)
            assert off <= formula.error_bound(**letters) + 1e-5, formula.name        # sampled peaks
            used[formula.name].append(off / formula.error_bound(**letters))


@settings(max_examples=200, derandomize=True, deadline=None, database=None)
@given(stage=fed())
def test_input_side_within_its_bounds(stage):
    """Over random fed converters each formula errs by no more than its bound."""
    judge_input(stage, {derivation.__name__: [] for derivation in INPUT})


def test_input_bounds_are_not_idle():
    """Over 300 fed converters of a fixed seed each formula holds for some and uses a fair part of its bound."""
    used, rng = {derivation.__name__: [] for derivation in INPUT}, np.random.default_rng(11)
    for stage in some_converters(300, 10):
        duty, f_sw = stage.switch.duty, stage.switch.frequency
        r_source = np.exp(rng.uniform(np.log(1e-3), np.log(0.1))) * stage.load.resistance * (1 - duty) ** 2
        c_input = np.exp(rng.uniform(np.log(0.3), np.log(100))) / (r_source * f_sw)
        resistance = np.exp(rng.uniform(np.log(0.02), np.log(12))) * duty * (1 - duty) / (c_input * f_sw)
        judge_input(stage.change(r_source=r_source, c_input=c_input, r_input_capacitor=resistance), used)
    for name, shares_used in used.items():
        assert len(shares_used) >= 5 and max(shares_used) >= 0.1, name


def test_an_input_capacitor_keeps_the_ripple_from_the_source():
    """Without one the source carries the coil's ripple whole; ten times the capacitance leaves it a tenth."""
    bare = switched.steady_state(STAGE)
    assert bare.source_current.ripple == pytest.approx(bare.ripple_current, rel=1e-12)
    left = [switched.steady_state(STAGE.change(r_source=0.1, c_input=c)).source_current.ripple for c in (100e-6, 1e-3)]
    assert left[0] == pytest.approx(10 * left[1], rel=0.02)      # at 100 µF the source takes 1 % after all
    assert left[0] < 0.1 * bare.ripple_current


# --- slips ---


@pytest.mark.parametrize(("derivation", "number", "wrong"), [
    (switching.capacitor_sag, 10, "sag = i_out*duty_off/(capacitance*f_sw)"),                        # D' for D
    (switching.output_ripple, 3, "ripple_voltage = i_out*duty/(2*capacitance*f_sw)"),                # peak for peak to peak
    (ripple.sag_border, 16, "k_sag = duty*duty_off**2"),
    (ripple.large_ripple, 12, "ripple_voltage = i_out*duty/(capacitance*f_sw)"
     " - (i_out - i_inductor_min)**2*duty_off/(2*ripple_current*capacitance*f_sw)"),                 # sign
    (ripple.dry_ripple, 13, "ripple_voltage = i_out/(capacitance*f_sw)*(1 - i_out/i_inductor_max)"),  # the square
    (ripple.steady_capacitor_rms, 5, "i_capacitor_rms = i_out*sqrt((1 - duty)/duty)"),               # upside down
    (ripple.dry_capacitor_rms, 8, "i_capacitor_rms = sqrt(i_out*(i_inductor_max/3 - i_out))"),
    (ripple_esr.rising_ripple, 6, "ripple_voltage = i_out*duty/(capacitance*f_sw) + r_capacitor*i_inductor_max"),
    (ripple_esr.turning_ripple, 10, "t_turn = (i_inductor_max - i_out)/(-slope_fall)"),              # without the ESR
    (ripple_esr.falling_ripple, 3, "ripple_voltage = r_capacitor*i_inductor_min"),
    (ripple_esr.esr_corner, 7, "f_corner = 1/(r_capacitor*capacitance)"),                            # radians
    (input_ripple.input_dip, 12, "dip_charge = ripple_current/(4*c_input*f_sw)"),
    (input_ripple.turning_input_ripple, 4, "t_top = 2*r_input_capacitor*c_input"),
    (input_ripple.input_capacitor_rms, 6, "i_input_capacitor_rms = ripple_current/sqrt(3)"),         # half for peak to peak
])
def test_slips_of_the_pen_are_named(derivation, number, wrong):
    """The slips that a learner makes here are found, and the step is named."""
    with pytest.raises(ValueError, match=rf"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()
