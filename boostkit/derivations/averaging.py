"""The mean over one period, and how it moves: two states of the circuit become one.

What switches is left out; what stays is how mean current and mean voltage drift from period to period.
"""

from functools import cache
from math import inf

from boostkit.algebra import Derivation, Step, assumption, averaging, definition, law, letter, simplifying, solving, substituting
from boostkit.derivations.switching import NEVER_DRY, NO_LOSS

slope_current_mean = letter("slope_current_mean", r"\mathrm{d}I_L/\mathrm{d}t", "A/s", "slope of the mean coil current",
                            (1e2, 1e5), low=-inf)
slope_voltage_mean = letter("slope_voltage_mean", r"\mathrm{d}V_{\mathrm{out}}/\mathrm{d}t", "V/s", "slope of the mean output voltage",
                            (1e1, 1e4), low=-inf)
climb_period = letter("climb_period", r"\Delta I_T", "A", "change of the coil current from one period to the next", (0.001, 1.0), low=-inf)
climb_voltage = letter("climb_voltage", r"\Delta V_T", "V", "change of the output voltage from one period to the next", (0.001, 1.0),
                       low=-inf)
wave_height = letter("wave_height", "x_0", "V", "height of a sine voltage that is averaged", (0.01, 10.0))
wave_mean = letter("wave_mean", r"x_{\mathrm{mean}}", "V", "mean of a sine voltage over one period of the clock", (0.01, 10.0), low=-inf)
t_apart = letter("t_apart", r"\tau", "s", "time before or after the instant in the middle", (1e-6, 1e-5), low=-inf)
mean_left = letter("mean_left", r"k_{\mathrm{mean}}", "", "share of a wave that is left in its mean over a period", (0.1, 1.0), low=-inf)

SMALL_RIPPLE = "ripple of coil current and output voltage small against their means"


@cache
def averaged_coil() -> Derivation:
    """The mean coil current drifts by what the mean voltage across the coil leaves: L dI_L/dt = V_in - D' V_out."""
    return Derivation(
        "averaged_coil", "The coil, averaged over a period",
        (
            Step("Switch closed: without loss the source lies across the coil.", "v_inductor_on = v_in", assumption(NO_LOSS)),
            Step("Switch open: source less output lies across it. The output counts with its mean.", "v_inductor_off = v_in - v_out",
                 assumption(SMALL_RIPPLE)),
            Step("Closed, the current rises along this slope.", "v_inductor_on = inductance*slope_rise",
                 law("inductor law", voltage="v_inductor_on", inductance="inductance", slope="slope_rise")),
            Step("So steep.", "slope_rise = v_inductor_on/inductance", solving("slope_rise")),
            Step("Open, it falls along this one.", "v_inductor_off = inductance*slope_fall",
                 law("inductor law", voltage="v_inductor_off", inductance="inductance", slope="slope_fall")),
            Step("So steep.", "slope_fall = v_inductor_off/inductance", solving("slope_fall")),
            Step("The coil carries current all through the open time: the rectifier conducts as long.", "duty_rectifier = duty_off",
                 assumption(NEVER_DRY)),
            Step("From one period to the next the current changes by rise and fall. Only in steady state do they cancel.",
                 "climb_period = slope_rise*duty*t_sw + slope_fall*duty_rectifier*t_sw", definition()),
            Step("A mean over the last period gains at its new end what it loses at its old: its slope is that change over the period.",
                 "slope_current_mean = climb_period/t_sw", definition()),
            Step("Put all in.", "slope_current_mean = (v_in/inductance*duty*t_sw + (v_in - v_out)/inductance*duty_off*t_sw)/t_sw",
                 substituting(), uses=(9, 8, 4, 6, 1, 2, 7)),
            Step("Closed and open share the period.", "duty_off = 1 - duty", definition()),
            Step("The period drops out.",
                 "slope_current_mean = (v_in*(duty + duty_off) - v_out*duty_off)/inductance", simplifying(), uses=10),
            Step("The source counts all the time.",
                 "slope_current_mean = (v_in - duty_off*v_out)/inductance", substituting(), uses=(12, 11)),
            Step("Bring the inductance over: it is the coil's law again, in means.",
                 "inductance*slope_current_mean = v_in - duty_off*v_out",
                 simplifying()),
        ),
        meaning="mean voltage across the coil, which moves its mean current",
        unit="V",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 7 (from memory)",
        example={"v_in": 6.0, "duty": 0.68, "v_out": 18.0},
    )


