"""What frequency does to losses and size: the formulas held to numerical minima, to the exact circuit and to published values."""

import inspect

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from boostkit.circuit import Converter, switched
from boostkit.derivations import coil_size, frequency

STAGE = Converter.of(v_in=6.0, duty=0.65, f_sw=150e3, inductance=47e-6, capacitance=100e-6, r_load=60.0)
AT = {"f_reference": 150e3, "p_steady": 0.7}
TERMS = {"p_ripple_reference": 0.02, "p_core_reference": 0.06, "core_alpha": 1.4, "core_beta": 2.5, "energy_period": 5e-7}


def total(f_sw, terms=TERMS):
    """The sum of the losses, written out here a second time on purpose."""
    x = AT["f_reference"] / f_sw
    return (AT["p_steady"] + terms["p_ripple_reference"] * x**2
            + terms["p_core_reference"] * x ** (terms["core_beta"] - terms["core_alpha"])
            + terms["energy_period"] * f_sw)  # fmt: skip


def least(call, low=1e3, high=1e7):
    """Where a function of frequency is least, by search."""
    found = minimize_scalar(lambda u: call(np.exp(u)), bounds=(np.log(low), np.log(high)), method="bounded", options={"xatol": 1e-10})
    return float(np.exp(found.x))


def test_ripple_heat_is_what_the_exact_current_does():
    """Mean square of the exact coil current less the square of its mean, times the resistance."""
    current = switched.steady_state(STAGE).inductor_current
    made = frequency.ripple_heat().formula(r_ripple=0.15, v_in=6.0, duty=0.65, inductance=47e-6, f_sw=150e3)
    assert made == pytest.approx(0.15 * (current.rms**2 - current.mean**2), rel=1e-3)  # the exact slopes bend a little


def test_ripple_heat_agrees_with_the_published_rms_factor():
    """rms = I sqrt(1 + (1/3)(di/I)^2), di half the ripple (Erickson & Maksimovic, 3rd ed., appendix A; C5 of the reference values)."""
    mean, half = 2.0, 0.5
    rms = mean * np.sqrt(1 + (half / mean) ** 2 / 3)
    ripple = 2 * half
    v_in_for_it = ripple * 47e-6 * 150e3 / 0.65
    heat = frequency.ripple_heat().formula(r_ripple=1.0, v_in=v_in_for_it, duty=0.65, inductance=47e-6, f_sw=150e3)
    assert heat == pytest.approx(rms**2 - mean**2, rel=1e-12)


def test_twice_the_frequency_quarters_the_heat_of_the_ripple():
    """At a given coil it falls with the square of frequency."""
    coil = {"r_ripple": 0.15, "v_in": 6.0, "duty": 0.65, "inductance": 47e-6}
    once, twice = frequency.ripple_heat().formula(**coil, f_sw=np.array([1e5, 2e5]))
    assert once == pytest.approx(4 * twice)


def test_core_loss_of_the_exact_triangle_falls_with_frequency_at_given_turns():
    """The exact circuit's ripple put into powers of frequency and swing, at two frequencies."""
    powers = {"core_alpha": 1.4, "core_beta": 2.5}
    ripples = [switched.steady_state(STAGE.change(f_sw=f)).ripple_current for f in (150e3, 300e3)]
    by_hand = 0.06 * (300 / 150) ** 1.4 * (ripples[1] / ripples[0]) ** 2.5
    made = frequency.core_at_given_turns().formula(p_core_reference=0.06, f_sw=300e3, f_reference=150e3, **powers)
    assert made == pytest.approx(by_hand, rel=1e-4)  # exact slopes bend with the output ripple
    assert made < 0.06


def test_core_loss_rises_where_frequency_counts_for_more():
    """With alpha above beta core loss grows with frequency even at given turns."""
    law = frequency.core_at_given_turns().formula
    assert law(p_core_reference=0.06, f_sw=300e3, f_reference=150e3, core_alpha=2.6, core_beta=2.5) > 0.06


def test_balance_holds_where_a_search_finds_the_least_loss():
    """At the frequency found by search, the edges cost what the balance says; at another they do not."""
    balance = frequency.least_loss_balance().formula

    def gap(f_sw):
        x = AT["f_reference"] / f_sw
        return TERMS["energy_period"] * f_sw - balance(p_ripple=0.02 * x**2, p_core=0.06 * x**1.1, core_alpha=1.4, core_beta=2.5)

    best = least(total)
    assert brentq(gap, 1e4, 1e6) == pytest.approx(best, rel=1e-5)  # a minimum is flat: a search finds it to about 1e-6
    assert abs(gap(1.1 * best)) > 1e-3


@pytest.mark.parametrize("power", [0.5, 1.1, 2.0])
def test_closed_form_is_the_minimum_that_a_search_finds(power):
    """One falling power of frequency: closed form against search, and the shares there."""
    best = least(lambda f: 0.7 + 0.05 * (150e3 / f) ** power + 6e-7 * f)
    made = frequency.least_loss_frequency().formula(f_reference=150e3, falling=power, p_falling_reference=0.05, energy_period=6e-7)
    assert made == pytest.approx(best, rel=1e-5)
    fallen = 0.05 * (150e3 / made) ** power
    assert frequency.edges_at_least_loss().formula(falling=power, p_falling=fallen) == pytest.approx(6e-7 * made)


