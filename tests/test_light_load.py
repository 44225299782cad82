"""Discontinuous conduction and the unloaded climb: published values, the exact circuit, and slips that must be found.

EM3: R. W. Erickson, D. Maksimovic, Fundamentals of Power Electronics, 3rd ed., Springer, 2020. Hart: D. W. Hart, Power
Electronics, McGraw-Hill, 2011. How a value was obtained stands beside it: read; read in a copied-out text; from memory.
"""

import numpy as np
import pytest
from hypothesis import assume, given, reject, settings
from hypothesis import strategies as st
from scipy.optimize import minimize_scalar
from test_derivations import tampered, value

from boostkit.circuit import Converter, switched
from boostkit.derivations import energy, light_load, sizing, switching, unloaded

POINTS = [(0.05, 0.25), (0.05, 0.5), (0.1, 0.5), (0.01, 0.5)]        # K and D at which EM3's formulas were evaluated


# --- published values ---


def test_border_and_its_highest_point():
    """EM3 eq. 5.32-5.33, read: K_crit = D D'^2, at most 4/27, at D = 1/3; found here by numbers as well."""
    border = switching.conduction_border().formula
    assert sizing.largest_critical().formula() == pytest.approx(4 / 27, rel=1e-15)
    found = minimize_scalar(lambda duty: -border(duty=duty), bounds=(0.01, 0.99), method="bounded", options={"xatol": 1e-10})
    assert (found.x, -found.fun) == pytest.approx((1 / 3, 4 / 27), abs=1e-7)       # a flat top: the place to half the digits


@pytest.mark.parametrize(("point", "gain"), list(zip(POINTS, (1.7247, 2.7913, 2.1583, 5.5249), strict=True)))
def test_discontinuous_gain(point, gain):
    """EM3 eq. 5.52, read (the formula; numbers worked out from it): all four lie in discontinuous conduction."""
    k_load, duty = point
    assert k_load < value(switching.conduction_border, duty=duty)
    assert value(light_load.discontinuous_gain, k_load=k_load, duty=duty) == pytest.approx(gain, abs=5e-5)   # four decimals


@pytest.mark.parametrize(("point", "share"), list(zip(POINTS, (0.3449, 0.2791, 0.4317, 0.1105), strict=True)))
def test_rectifier_share(point, share):
    """EM3 table 5.2, read: D_2 = K M/D at the same points, and the volt-seconds then give the same gain."""
    k_load, duty = point
    gain = value(light_load.discontinuous_gain, k_load=k_load, duty=duty)
    found = value(light_load.rectifier_share, k_load=k_load, gain=gain, duty=duty)
    assert found == pytest.approx(share, abs=6e-5)              # four decimals, and a gain rounded before
    assert value(light_load.gain_by_times, duty=duty, duty_rectifier=found) == pytest.approx(gain, rel=1e-14)


@pytest.mark.parametrize(("point", "gain", "error"),
                         list(zip(POINTS, (1.618, 2.736, 2.081, 5.500), (-6.2, -2.0, -3.6, -0.45), strict=True)))
def test_near_linear_gain(point, gain, error):
    """EM3 eq. 5.54, read: 1/2 + D/sqrt(K), which errs low by the per cent given, within the bound without loss."""
    k_load, duty = point
    near, exact = light_load.near_linear_gain().formula, value(light_load.discontinuous_gain, k_load=k_load, duty=duty)
    found = near(k_load=k_load, duty=duty)
    assert found == pytest.approx(gain, abs=6e-4)               # three decimals
    off = found / exact - 1
    assert 100 * off == pytest.approx(error, abs=0.06)          # one decimal printed
    promised = near.error_bound(k_load=k_load, duty=duty, v_out=1e9, v_in=1e9 / exact, i_out=1e-9, f_sw=1e5, inductance=1e-6)
    assert 0.7 * promised < -off < promised


def test_load_for_every_duty():
    """EM3 table 5.1, read in a copied-out text: the smallest R_crit over all duties is 27 L/(2 T_s)."""
    inductance, f_sw = 47e-6, 150e3
    duties = np.linspace(0.05, 0.95, 901)
    least = np.min(2 * inductance * f_sw / value(switching.conduction_border, duty=duties))
    assert value(sizing.load_for_every_duty, inductance=inductance, f_sw=f_sw) == pytest.approx(least, rel=1e-6)   # grid


@pytest.mark.parametrize("duty", [0.1, 0.4, 0.75])
def test_gains_meet_at_the_border(duty):
    """EM3 sec. 5.3, read: at K = K_crit both gains are 1/D'."""
    critical = value(switching.conduction_border, duty=duty)
    gains = (value(light_load.discontinuous_gain, k_load=critical, duty=duty), value(light_load.gains_meet, duty=duty),
             value(switching.ideal_gain, duty=duty))
    assert gains == pytest.approx((1 / (1 - duty),) * 3, rel=1e-12)