@cache
def averaged_capacitor() -> Derivation:
    """The mean output drifts by what the rectifier brings more than the load takes: C dV_out/dt = D' I_L - I_out."""
    return Derivation(
        "averaged_capacitor", "The output capacitor, averaged over a period",
        (
            Step("Switch closed: the capacitor alone feeds the load.", "0 = i_capacitor_on + i_out",
                 law("Kirchhoff current law", enter="0", leave="i_capacitor_on + i_out")),
            Step("It gives what the load takes.", "i_capacitor_on = -i_out", solving("i_capacitor_on")),
            Step("Switch open: the coil current arrives, with its mean.", "i_inductor_mean = i_capacitor_off + i_out",
                 law("Kirchhoff current law", enter="i_inductor_mean", leave="i_capacitor_off + i_out")),
            Step("The capacitor takes what is over.", "i_capacitor_off = i_inductor_mean - i_out", solving("i_capacitor_off")),
            Step("The coil carries current all through the open time: the rectifier conducts as long.", "duty_rectifier = duty_off",
                 assumption(NEVER_DRY)),
            Step("From one period to the next the output changes by the charge of both parts over the capacitance.",
                 "climb_voltage = (i_capacitor_on*duty*t_sw + i_capacitor_off*duty_rectifier*t_sw)/capacitance", assumption(SMALL_RIPPLE)),
            Step("The slope of the mean is that change over the period.", "slope_voltage_mean = climb_voltage/t_sw", definition()),
            Step("Put all in.",
                 "slope_voltage_mean = (-i_out*duty*t_sw + (i_inductor_mean - i_out)*duty_off*t_sw)/capacitance/t_sw",
                 substituting(), uses=(7, 6, 2, 4, 5)),
            Step("Closed and open share the period.", "duty_off = 1 - duty", definition()),
            Step("The period drops out.", "slope_voltage_mean = (duty_off*i_inductor_mean - i_out*(duty + duty_off))/capacitance",
                 simplifying(), uses=8),
            Step("The load counts all the time.", "slope_voltage_mean = (duty_off*i_inductor_mean - i_out)/capacitance",
                 substituting(), uses=(10, 9)),
            Step("Bring the capacitance over: it is the capacitor's law again, in means.",
                 "capacitance*slope_voltage_mean = duty_off*i_inductor_mean - i_out", simplifying()),
        ),
        meaning="mean current into the output capacitor, which moves the mean output voltage",
        unit="A",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 7 (from memory)",
        example={"duty": 0.68, "i_inductor_mean": 1.9, "i_out": 0.6},
    )


@cache
def averaging_factor() -> Derivation:
    """What a mean over one period leaves of a wave: sin(x)/x with x = pi f/f_s, and no delay."""
    wave = "wave_height*cos(omega*(t + t_apart))"
    return Derivation(
        "averaging_factor", "What averaging does to a wave",
        (
            Step("Take the mean of a wave over one period of the clock, half of it before the instant t and half after.",
                 f"wave_mean = mean({wave}, t_apart, -t_sw/2, t_sw/2)", definition()),
            Step("Carry it out. The wave stays where it was, and is lower.",
                 "wave_mean = wave_height*cos(omega*t)*sin(omega*t_sw/2)/(omega*t_sw/2)", averaging()),
            Step("Take the share that is left.", "mean_left = wave_mean/(wave_height*cos(omega*t))", definition()),
            Step("Height and instant drop out.", "mean_left = sin(omega*t_sw/2)/(omega*t_sw/2)", substituting(), uses=(3, 2)),
            Step("A turn is 2π.", "omega = 2*pi*f", definition()),
            Step("The period is one over the frequency of the clock.", "t_sw = 1/f_sw", definition()),
            Step("Put both in. A wave of the clock's own frequency is averaged away.", "mean_left = sin(pi*f/f_sw)/(pi*f/f_sw)",
                 substituting(), uses=(4, 5, 6)),
        ),
        meaning="share of a wave that its mean over a period still shows; a mean over the past period comes half a period late too",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 7.20-7.22 (from memory)",
        example={"f": 50e3, "f_sw": 150e3},
    )