def test_two_falling_terms_lie_between_their_closed_forms():
    """The minimum with two powers lies between what all of the loss would give under either power alone."""
    both = TERMS["p_ripple_reference"] + TERMS["p_core_reference"]
    ends = [frequency.least_loss_frequency().formula(f_reference=150e3, falling=n, p_falling_reference=both, energy_period=5e-7)
            for n in (1.1, 2.0)]
    assert min(ends) < least(total) < max(ends)


def test_without_falling_terms_there_is_no_least_loss():
    """Conduction and edges alone: the slower the better, without end."""
    bare = TERMS | {"p_ripple_reference": 0.0, "p_core_reference": 0.0}
    assert np.all(np.diff(total(np.geomspace(1e3, 1e6, 30), bare)) > 0)
    assert frequency.least_loss_frequency().formula(f_reference=150e3, falling=2.0, p_falling_reference=0.0, energy_period=6e-7) == 0


def test_highest_frequency_for_a_loss_is_the_critical_frequency_where_twice_the_steady_loss_is_allowed():
    """Erickson & Maksimovic, 3rd ed., eq. 4.53: f = (P_con + P_fixed)/W_tot; E6 of the reference values."""
    assert frequency.frequency_for_loss().formula(p_allowed=1.8, p_steady=0.9, energy_period=1.2e-6) == pytest.approx(0.9 / 1.2e-6)


def test_peak_energy_is_that_of_the_exact_coil_current():
    """Half L times the square of the exact peak, at the exact share of ripple."""
    state = switched.steady_state(STAGE)
    current = state.inductor_current
    made = coil_size.peak_energy().formula(power_coil=state.input_power, duty=0.65, ripple_share=state.ripple_current / current.mean,
                                           f_sw=150e3)  # fmt: skip
    assert made == pytest.approx(47e-6 * current.max**2 / 2, rel=1e-3)  # the exact slopes bend a little


def test_least_energy_is_stored_where_the_current_just_touches_zero():
    """A search over the share of ripple ends at two; there all the energy of a period passes through the field."""
    law = coil_size.peak_energy().formula
    share = minimize_scalar(lambda r: law(power_coil=10.0, duty=0.6, ripple_share=r, f_sw=1e5), bounds=(0.1, 5), method="bounded").x
    assert coil_size.least_energy_share().formula() == pytest.approx(share, rel=1e-5)
    assert law(power_coil=10.0, duty=0.6, ripple_share=2.0, f_sw=1e5) == pytest.approx(10.0 * 0.6 / 1e5)


def test_volume_falls_with_three_quarters_of_a_power():
    """A solid scaled in numbers: the length that gives the area product, then its volume."""
    length = brentq(lambda s: s**4 - 0.1, 0.1, 1)
    made = coil_size.volume_with_frequency().formula(size_reference=1.0, f_reference=1e5, f_sw=1e6)
    assert made == pytest.approx(length**3)
    assert 0.17 < made < 0.18  # nearly a fifth, not a tenth


def test_volume_stands_still_where_the_core_heats_as_much_as_the_swing_counts():
    """With alpha equal to beta a higher frequency buys nothing; with alpha zero the core does not limit."""
    law = coil_size.volume_where_core_heats().formula
    assert law(size_reference=1.0, f_reference=1e5, f_sw=1e6, core_alpha=2.5, core_beta=2.5) == pytest.approx(1.0)
    free = coil_size.volume_with_frequency().formula(size_reference=1.0, f_reference=1e5, f_sw=1e6)
    assert law(size_reference=1.0, f_reference=1e5, f_sw=1e6, core_alpha=0.0, core_beta=2.5) == pytest.approx(free)


def test_mean_square_of_a_triangle_by_numbers():
    """A twelfth of the square of the swing, integrated over rise and fall."""
    duty, swing = 0.3, 2.0
    rise = quad(lambda t: (swing * (t / duty - 0.5)) ** 2, 0, duty)[0]
    fall = quad(lambda t: (swing * (0.5 - (t - duty) / (1 - duty))) ** 2, duty, 1)[0]
    assert rise + fall == pytest.approx(swing**2 / 12)
    heat = frequency.ripple_heat().formula(r_ripple=1.0, v_in=swing / duty, duty=duty, inductance=1.0, f_sw=1.0)
    assert heat == pytest.approx(rise + fall)


def test_every_derivation_of_both_files_is_tried_above():
    """No formula of these two files without a test of its numbers."""
    here = inspect.getsource(inspect.getmodule(test_every_derivation_of_both_files_is_tried_above))
    for module in (frequency, coil_size):
        for name, made in vars(module).items():
            if hasattr(made, "cache_info") and made.__module__ == module.__name__:
                assert f"{module.__name__.split('.')[-1]}.{name}()" in here, name
