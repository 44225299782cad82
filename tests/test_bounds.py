"""Every formula that a steady state can judge keeps its word: where it holds, the exact circuit lies within its bound."""

from functools import cache

import numpy as np
import pytest
from hypothesis import HealthCheck, assume, given, reject, settings
from hypothesis import strategies as st

from boostkit.circuit import Converter, switched, validity
from boostkit.circuit.validity import measured
from boostkit.derivations import energy, field, gain_peak, input_ripple, light_load, real_parts, ripple, ripple_esr, stress, switching

ROUNDING = 2e-9      # the solver closes a period to about 1e-10, and differences of its figures lose one digit
LOSSES = ("r_inductor", "r_switch", "r_rectifier", "r_capacitor", "v_rectifier")


JUDGED = [        # what `validity.EXACT` can tell from a steady state without an input capacitor
    switching.ideal_gain, switching.output_by_times, real_parts.real_gain, switching.charge_balance, switching.inductor_ripple,
    switching.output_ripple, stress.peak_current, stress.switch_voltage, stress.rectifier_voltage, stress.switch_mean,
    stress.switch_rms, stress.rectifier_mean, stress.rectifier_rms, stress.capacitor_rms, field.energy_swing,
    field.energy_swing_by_source, field.discontinuous_energy, energy.energy_per_cycle, energy.power_by_cycle,
    energy.straight_share, energy.field_share, energy.field_share_by_duty, energy.field_share_continuous,
    energy.discontinuous_power, light_load.gain_by_times, stress.dry_peak, light_load.dry_load_current,
    light_load.rectifier_share, light_load.discontinuous_gain, light_load.near_linear_gain, light_load.duty_for_gain,
    light_load.cycle_energy, ripple.large_ripple, ripple.dry_ripple, ripple_esr.rising_ripple,
    ripple_esr.turning_ripple, ripple_esr.falling_ripple, ripple.steady_capacitor_rms, ripple.dry_capacitor_rms,
    input_ripple.bare_source_ripple, gain_peak.winding_gain, real_parts.efficiency_with_losses, real_parts.ripple_factor,
]
DRY = (field.discontinuous_energy, energy.discontinuous_power, stress.dry_peak, light_load.dry_load_current,
       light_load.rectifier_share, light_load.discontinuous_gain, light_load.near_linear_gain, light_load.duty_for_gain,
       light_load.cycle_energy, ripple.dry_ripple, ripple.dry_capacitor_rms)     # hold in discontinuous conduction only
each = pytest.mark.parametrize("derivation", JUDGED, ids=[derivation.__name__ for derivation in JUDGED])


def shares(low, high):
    """A positive number, evenly spread over decades."""
    return st.floats(np.log(low), np.log(high)).map(lambda x: float(np.exp(x)))


@st.composite
def converters(draw, losses=True, highest=30.0, weak_switch=False):
    """A converter whose losses, ripple and load number (over its critical value) go from small to far too large.
    `weak_switch`: at times the switch alone takes much."""
    duty, f_sw, r_load = draw(st.floats(0.08, 0.85)), draw(shares(5e4, 5e5)), draw(shares(5.0, 300.0))
    k_load = duty * (1 - duty) ** 2 * draw(shares(0.1, highest))
    letters = {
        "v_in": draw(shares(3.0, 24.0)), "duty": duty, "f_sw": f_sw, "r_load": r_load,
        "inductance": k_load * r_load / (2 * f_sw),
        "capacitance": draw(shares(3.0, 300.0)) * duty / (r_load * f_sw),
    }
    parts = {name: draw(shares(1e-4, 0.3)) * r_load * (1 - duty) ** 2 for name in LOSSES[:4]}
    if weak_switch and draw(st.booleans()):
        parts = {name: parts[name] / 100 for name in parts} | {"r_switch": draw(st.floats(0.1, 1.0)) * r_load * (1 - duty) ** 2}
    parts["v_rectifier"] = max(draw(st.floats(-0.03, 0.15)), 0.0) * letters["v_in"]     # often none at all
    return Converter.of(**letters, **(parts if losses else dict.fromkeys(LOSSES, 0.0)))


