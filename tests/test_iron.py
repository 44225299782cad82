"""Core loss: the generalised law integrated over sampled waveforms, and the physics that it must contain."""

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import minimize_scalar

from boostkit.derivations import iron

FIT = {"loss_reference": 3e5, "f_reference": 100e3, "flux_reference": 0.1}


def by_definition(flux, f_sw, alpha, beta):
    """Generalised Steinmetz as published (from memory), in k, T and Hz, over samples of one period, evenly spaced in time:

    P = k_i (ΔB)^(β-α) times the mean of |dB/dt|^α, k_i = k/((2π)^(α-1) ∫|cos|^α 2^(β-α) dθ).
    """
    k = FIT["loss_reference"] / (FIT["f_reference"] ** alpha * FIT["flux_reference"] ** beta)
    turn = 4 * quad(lambda angle: np.cos(angle) ** alpha, 0, np.pi / 2)[0]
    k_i = k / ((2 * np.pi) ** (alpha - 1) * turn * 2 ** (beta - alpha))
    rate = np.abs(np.diff(flux)) * (len(flux) - 1) * f_sw
    return k_i * np.ptp(flux) ** (beta - alpha) * np.mean(rate**alpha)


@pytest.mark.parametrize(("alpha", "beta"), [(1.1, 2.0), (1.5, 2.5), (1.8, 2.9)])
@pytest.mark.parametrize(("duty", "duty_rectifier"), [(0.5, 0.5), (0.68, 0.32), (0.1, 0.9), (0.3, 0.2)])
def test_triangle_against_sampled_waveform(alpha, beta, duty, duty_rectifier):
    """The formula is the definition integrated over a sampled triangle, with idle time (0.3, 0.2) or without."""
    time = np.linspace(0, 1, 10001)      # corners fall on samples, so that straight lines are exact
    flux = np.interp(time, [0, duty, duty + duty_rectifier, 1], [0, 0.06, 0, 0])
    found = iron.triangle_loss().formula(core_alpha=alpha, core_beta=beta, f_sw=150e3, flux_swing=0.06, duty=duty,
                                         duty_rectifier=duty_rectifier, cosine_integral=iron.steinmetz_integral(alpha), **FIT)
    assert found == pytest.approx(by_definition(flux, 150e3, alpha, beta), rel=1e-9)


@pytest.mark.parametrize(("alpha", "beta"), [(1.1, 2.0), (1.5, 2.5), (1.8, 2.9)])
def test_a_sine_gives_back_the_sine_law(alpha, beta):
    """The generalised law of a sampled sine is Steinmetz's law of a sine."""
    flux = 0.03 * np.sin(2 * np.pi * np.linspace(0, 1, 20001))
    sine = iron.sine_loss().formula(core_alpha=alpha, core_beta=beta, f_sw=150e3, flux_swing=0.06, **FIT)
    assert by_definition(flux, 150e3, alpha, beta) == pytest.approx(sine, rel=1e-6)  # slopes of chords, 20000 of them


def test_the_reference_point():
    """At the reference frequency and amplitude the loss is the reference loss; a coefficient k is a reference of 1 Hz and 1 T."""
    sine = iron.sine_loss().formula
    assert sine(core_alpha=1.5, core_beta=2.5, f_sw=100e3, flux_swing=0.2, **FIT) == pytest.approx(3e5, rel=1e-12)
    k = 3e5 / (100e3**1.5 * 0.1**2.5)
    assert sine(loss_reference=k, f_reference=1.0, flux_reference=1.0, core_alpha=1.5, core_beta=2.5, f_sw=150e3,
                flux_swing=0.05) == pytest.approx(k * 150e3**1.5 * 0.025**2.5, rel=1e-12)


def test_eddy_currents_are_the_case_of_two():
    """With both powers 2 the loss is that of eddy currents, which is the mean square of dB/dt for any wave: 8/pi^2 at half duty."""
    at = {"core_alpha": 2.0, "core_beta": 2.0, "f_sw": 150e3, "flux_swing": 0.06, **FIT}
    triangle = iron.triangle_loss().formula(duty=0.5, duty_rectifier=0.5, cosine_integral=iron.steinmetz_integral(2.0), **at)
    assert triangle / iron.sine_loss().formula(**at) == pytest.approx(8 / np.pi**2, rel=1e-12)


def test_the_symmetric_triangle_loses_least():
    """At a given swing the loss is least at half duty and grows towards either end."""
    duty = np.linspace(0.05, 0.95, 19)
    loss = iron.triangle_loss().formula(core_alpha=1.5, core_beta=2.5, f_sw=150e3, flux_swing=0.06, duty=duty, duty_rectifier=1 - duty,
                                        cosine_integral=iron.steinmetz_integral(1.5), **FIT)
    assert loss.argmin() == 9 and loss == pytest.approx(loss[::-1], rel=1e-12)
    assert loss[0] > 1.5 * loss[9]


def test_steinmetz_integral():
    """The closed form is the integral: 2 pi, 4 and pi for powers 0, 1 and 2, and by numbers between."""
    assert iron.steinmetz_integral(np.array([0.0, 1.0, 2.0])) == pytest.approx([2 * np.pi, 4, np.pi], rel=1e-12)
    for alpha in (0.3, 1.4, 1.75):
        by_numbers = 4 * quad(lambda angle, alpha=alpha: np.cos(angle) ** alpha, 0, np.pi / 2)[0]
        assert iron.steinmetz_integral(alpha) == pytest.approx(by_numbers, rel=1e-8)
    with pytest.raises(ValueError, match="above -1"):
        iron.steinmetz_integral(-1.0)


@pytest.mark.parametrize("beta", [2.0, 2.6, 3.0])
def test_least_loss_flux(beta):
    """At the flux of least loss the winding's heat is beta/2 times the core's loss: consequence of EM3 eq. 12.5-12.13."""
    best = iron.least_loss_flux().formula(p_copper_reference=1.0, p_core_reference=0.4, core_beta=beta)
    heat, core = 1.0 / best**2, 0.4 * best**beta
    assert heat / core == pytest.approx(beta / 2, rel=1e-12)
    found = minimize_scalar(lambda b: 1.0 / b**2 + 0.4 * b**beta, bounds=(0.1, 5), method="bounded", options={"xatol": 1e-10})
    assert best == pytest.approx(found.x, rel=1e-6)  # a flat minimum: half the digits
