"""What is left of the coil in discontinuous conduction: a pole and a right-half-plane zero near the switching frequency.

Each period starts at zero current, so a mean that carries on from one period to the next is a picture, not the circuit: an averaged
model is a guide there and no more.
"""

from functools import cache

from boostkit.algebra import (
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.light_load import DRY
from boostkit.derivations.light_load_small_signal import BOOK, by_gain
from boostkit.derivations.stress import STRAIGHT, dry_peak

slope_mean = letter("slope_mean", r"s_L", "A/s", "slope of the mean coil current, discontinuous conduction", (1e3, 1e6), low=-float("inf"))
rate_coil = letter("rate_coil", r"\omega_{p2}", "1/s", "rate at which a change of the mean coil current dies out, "
                   "discontinuous conduction", (1e5, 3e6))
f_fast_pole = letter("f_fast_pole", r"f_{p2}", "Hz", "corner frequency of the coil, discontinuous conduction", (1e4, 5e5))
loss_at_once = letter("loss_at_once", r"\ell_D", "A", "fall of the mean rectifier current for a rise of the duty, coil current held",
                      (0.1, 10.0))
push_of_slope = letter("push_of_slope", r"u_D", "A/s", "slope of the mean coil current for a rise of the duty", (1e4, 1e7))
rate_zero = letter("rate_zero", r"\omega_z", "1/s", "rate of growth of the duty that leaves the rectifier current as it was",
                   (1e5, 3e6))
f_zero_dry = letter("f_zero_dry", r"f_z", "Hz", "frequency of the right-half-plane zero, discontinuous conduction", (1e4, 5e5))

AVERAGED = "the mean voltage across the coil moves its mean current, though each period starts at zero"
OUTPUT_HELD = "changes too quick for the output capacitor: the output voltage stays"

_SLOPE = "(duty*v_in - (v_out - v_in)*(2*inductance*f_sw*i_inductor_mean/(v_in*duty) - duty))/inductance"


@cache
def mean_current_moves() -> Derivation:
    """How the mean coil current moves when its triangles do not close: (D V_in - D_2 (V_out - V_in))/L, D_2 by the mean itself."""
    return Derivation(
        "mean_current_moves", "The mean coil current in discontinuous conduction",
        (
            Step("Each period starts at zero.", "i_inductor_max = v_in*duty/(inductance*f_sw)", earlier(dry_peak())),
            Step("The mean of the coil current is that of a triangle: up in the share D, down in the share D_2.",
                 "i_inductor_mean = i_inductor_max*(duty + duty_rectifier)/2", assumption(STRAIGHT)),
            Step("Put the peak in.", "i_inductor_mean = v_in*duty/(inductance*f_sw)*(duty + duty_rectifier)/2", substituting(),
                 uses=(2, 1)),
            Step("So the mean tells how long the rectifier conducts.",
                 "duty_rectifier = 2*inductance*f_sw*i_inductor_mean/(v_in*duty) - duty", solving("duty_rectifier")),
            Step("Look at quick changes alone.", "v_out_swing = 0", assumption(OUTPUT_HELD)),
            Step("The coil sees the source while the switch is closed, source less output while the rectifier conducts, else nothing. "
                 "Let the mean of that move the mean current.", "duty*v_in + duty_rectifier*(v_in - v_out) = inductance*slope_mean",
                 assumption(AVERAGED)),
            Step("Solve for the slope.", "slope_mean = (duty*v_in - duty_rectifier*(v_out - v_in))/inductance", solving("slope_mean")),
            Step("Put the time in.", f"slope_mean = {_SLOPE}", substituting(), uses=(7, 4)),
        ),
        meaning="slope of the mean coil current in discontinuous conduction, averaged model, output held, no loss",
        unit="A/s",
        valid=DRY,
        source=f"derived here; the averaged coil of {BOOK}, sec. 15.3 (from memory)",
        example={"duty": 0.25, "v_in": 24.0, "v_out": 36.0, "inductance": 5e-6, "f_sw": 100e3, "i_inductor_mean": 4.5},
    )


@cache
def coil_rate() -> Derivation:
    """The rate at which a surplus of mean coil current dies out: 2 f_s (V_out - V_in)/(V_in D)."""
    return Derivation(
        "coil_rate", "How the coil forgets in discontinuous conduction",
        (
            Step("Take the slope of the mean coil current.", f"slope_mean = {_SLOPE}", earlier(mean_current_moves())),
            Step("By so much does it fall for each ampere too many.", f"rate_coil = -derivative({_SLOPE}, i_inductor_mean)", definition()),
            Step("Carry it out. The inductance cancels.", "rate_coil = 2*f_sw*(v_out - v_in)/(v_in*duty)", differentiating()),
        ),
        meaning="rate at which a change of the mean coil current dies out, discontinuous conduction, averaged model, no loss",
        unit="1/s",
        valid=DRY,
        source="derived here",
        example={"f_sw": 100e3, "v_out": 36.0, "v_in": 24.0, "duty": 0.25},
    )


@cache
def fast_pole() -> Derivation:
    """The fast pole of discontinuous conduction: (M - 1) f_s/(pi D). The averaged model is a guide there, no more."""
    return Derivation(
        "fast_pole", "The fast pole of discontinuous conduction",
        (
            Step("A surplus of coil current dies out at this rate.", "rate_coil = 2*f_sw*(v_out - v_in)/(v_in*duty)", earlier(coil_rate())),
            Step("As a corner frequency.", "f_fast_pole = rate_coil/(2*pi)", definition()),
            *by_gain(3),
            Step("Put all in.", "f_fast_pole = 2*f_sw*(v_out - v_out/gain)/(v_out/gain*duty)/(2*pi)", substituting(), uses=(2, 1, 4)),
            Step("Gather.", "f_fast_pole = (gain - 1)*f_sw/(pi*duty)", simplifying()),
        ),
        meaning="corner frequency of the coil in discontinuous conduction, averaged model, no loss; near or above half the switching "
        "frequency it is a guide only",
        unit="Hz",
        valid=DRY,
        source=f"derived here; same value in {BOOK}, sec. 15.3.1",
        example={"gain": 1.5, "f_sw": 100e3, "duty": 0.25},
    )


@cache
def fast_zero() -> Derivation:
    """The right-half-plane zero of discontinuous conduction: f_s/(pi D), above f_s/pi whatever the parts."""
    return Derivation(
        "fast_zero", "The right-half-plane zero of discontinuous conduction",
        (
            Step("While the switch is closed the coil's triangle stands over the share D and none of it reaches the output.",
                 "i_rectifier_mean = i_inductor_mean - i_inductor_max*duty/2", assumption(STRAIGHT)),
            Step("Its peak.", "i_inductor_max = v_in*duty/(inductance*f_sw)", earlier(dry_peak())),
            Step("Put it in.", "i_rectifier_mean = i_inductor_mean - v_in*duty/(inductance*f_sw)*duty/2", substituting(), uses=(1, 2)),
            Step("More duty at the same mean coil current takes this from the rectifier at once.",
                 "loss_at_once = -derivative(i_inductor_mean - v_in*duty/(inductance*f_sw)*duty/2, duty)", definition()),
            Step("Carry it out.", "loss_at_once = v_in*duty/(inductance*f_sw)", differentiating()),
            Step("Take the slope of the mean coil current.", f"slope_mean = {_SLOPE}", earlier(mean_current_moves())),
            Step("More duty also lifts that slope.", f"push_of_slope = derivative({_SLOPE}, duty)", definition()),
            Step("Carry it out.", "push_of_slope = (v_in + (v_out - v_in)*(2*inductance*f_sw*i_inductor_mean/(v_in*duty**2) + 1))"
                 "/inductance", differentiating()),
            Step("At the operating point the mean does not move.", "slope_mean = 0", assumption("steady operating point")),
            Step("Put it in.", f"0 = {_SLOPE}", substituting(), uses=(6, 9)),
            Step("Solve for the mean coil current there.",
                 "i_inductor_mean = v_in*duty**2*v_out/(2*inductance*f_sw*(v_out - v_in))", solving("i_inductor_mean")),
            Step("There the push is twice the output over the inductance.", "push_of_slope = 2*v_out/inductance", substituting(),
                 uses=(8, 11)),
            Step("A surplus of coil current dies out at this rate.", "rate_coil = 2*f_sw*(v_out - v_in)/(v_in*duty)",
                 earlier(coil_rate())),
            Step("Let the duty grow as an exponential of the rate omega, the coil current with it, by just what the rectifier loses "
                 "at once: then the rectifier current stays. The slope needed comes from the push, less what dies out.",
                 "rate_zero*loss_at_once = push_of_slope - rate_coil*loss_at_once", assumption("changes small, so that they add")),
            Step("Solve for that rate: it is the right-half-plane zero.", "rate_zero = push_of_slope/loss_at_once - rate_coil",
                 solving("rate_zero")),
            Step("Put all in.", "rate_zero = 2*v_out/inductance/(v_in*duty/(inductance*f_sw)) - 2*f_sw*(v_out - v_in)/(v_in*duty)",
                 substituting(), uses=(15, 12, 5, 13)),
            Step("The voltages cancel.", "rate_zero = 2*f_sw/duty", simplifying()),
            Step("As a frequency.", "f_zero_dry = rate_zero/(2*pi)", definition()),
            Step("So high that the load pole has long taken the gain away.", "f_zero_dry = f_sw/(pi*duty)", substituting(), uses=(18, 17)),
        ),
        meaning="frequency of the right-half-plane zero in discontinuous conduction, averaged model, no loss; near or above half the "
        "switching frequency it is a guide only",
        unit="Hz",
        valid=DRY,
        source=f"derived here; same value in {BOOK}, sec. 15.3.1",
        example={"f_sw": 100e3, "duty": 0.25},
    )