def solved(converter):
    """The exact steady state; a converter that the solver refuses judges no formula, and its own tests judge it."""
    try:
        return switched.steady_state(converter)
    except ValueError:
        reject()


def judge(formula, s):
    """Relative error found and promised, or None where the formula does not claim to hold."""
    letters = measured(s)
    if not formula.holds(**letters) or validity.unfit(s) != ("",):
        return None
    exact = validity.exact_of(formula)(s)
    return abs(validity.value_of(formula, letters) - exact) / abs(exact), formula.error_bound(**letters)


@each
@settings(max_examples=50, derandomize=True, deadline=None, suppress_health_check=[HealthCheck.filter_too_much])
@given(data=st.data())
def test_error_stays_within_its_bound(derivation, data):
    """A random lossy converter in either mode errs by no more than the bound wherever the formula holds."""
    converter = data.draw(converters(highest=0.9 if derivation in DRY else 30.0, weak_switch=True))
    judged = judge(derivation().formula, solved(converter))
    assume(judged is not None)
    found, promised = judged
    assert found <= promised + ROUNDING


@each
def test_bound_is_not_idle(derivation):
    """Over 120 lossy converters each formula holds for some, and the worst error uses a fair part of its bound."""
    formula, used = derivation().formula, []
    # Much series resistance, beside the capacitance, needs much capacitance.
    states = some_states(more=30.0 if derivation is ripple_esr.falling_ripple else 1.0)
    for state in states:
        judged = judge(formula, state)
        if judged is not None and judged[1] > 0:
            used.append(judged[0] / judged[1])
    if derivation in (stress.rectifier_mean, energy.power_by_cycle):
        assert formula.error_bound(**measured(states[0])) == 0     # exact, so nothing to use
    else:
        # Squares of a ripple are bounded by the largest that any waveform can give, three times that of a triangle.
        assert len(used) >= 8
        assert max(used) >= 0.1


@each
def test_second_switch_keeps_the_bounds_or_they_do_not_hold(derivation):
    """With a second switch, its current turning or not, no formula errs by more than its bound where it holds; one for a
    coil that runs dry holds nowhere."""
    judged = [found for state in second_switch_states() if (found := judge(derivation().formula, state)) is not None]
    assert len(judged) == 0 if derivation in DRY else len(judged) >= 3
    assert all(found <= promised + ROUNDING for found, promised in judged)


def test_second_switches_are_tried_where_bounds_would_break():
    """The converters of the last test are hard enough: taken for diodes, many formulas would break their promise."""
    for derivation in (switching.output_by_times, light_load.gain_by_times, energy.field_share_by_duty, stress.switch_voltage,
                       light_load.discontinuous_gain):  # fmt: skip
        formula, exact = derivation().formula, validity.exact_of(derivation().formula)
        letters = [(state, measured(state)) for state in second_switch_states()]
        assert any(abs(validity.value_of(formula, own) / exact(state) - 1) > formula.error_bound(**own) + ROUNDING
                   for state, own in letters if formula.holds(**own)), derivation.__name__


def test_reverse_voltage_with_a_large_switch_resistance():
    """Error is counted against the exact value, which the drop of the switch makes small: the bound counts it so, too."""
    formula, judged = stress.rectifier_voltage().formula, []
    for share in (0.05, 0.1, 0.2, 0.3, 0.5, 0.8):
        for inductance in (56e-6, 560e-6, 5600e-6):
            stage = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=inductance, r_switch=share * 30 * 0.32**2,
                                 v_rectifier=0.4, capacitance=100e-6, r_load=30)  # fmt: skip
            judged.append(judge(formula, switched.steady_state(stage)))
    judged = [found for found in judged if found is not None]
    assert len(judged) >= 12 and all(found <= promised + ROUNDING for found, promised in judged)
    assert any(found > promised / (1 + promised) for found, promised in judged)     # where the drop itself was promised


def test_every_reader_has_a_judge():
    """Whatever the catalogue can read off a steady state is judged: here, or with an input capacitor in its own file."""
    assert set(validity.EXACT) == {derivation.__name__ for derivation in JUDGED} | {"source_ripple"}