def test_operating_point_of_erickson():
    """EM3 eq. 15.61-15.64, read in a copied-out text: 24 V to 36 V, 12 Ω, 5 µH, 100 kHz; 36 W through the field, D 0.25."""
    k_load = 2 * 5e-6 * 100e3 / 12.0
    assert k_load == pytest.approx(0.08333, abs=5e-6) and value(switching.conduction_border, duty=0.25) == pytest.approx(0.1406, abs=5e-5)
    assert value(light_load.duty_for_gain, k_load=k_load, gain=1.5) == pytest.approx(0.25, rel=1e-14)
    assert value(light_load.rectifier_share, k_load=k_load, gain=1.5, duty=0.25) == pytest.approx(0.5, rel=1e-14)
    stage = {"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3}
    assert value(light_load.dry_peak, **stage) == pytest.approx(12.0, rel=1e-14)
    assert value(light_load.dry_load_current, i_inductor_max=12.0, duty_rectifier=0.5) == pytest.approx(3.0, rel=1e-14)
    assert value(light_load.cycle_energy, v_out=36.0, **stage) * 100e3 == pytest.approx(108.0)       # 3 A at 36 V
    through_field = value(light_load.cycle_energy, v_out=36.0, **stage) * 100e3 * (1 - 24 / 36)
    assert through_field == pytest.approx(36.0) and 24.0**2 / through_field == pytest.approx(16.0)   # R_e = 16 Ω


@pytest.mark.parametrize("duty", [0.15, 1 / 3, 0.6, 0.8])
def test_a_quarter_below_the_border_is_discontinuous(duty):
    """EM3 problem 5.17, read in a copied-out text: K <= 0.75 K_crit is a safe margin; usual losses do not leave it."""
    k_load, r_load, f_sw = 0.75 * value(switching.conduction_border, duty=duty), 100.0, 1e5
    stage = Converter.of(v_in=6.0, duty=duty, f_sw=f_sw, r_load=r_load, inductance=k_load * r_load / (2 * f_sw),
                         capacitance=50e-6, r_inductor=0.05, r_switch=0.05, v_rectifier=0.4, r_capacitor=0.02)
    assert switched.steady_state(stage).mode == "discontinuous"


def test_border_inductance():
    """Hart example 6-4, from memory: 96 µH at D = 0.6, 50 Ω, 25 kHz; and the border current of that coil is the load's."""
    inductance = value(sizing.border_inductance, r_load=50.0, duty=0.6, f_sw=25e3)
    assert inductance == pytest.approx(96e-6, rel=1e-12)
    assert value(sizing.border_current, v_in=12.0, duty=0.6, inductance=inductance, f_sw=25e3) == pytest.approx(30.0 / 50.0)


# --- what must agree with itself ---


@pytest.mark.parametrize(("k_load", "duty"), POINTS)
def test_gain_and_power_agree(k_load, duty):
    """The power of the cycle (shown by energy) and the gain (shown by volt-seconds and charge) are one physics."""
    v_in, r_load, f_sw = 6.0, 100.0, 1e5
    v_out = v_in * value(light_load.discontinuous_gain, k_load=k_load, duty=duty)
    power = value(energy.discontinuous_power, v_in=v_in, duty=duty, inductance=k_load * r_load / (2 * f_sw), f_sw=f_sw, v_out=v_out)
    assert power == pytest.approx(v_out**2 / r_load, rel=1e-12)


def test_obvious_answers():
    """A quarter of the load number at a straight gain: twice the slope. The duty for a gain falls with the root of the load."""
    near = light_load.near_linear_gain().formula
    slopes = [near(k_load=k, duty=0.4) - near(k_load=k, duty=0.3) for k in (0.04, 0.01)]
    assert slopes[1] == pytest.approx(2 * slopes[0])
    duties = value(light_load.duty_for_gain, k_load=np.array([0.04, 0.01]), gain=3.0)
    assert duties[0] == pytest.approx(2 * duties[1])


# --- no load ---


@st.composite
def dry_stages(draw, losses):
    """Converters in discontinuous conduction, with or without losses."""
    duty, f_sw, r_load = draw(st.floats(0.1, 0.75)), 10 ** draw(st.floats(4.7, 5.7)), 10 ** draw(st.floats(1, 3))
    k_load = duty * (1 - duty) ** 2 * draw(st.floats(0.05, 0.7))
    part = {name: losses * draw(st.floats(1e-4, 0.1)) * r_load * (1 - duty) ** 2
            for name in ("r_inductor", "r_switch", "r_rectifier", "r_capacitor")}
    return Converter.of(v_in=6.0, duty=duty, f_sw=f_sw, r_load=r_load, inductance=k_load * r_load / (2 * f_sw),
                        capacitance=draw(st.floats(5, 100)) * duty / (r_load * f_sw),
                        v_rectifier=losses * draw(st.floats(0, 0.8)), **part)


def climbed(stage, periods):
    """The load taken away from a steady stage: its letters, with the output before and some periods after."""
    try:
        before = switched.steady_state(stage)
    except ValueError:
        reject()
    assume(before.mode == "discontinuous")
    after = switched.after_step(stage, stage.change(r_load=1e12), periods)
    names = ("v_in", "duty", "f_sw", "inductance", "capacitance", "r_inductor", "r_switch", "v_rectifier", "r_rectifier", "r_capacitor")
    letters = {name: stage.letters()[name] for name in names}
    return letters | {"v_before": before.pieces[0].state[1], "v_after": after.state[1], "cycles": float(periods)}


def taken(formula, letters):
    """The formula at those of the letters that it takes."""
    return formula(**{quantity.name: letters[quantity.name] for quantity in formula.inputs})


@settings(max_examples=30, derandomize=True, deadline=None)
@given(stage=dry_stages(losses=0), periods=st.integers(1, 300))
def test_the_climb_is_exact_without_loss(stage, periods):
    """However large the steps, the recursion of squares is exact; the counted periods come back."""
    letters = climbed(stage, periods)
    formula, back = unloaded.unloaded_climb().formula, unloaded.cycles_to_voltage().formula
    assume(formula.holds(**letters))        # a deep sag may leave the first period too little lift
    assert formula.error_bound(**letters) == 0
    drained = periods / (1e12 * letters["capacitance"] * letters["f_sw"])        # the solver knows no load above 1e12 Ω
    assert taken(formula, letters) == pytest.approx(letters["v_after"], rel=2e-9 + drained)
    swing = (letters["v_after"] / (letters["v_after"] - letters["v_before"])) * (2e-9 + drained)       # differences
    assert taken(back, letters) == pytest.approx(periods, rel=3 * swing)


@pytest.mark.parametrize("derivation", [unloaded.unloaded_climb, unloaded.cycles_to_voltage, unloaded.climb_per_cycle])
def test_the_climb_with_losses_stays_within_its_bound(derivation):
    """Random lossy stages without a load err by no more than the bound, and the worst uses a fair part of it."""
    formula, used = derivation().formula, []

    @settings(max_examples=40, derandomize=True, deadline=None, database=None)
    @given(stage=dry_stages(losses=1), periods=st.integers(1, 200))
    def every(stage, periods):
        letters = climbed(stage, 1 if derivation is unloaded.climb_per_cycle else periods)
        assume(formula.holds(**letters))
        exact = {"unloaded_climb": letters["v_after"], "cycles_to_voltage": letters["cycles"],
                 "climb_per_cycle": letters["v_after"] - letters["v_before"]}[formula.name]
        used.append(abs(taken(formula, letters) / exact - 1) / formula.error_bound(**letters))
        assert used[-1] <= 1

    every()
    assert len(used) >= 20 and max(used) > 0.5


def test_twice_the_lift_halves_the_climb_and_nothing_ends_it():
    """The climb slows as one over the lift; four times the periods, twice the lift in the end."""
    stage = {"v_in": 6.0, "duty": 0.3, "f_sw": 150e3, "inductance": 47e-6, "capacitance": 100e-6}
    climb = value(unloaded.climb_per_cycle, v_before=np.array([16.0, 26.0]), **stage)
    assert climb[0] == pytest.approx(2 * climb[1])
    late = value(unloaded.unloaded_climb, v_before=6.0, cycles=np.array([1e6, 4e6]), **stage) - 6.0
    assert late[1] == pytest.approx(2 * late[0])


# --- slips ---


@pytest.mark.parametrize(("derivation", "number", "wrong"), [
    (light_load.gain_by_times, 4, "gain = (duty + duty_rectifier)/duty"),                        # D for D_2
    (light_load.dry_load_current, 3, "i_rectifier_mean = i_inductor_max*duty_rectifier"),        # half of the triangle
    (light_load.rectifier_share, 10, "duty_rectifier = k_load*duty/gain"),
    (light_load.discontinuous_gain, 4, "gain**2 + gain - duty**2/k_load = 0"),                   # sign
    (light_load.discontinuous_gain, 5, "gain = (1 - sqrt(1 + 4*duty**2/k_load))/2"),             # the other root
    (light_load.near_linear_gain, 4, "gain_above = 1"),                                          # the limit
    (light_load.gains_meet, 7, "gain = 1/duty_off**2"),
    (sizing.largest_critical, 4, "duty = 1/2"),                                                  # not the highest point
    (unloaded.cycles_to_voltage, 11,
     "v_after**2 - v_before**2 = cycles*(v_in*duty/f_sw)**2/(inductance*capacitance)"),          # the source's work forgotten
    (unloaded.climb_per_cycle, 3, "v_climb = (v_in*duty/f_sw)**2/(inductance*capacitance)"
     "/sqrt((v_before - v_in)**2 + cycles*(v_in*duty/f_sw)**2/(inductance*capacitance))"),       # a lost factor of two
])
def test_slips_of_the_pen_are_named(derivation, number, wrong):
    """The slips that a learner makes here are found, and the step is named."""
    with pytest.raises(ValueError, match=rf"{derivation.__name__}, step {number} "):
        tampered(derivation(), number, wrong).verify()
