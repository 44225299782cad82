"""What is left of the converter where a fast loop holds its coil current: one slow pole, and the right-half-plane zero still.

The coil then hands the output a power and not a current: what the source gives at the commanded current, whatever the output
voltage. This is why the load counts twice in the pole and half in the gain.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    law,
    letter,
    small_swings,
    solving,
    substituting,
)
from boostkit.derivations import current_mode as _current_mode  # noqa: F401  (enters the letters of the command and the ramp)
from boostkit.derivations import landmarks as _landmarks  # noqa: F401  (enters the frequency of the zero)
from boostkit.derivations import real_parts as _real_parts  # noqa: F401  (enters the input power)
from boostkit.derivations.switching import NO_LOSS, ideal_gain, inductor_ripple

gain_current = letter("gain_current", r"G_{c0}", "Ω", "change of the output for a lasting change of the mean coil current", (1.0, 200.0))
i_fed = letter("i_fed", r"i_{\mathrm{fed}}", "A", "mean current through the rectifier, coil current held", (0.05, 5.0))
i_filling = letter("i_filling", r"i_C", "A", "current into the output capacitor, mean over a period", (-1.0, 1.0), low=-inf)
i_taken = letter("i_taken", r"i_R", "A", "current into the load resistance, mean over a period", (0.05, 5.0))
slope_output = letter("slope_output", r"s_{\mathrm{out}}", "V/s", "slope of the mean output voltage", (-1e4, 1e4), low=-inf)
rate_held = letter("rate_held", r"\omega_{p}", "1/s", "rate at which a change of the output dies out, coil current held", (10.0, 1e5))
f_held_pole = letter("f_held_pole", r"f_{p}", "Hz", "corner frequency of the output, coil current held", (1.0, 1e4), open_low=True)
v_coil_mean = letter("v_coil_mean", r"V_L", "V", "voltage across the coil, mean over a period, while its current is led along",
                     (-1.0, 1.0), low=-inf)
slope_led = letter("slope_led", r"s_c", "A/s", "slope along which the coil current is led", (-1e4, 1e4), low=-inf)
p_coil_fill = letter("p_coil_fill", r"P_{\mathrm{fill}}", "W", "power that goes into the field while the coil current rises", (0.01, 2.0),
                     low=-inf)
swing_led = letter("swing_led", r"\delta_L", "A", "small change of the mean coil current, e^(st)", (1e-3, 0.1), low=-inf)
swing_fed = letter("swing_fed", r"\delta_{\mathrm{fed}}", "A", "small change of the current fed to the output, e^(st)", (1e-3, 0.1),
                   low=-inf)
v_control = letter("v_control", "v_y", "V", "control voltage at the comparator", (0.5, 3.0))
r_sense = letter("r_sense", r"R_s", "Ω", "volts at the comparator for each ampere of coil current", (0.01, 1.0), open_low=True)

HELD = "the coil current is held by its own loop, far faster than the output moves"
_AFAR = Bound("", "far below the switching frequency; losses and a load of constant current change it")
_SIMPLE = "derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.1 (the simple model)"


@cache
def fed_current() -> Derivation:
    """The current that a held coil current feeds to the output: V_in I_L/V_out."""
    return Derivation(
        "fed_current", "A held coil current feeds a power",
        (
            Step("The source gives this power at the coil current.", "p_in = v_in*i_inductor_mean",
                 law("electric power", power="p_in", voltage="v_in", current="i_inductor_mean")),
            Step("The output receives this.", "p_out = v_out*i_fed",
                 law("electric power", power="p_out", voltage="v_out", current="i_fed")),
            Step("Nothing is lost between, and the field keeps its energy while the current is held.", "p_out = p_in",
                 assumption(f"{NO_LOSS}; {HELD}")),
            Step("Put both in.", "v_out*i_fed = v_in*i_inductor_mean", substituting(), uses=(3, 1, 2)),
            Step("So a higher output voltage gets less current.", "i_fed = v_in*i_inductor_mean/v_out", solving("i_fed")),
        ),
        meaning="mean current that reaches the output, coil current held",
        unit="A",
        bound=_AFAR,
        source=_SIMPLE,
        example={"v_in": 6.0, "i_inductor_mean": 1.8, "v_out": 18.0},
    )


@cache
def current_mode_gain() -> Derivation:
    """What a lasting change of the coil current does to the output: D' R/2."""
    return Derivation(
        "current_mode_gain", "Volts of output for each ampere of coil current",
        (
            Step("Take the current that is fed to the output.", "i_fed = v_in*i_inductor_mean/v_out", earlier(fed_current())),
            Step("In the end all of it goes into the load.", "v_out = r_load*i_fed",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_fed")),
            Step("Put it in.", "v_out = r_load*(v_in*i_inductor_mean/v_out)", substituting(), uses=(2, 1)),
            Step("The output goes with the root of the current.", "v_out = sqrt(r_load*v_in*i_inductor_mean)", solving("v_out")),
            Step("A small change of the one makes this change of the other.",
                 "gain_current = derivative(sqrt(r_load*v_in*i_inductor_mean), i_inductor_mean)", definition()),
            Step("Work out the slope.", "gain_current = r_load*v_in/(2*sqrt(r_load*v_in*i_inductor_mean))", differentiating()),
            Step("The mean current belongs to the output.", "i_inductor_mean = v_out**2/(r_load*v_in)", solving("i_inductor_mean"), uses=4),
            Step("Put it in.", "gain_current = r_load*v_in/(2*v_out)", substituting(), uses=(6, 7)),
            Step("Take the gain of the converter.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("So the source voltage is this.", "v_in = v_out*duty_off", solving("v_in")),
            Step("Put it in.", "gain_current = duty_off*r_load/2", substituting(), uses=(8, 10)),
        ),
        meaning="change of the output voltage for a lasting change of the mean coil current, load a resistance",
        unit="Ω",
        bound=_AFAR,
        source=_SIMPLE,
        example={"duty": 0.68, "r_load": 30.0},
    )


@cache
def current_mode_pole() -> Derivation:
    """The slow pole that is left: 2/(R C), as a frequency 1/(pi R C)."""
    return Derivation(
        "current_mode_pole", "The pole that is left",
        (
            Step("What is fed to the output goes into the capacitor and the load.", "i_fed = i_filling + i_taken",
                 law("Kirchhoff current law", enter="i_fed", leave="i_filling + i_taken")),
            Step("The load takes this.", "v_out = r_load*i_taken",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_taken")),
            Step("So its current is this.", "i_taken = v_out/r_load", solving("i_taken")),
            Step("The rest makes the output rise.", "i_filling = capacitance*slope_output",
                 law("capacitor law", current="i_filling", capacitance="capacitance", slope="slope_output")),
            Step("Take the current that is fed to the output.", "i_fed = v_in*i_inductor_mean/v_out", earlier(fed_current())),
            Step("Put all in.", "v_in*i_inductor_mean/v_out = capacitance*slope_output + v_out/r_load", substituting(), uses=(1, 5, 4, 3)),
            Step("So the output rises along this slope.",
                 "slope_output = (v_in*i_inductor_mean/v_out - v_out/r_load)/capacitance", solving("slope_output")),
            Step("An output that lies a little too high falls back: its change dies out at the rate at which the slope falls with it.",
                 "rate_held = -derivative((v_in*i_inductor_mean/v_out - v_out/r_load)/capacitance, v_out)", definition()),
            Step("Work it out: less comes in, and more goes out.",
                 "rate_held = (v_in*i_inductor_mean/v_out**2 + 1/r_load)/capacitance", differentiating()),
            Step("In steady state the output has nothing left over for the capacitor.", "v_in*i_inductor_mean/v_out = v_out/r_load",
                 assumption("small changes about a steady state")),
            Step("So the coil current is this.", "i_inductor_mean = v_out**2/(r_load*v_in)", solving("i_inductor_mean")),
            Step("Put it in. The two parts are alike.", "rate_held = 2/(r_load*capacitance)", substituting(), uses=(9, 11)),
            Step("As a frequency it is this.", "f_held_pole = rate_held/(2*pi)", definition()),
            Step("Put it in.", "f_held_pole = 1/(pi*r_load*capacitance)", substituting(), uses=(13, 12)),
        ),
        meaning="corner frequency of the output with the coil current held, load a resistance",
        unit="Hz",
        bound=_AFAR,
        source=_SIMPLE,
        example={"r_load": 30.0, "capacitance": 100e-6},
    )


@cache
def current_mode_zero() -> Derivation:
    """The right-half-plane zero stays where it was: D'^2 R/(2 pi L)."""
    return Derivation(
        "current_mode_zero", "The zero stays",
        (
            Step("Look for a rate of growth, as e^(st), at which the output gets no more than before. Call it 2π f_z.", "s = 2*pi*f_zero",
                 definition()),
            Step("A coil current that is led along a slope needs a voltage across the coil.", "v_coil_mean = inductance*slope_led",
                 law("inductor law", voltage="v_coil_mean", inductance="inductance", slope="slope_led")),
            Step("With the current, this voltage puts power into the field.", "p_coil_fill = v_coil_mean*i_inductor_mean",
                 law("electric power", power="p_coil_fill", voltage="v_coil_mean", current="i_inductor_mean")),
            Step("Nothing is lost, so the output gets the less the faster the current rises.",
                 "v_out*i_fed = v_in*i_inductor_mean - p_coil_fill", assumption(NO_LOSS)),
            Step("Put in the power.", "v_out*i_fed = v_in*i_inductor_mean - inductance*slope_led*i_inductor_mean", substituting(),
                 uses=(4, 3, 2)),
            Step("Let the coil current swing a little, as e^(st): its slope is then s times the swing. Source and output stay.",
                 "v_out*swing_fed = (v_in - inductance*slope_led)*swing_led - inductance*(s*swing_led)*i_inductor_mean",
                 small_swings(i_fed="swing_fed", i_inductor_mean="swing_led", slope_led="s*swing_led")),
            Step("It swings about a steady current.", "slope_led = 0", assumption("small changes about a steady state")),
            Step("Put it in.", "v_out*swing_fed = v_in*swing_led - inductance*(s*swing_led)*i_inductor_mean", substituting(), uses=(6, 7)),
            Step("At that rate the field takes all that the source gives more.", "swing_fed = 0",
                 assumption("at the zero: the current fed to the output stays as it is")),
            Step("Put it in.", "0 = v_in*swing_led - inductance*(s*swing_led)*i_inductor_mean", substituting(), uses=(8, 9)),
            Step("Solve for the rate. It is positive, a growth: the zero lies in the right half plane.",
                 "s = v_in/(inductance*i_inductor_mean)", solving("s")),
            Step("Take the gain of the converter.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("So the source voltage is this.", "v_in = v_out*duty_off", solving("v_in")),
            Step("In steady state source and load have the same power.", "v_in*i_inductor_mean = v_out*(v_out/r_load)",
                 assumption(NO_LOSS)),
            Step("So the coil current is this.", "i_inductor_mean = v_out**2/(r_load*v_in)", solving("i_inductor_mean")),
            Step("Put all in.", "2*pi*f_zero = duty_off**2*r_load/inductance", substituting(), uses=(11, 1, 15, 13)),
            Step("Solve for the frequency: the zero is where it was without the loop of the current.",
                 "f_zero = duty_off**2*r_load/(2*pi*inductance)", solving("f_zero")),
        ),
        meaning="frequency of the right-half-plane zero with the coil current held: the same as without",
        unit="Hz",
        bound=_AFAR,
        source=_SIMPLE,
        example={"duty": 0.68, "r_load": 30.0, "inductance": 47e-6},
    )


@cache
def peak_from_control() -> Derivation:
    """The mean coil current that a control voltage commands: v_y/R_s less the ramp and half the ripple."""
    return Derivation(
        "peak_from_control", "What a control voltage commands",
        (
            Step("The control voltage stands for a current.", "i_command = v_control/r_sense", definition()),
            Step("The switch opens where the coil current meets the command less the ramp.",
                 "i_inductor_max = i_command - slope_ramp*duty*t_sw", assumption("the comparator acts at once")),
            Step("In steady state the mean lies half a ripple below the highest current.",
                 "i_inductor_mean = i_inductor_max - ripple_current/2", assumption("straight slopes, continuous conduction")),
            Step("Take the ripple of the coil current.", "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put all in. Ramp and ripple are the error of taking the command for the mean, and both change with the duty.",
                 "i_inductor_mean = v_control/r_sense - slope_ramp*duty/f_sw - v_in*duty/(2*inductance*f_sw)", substituting(),
                 uses=(3, 2, 1, 4, 5)),
        ),
        meaning="mean coil current that a control voltage commands, in continuous conduction",
        unit="A",
        bound=Bound("", "straight slopes; a comparator that acts late lets the current rise further"),
        source="derived here; same relation in Erickson & Maksimovic, 3rd ed., sec. 18.3, from memory",
        example={"v_control": 0.3, "r_sense": 0.1, "slope_ramp": 1.28e5, "duty": 0.68, "f_sw": 150e3, "v_in": 6.0, "inductance": 47e-6},
    )


@cache
def control_from_mean() -> Derivation:
    """Turned round: the control voltage for a mean coil current."""
    return Derivation(
        "control_from_mean", "The control voltage for a mean current",
        (
            Step("Take the mean current that is commanded.",
                 "i_inductor_mean = v_control/r_sense - slope_ramp*duty/f_sw - v_in*duty/(2*inductance*f_sw)",
                 earlier(peak_from_control())),
            Step("Solve for the control voltage.",
                 "v_control = r_sense*(i_inductor_mean + slope_ramp*duty/f_sw + v_in*duty/(2*inductance*f_sw))", solving("v_control")),
        ),
        meaning="control voltage that commands a mean coil current, in continuous conduction",
        unit="V",
        bound=peak_from_control().bound,
        source=peak_from_control().source,
        example={"i_inductor_mean": 1.9, "r_sense": 0.1, "slope_ramp": 1.28e5, "duty": 0.68, "f_sw": 150e3, "v_in": 6.0,
                 "inductance": 47e-6},
    )