@cache
def some_states(more):
    """Solved once: the same spread as above from a fixed seed, with so many times the capacitance."""
    return [switched.steady_state(converter) for converter in some_converters(120, more)]


@cache
def second_switch_states():
    """The same with a second switch: with much capacitance, and with little loss and so little coil that its current turns."""
    states = []
    for more, coil, loss in ((30.0, 1.0, 1.0), (1.0, 1.0, 1.0), (1.0, 0.2, 0.003), (0.3, 0.03, 0.003)):
        for converter in some_converters(40, more):
            own = converter.letters()
            states.append(switched.steady_state(converter.change(
                v_rectifier=None, rectifier="switch", inductance=coil * own["inductance"],
                **{name: loss * own[name] for name in LOSSES[:4]})))
    return states


def some_converters(count, more):
    """The converters of these states."""
    rng = np.random.default_rng(7)

    def spread(low, high):
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    for _ in range(count):
        duty, f_sw, r_load, v_in = rng.uniform(0.08, 0.85), spread(5e4, 5e5), spread(5, 300), spread(3, 24)
        k_load = duty * (1 - duty) ** 2 * spread(0.1, 30)
        parts = {name: spread(1e-4, 0.1) * r_load * (1 - duty) ** 2 for name in LOSSES[:4]}
        yield Converter.of(v_in=v_in, duty=duty, f_sw=f_sw, r_load=r_load, inductance=k_load * r_load / (2 * f_sw),
                           capacitance=more * spread(3, 300) * duty / (r_load * f_sw),
                           v_rectifier=rng.uniform(0, 0.15) * v_in, **parts)


@settings(max_examples=40, derandomize=True, deadline=None)
@given(converter=converters(losses=False))
def test_without_loss_the_mode_is_what_the_border_says(converter):
    """Without loss the load number against its critical value names the mode of conduction, but for the bending."""
    border = switching.conduction_border().formula
    s = solved(converter)
    letters = measured(s)
    k_load = 2 * letters["inductance"] * letters["f_sw"] / letters["r_load"]
    critical = border(duty=letters["duty"])
    assume(abs(k_load / critical - 1) > 2 * border.error_bound(**letters))
    assert s.mode == ("continuous" if k_load > critical else "discontinuous")


@settings(max_examples=12, derandomize=True, deadline=None)
@given(converter=converters())
def test_border_within_its_bound(converter):
    """With losses, the load number where the exact circuit changes mode lies within the bound of the border."""
    border = switching.conduction_border().formula
    letters = measured(solved(converter))
    unit = letters["r_load"] / (2 * letters["f_sw"])
    low, high = (factor * border(duty=letters["duty"]) for factor in (0.5, 8.0))
    for _ in range(25):
        middle = (low * high) ** 0.5
        mode = switched.steady_state(converter.change(inductance=middle * unit)).mode
        low, high = (middle, high) if mode == "discontinuous" else (low, middle)
    letters["inductance"] = high * unit
    assume(2 * border.error_bound(**letters) < 1)
    assert abs(border(duty=letters["duty"]) - high) / high <= border.error_bound(**letters) + 1e-6   # bisection


def test_field_share_without_loss():
    """Without loss the share through the field is 1 - V_in/V_out = D/(D + D_2), and D in continuous conduction only."""
    wide = {"v_in": 6.0, "duty": 0.6, "f_sw": 150e3, "capacitance": 1e-3, "r_load": 30.0}
    for inductance, mode in ((47e-6, "continuous"), (3e-6, "discontinuous")):
        s = switched.steady_state(Converter.of(**wide, inductance=inductance))
        letters = measured(s)
        assert s.mode == mode
        by_duty = energy.field_share_by_duty().formula
        times = {name: letters[name] for name in ("duty", "duty_rectifier")}
        # 1 mF leaves a ripple of 0.03 %.
        assert by_duty(**times) == pytest.approx(1 - letters["v_in"] / letters["v_out"], rel=1e-3)
        assert (by_duty(**times) == pytest.approx(0.6, rel=1e-3)) == (mode == "continuous")
