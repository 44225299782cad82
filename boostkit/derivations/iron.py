"""The core's loss: for a sine, and for the triangle that a converter really drives through it.

A material states its loss at one point (`loss_reference` at frequency `f_reference` and amplitude `flux_reference`) and two
powers. A coefficient k in W/m³ with frequencies in Hz and amplitudes in T is the same with both references set to 1.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    extremum,
    letter,
    simplifying,
    solving,
    substituting,
)

flux_reference = letter("flux_reference", "B_0", "T", "amplitude of the flux density at which the core loss is known", (0.02, 0.3),
                        open_low=True)
loss_reference = letter("loss_reference", "p_0", "W/m³", "core loss per volume at the point where it is known", (1e4, 1e6))
flux_amplitude = letter("flux_amplitude", r"\hat B", "T", "amplitude of the flux density: half of its swing", (0.005, 0.2),
                        defined_as="flux_swing/2")
loss_density = letter("loss_density", r"p_{\mathrm{core}}", "W/m³", "core loss per volume", (1e3, 1e6))
cosine_integral = letter("cosine_integral", r"I_{\cos}", "", "integral of |cos|^alpha over a full turn: steinmetz_integral(alpha)",
                         (3.0, 4.5), open_low=True)
rate_constant = letter("rate_constant", "p_i", "W/m³", "core loss per volume at a rate of change of one", (1e2, 1e6))
rate_mean = letter("rate_mean", r"r_{\mathrm{mean}}", "", "mean over a period of the rate of change to the power alpha", (0.1, 10.0))
rate_rise = letter("rate_rise", "r_1", "", "rate of change of the flux density while it rises, over B_0 f_0", (0.1, 10.0))
rate_fall = letter("rate_fall", "r_2", "", "rate of change of the flux density while it falls, over B_0 f_0", (0.1, 10.0))
flux_ratio = letter("flux_ratio", "b", "", "flux swing over that at which the losses are known", (0.2, 5.0), open_low=True)
p_copper_reference = letter("p_copper_reference", r"P_{\mathrm{cu0}}", "W", "heat of the winding at the known swing", (0.05, 5.0),
                            open_low=True)
p_part = letter("p_part", r"P_{\mathrm{part}}", "W", "heat of the wound part", (0.05, 10.0))

BY_RATE = "core loss follows the rate of change of flux density to the power alpha, and the swing (generalised Steinmetz)"
BY_SINE = "core loss of a sine goes as powers of frequency and amplitude (Steinmetz)"


def steinmetz_integral(alpha):
    """The integral of |cos θ|^α over a full turn, which ties the loss of a sine to the rate of change of the flux.

    alpha: power of frequency, above -1; a number or an array. Result: a pure number of the same shape (4 at α = 1, π at
    α = 2). Closed form with the gamma function: 2 sqrt(π) Γ((α+1)/2)/Γ(α/2+1). Errors: ValueError at or below -1.

    >>> round(steinmetz_integral(1.0), 12)
    4.0
    """
    from scipy.special import gamma

    if not np.all(np.asarray(alpha) > -1):
        raise ValueError(f"alpha = {alpha} must lie above -1: else the integral has no value")
    value = 2*np.sqrt(np.pi)*gamma((np.asarray(alpha) + 1)/2)/gamma(np.asarray(alpha)/2 + 1)
    return value if np.ndim(value) else float(value)


@cache
def sine_loss() -> Derivation:
    """Steinmetz: the core loss of a sine goes as powers of frequency and amplitude."""
    return Derivation(
        "sine_loss", "Core loss of a sine",
        (
            Step("Measured on a double logarithmic scale, core loss lies on straight lines over frequency and over amplitude.",
                 "loss_density = loss_reference*(f_sw/f_reference)**core_alpha*(flux_amplitude/flux_reference)**core_beta",
                 assumption(BY_SINE)),
            Step("The amplitude is half of the swing.", "flux_amplitude = flux_swing/2", definition()),
            Step("Put it in.",
                 "loss_density = loss_reference*(f_sw/f_reference)**core_alpha*(flux_swing/(2*flux_reference))**core_beta",
                 substituting(), uses=(1, 2)),
        ),
        meaning="core loss per volume, flux density a sine of this swing, peak to peak",
        unit="W/m³",
        bound=Bound("", "a fit: good within the range of frequency and swing that it was fitted in, at one temperature; bias adds loss"),
        source="C. P. Steinmetz, Trans. AIEE 9 (1892) 3 (from memory); form in Erickson & Maksimovic, 3rd ed., ch. 10",
        example={"loss_reference": 3e5, "f_sw": 150e3, "f_reference": 100e3, "core_alpha": 1.5, "flux_swing": 0.05,
                 "flux_reference": 0.1, "core_beta": 2.5},
    )


@cache
def triangle_loss() -> Derivation:
    """Generalised Steinmetz for a triangle: the loss of the sine of the same swing, times what the steeper slopes cost."""
    sine = "loss_reference*(f_sw/f_reference)**core_alpha*(flux_swing/(2*flux_reference))**core_beta"
    swing = "(flux_swing/flux_reference)**(core_beta - core_alpha)"
    turn = "(pi*flux_swing*f_sw/(flux_reference*f_reference))**core_alpha*cosine_integral/(2*pi)"
    return Derivation(
        "triangle_loss", "Core loss of a triangle",
        (
            Step("A triangle rises evenly while the switch is closed.",
                 "rate_rise = flux_swing*f_sw/(duty*flux_reference*f_reference)", definition()),
            Step("It falls evenly while the rectifier conducts.",
                 "rate_fall = flux_swing*f_sw/(duty_rectifier*flux_reference*f_reference)", definition()),
            Step("Over a period each slope counts by its share of time; while the coil idles, nothing changes.",
                 "rate_mean = duty*rate_rise**core_alpha + duty_rectifier*rate_fall**core_alpha", definition()),
            Step("What costs is how fast the flux density changes, at every instant; its swing as a whole counts beside it.",
                 f"loss_density = rate_constant*rate_mean*{swing}", assumption(BY_RATE)),
            Step("A sine must come out as measured: its rate of change is pi times swing times frequency times a cosine.",
                 f"{sine} = rate_constant*{turn}*{swing}", assumption(BY_SINE)),
            Step("Solve for the constant.",
                 "rate_constant = loss_reference*2*pi/(2**core_beta*pi**core_alpha*cosine_integral)", solving("rate_constant")),
            Step("Put all in.",
                 "loss_density = loss_reference*2*pi/(2**core_beta*pi**core_alpha*cosine_integral)"
                 "*(duty*(flux_swing*f_sw/(duty*flux_reference*f_reference))**core_alpha"
                 " + duty_rectifier*(flux_swing*f_sw/(duty_rectifier*flux_reference*f_reference))**core_alpha)"
                 f"*{swing}", substituting(), uses=(4, 6, 3, 1, 2)),
            Step("Gathered: the loss of the sine, times a factor of the two shares of time alone.",
                 f"loss_density = {sine}*2*pi*(duty**(1 - core_alpha) + duty_rectifier**(1 - core_alpha))/(pi**core_alpha*cosine_integral)",
                 simplifying()),
        ),
        meaning="core loss per volume, flux density a triangle of this swing (peak to peak), in both modes of conduction",
        unit="W/m³",
        bound=Bound("", "a fit, as for a sine; it leaves out the loss that goes on while the coil idles, and the bias"),
        source="generalised Steinmetz after J. Li, T. Abdallah, C. R. Sullivan (2001) and K. Venkatachalam et al. (2002), from memory",
        example={"loss_reference": 3e5, "f_sw": 150e3, "f_reference": 100e3, "core_alpha": 1.5, "flux_swing": 0.05,
                 "flux_reference": 0.1, "core_beta": 2.5, "duty": 0.68, "duty_rectifier": 0.32, "cosine_integral": 3.5},
    )


@cache
def least_loss_flux() -> Derivation:
    """The flux swing of least loss: heat of the winding is then beta/2 times the loss of the core."""
    return Derivation(
        "least_loss_flux", "The flux swing of least loss",
        (
            Step("Twice the turns halve the flux, and in the same window the winding then resists four times as much: the heat of "
                 "the winding falls with the square of the flux.", "p_copper = p_copper_reference/flux_ratio**2",
                 assumption("the winding fills the same window, whatever the turns; its current is given")),
            Step("The loss of the core grows with its power.", "p_core = p_core_reference*flux_ratio**core_beta", assumption(BY_SINE)),
            Step("Both together heat the part.", "p_part = p_copper + p_core", definition()),
            Step("Put in.", "p_part = p_copper_reference/flux_ratio**2 + p_core_reference*flux_ratio**core_beta",
                 substituting(), uses=(3, 1, 2)),
            Step("In between lies the least.",
                 "flux_ratio = (2*p_copper_reference/(core_beta*p_core_reference))**(1/(core_beta + 2))",
                 extremum("flux_ratio", "minimum")),
        ),
        meaning="flux swing of least loss over the swing at which the two losses are known",
        unit="",
        bound=Bound("", "for a part whose flux is all swing, such as a transformer; the bias of a converter's coil saturates it first"),
        source="derived here; P_cu = (beta/2) P_fe as in Erickson & Maksimovic, 3rd ed., eq. 12.5-12.13",
        example={"p_copper_reference": 1.0, "p_core_reference": 0.5, "core_beta": 2.6},
    )
