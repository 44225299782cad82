"""Output ripple with a series resistance in the capacitor, exact for straight slopes: three cases, and the corner between them."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    extremum,
    integrating,
    law,
    letter,
    limit,
    solving,
    substituting,
)
from boostkit.derivations.bounds import ABOVE_SOURCE, CONTINUOUS, SAG, STRAIGHT_SLOPES
from boostkit.derivations.ripple import ROUNDED
from boostkit.derivations.sizing import esr_ripple
from boostkit.derivations.stress import STRAIGHT
from boostkit.derivations.switching import capacitor_sag

lift = letter("lift", r"\Delta v", "V", "output voltage above its lowest", (0.001, 1.0), low=-float("inf"))
lift_esr = letter("lift_esr", r"\Delta v_{\mathrm{ESR}}^+", "V", "part of that which the series resistance makes", (0.001, 1.0))
f_corner = letter("f_corner", r"f_{\mathrm{ESR}}", "Hz", "frequency above which a capacitor is a resistance", (1e3, 1e6))
v_wave = letter("v_wave", r"\hat v", "V", "height of a sine voltage", (0.01, 1.0))
i_wave = letter("i_wave", r"\hat{\imath}", "A", "height of a sine current", (0.01, 1.0))
slope_wave = letter("slope_wave", r"\mathrm{d}v/\mathrm{d}t", "V/s", "slope of a sine voltage", (1e2, 1e5), low=-float("inf"))

TIME_SHARE = "r_capacitor*capacitance*ripple_current*f_sw/duty_rectifier"        # current that falls in a time R_C C


@cache
def rising_ripple() -> Derivation:
    """Little series resistance: the output rises until the switch closes. The sag, and the step of the lowest current."""
    return Derivation(
        "rising_ripple", "Ripple with little series resistance",
        (
            Step("In steady state the capacitance gains while the switch is open what it lost while it was closed.",
                 "-capacitance*sag/(duty*t_sw)*(duty*t_sw) + capacitance*lift_charge/(duty_off*t_sw)*(duty_off*t_sw) = 0",
                 law("steady state, charge returns", first="-capacitance*sag/(duty*t_sw)", first_time="duty*t_sw",
                     second="capacitance*lift_charge/(duty_off*t_sw)", second_time="duty_off*t_sw")),
            Step("So it rises as far as it sagged.", "lift_charge = sag", solving("lift_charge")),
            Step("By how far is known.", "sag = i_out*duty/(capacitance*f_sw)", earlier(capacitor_sag())),
            Step("Before the switch opens the capacitor gives the load current; at the end it takes the lowest coil current "
                 "less the load current. Between the two lies the lowest coil current, whole.",
                 "lift_esr = r_capacitor*i_inductor_min",
                 law("Ohm's law", voltage="lift_esr", resistance="r_capacitor", current="i_inductor_min")),
            Step("Let the output rise all through the open time: its highest point comes at the end.",
                 "ripple_voltage = lift_charge + lift_esr",
                 assumption("series resistance so small that the output rises until the switch closes")),
            Step("Put both in.", "ripple_voltage = i_out*duty/(capacitance*f_sw) + r_capacitor*i_inductor_min",
                 substituting(), uses=(5, 2, 3, 4)),
        ),
        meaning="output voltage, peak to peak, in continuous conduction with little series resistance",
        unit="V",
        valid=(CONTINUOUS, ABOVE_SOURCE, STRAIGHT_SLOPES,
               Condition(f"i_inductor_min - i_out >= {TIME_SHARE}",
                         "charge outweighs the series resistance up to the closing of the switch")),
        bound=Bound(ROUNDED, "off on either side where slopes are bent and the load follows the ripple"),
        source="derived here",
        example={"i_out": 0.5, "duty": 2 / 3, "capacitance": 220e-6, "f_sw": 25e3, "r_capacitor": 0.005,
                 "i_inductor_min": 1.06},
    )


@cache
def turning_ripple() -> Derivation:
    """Some series resistance, or a large coil ripple: the output turns while the switch is open. Both modes."""
    course = "i_inductor_max + slope_fall*t"
    return Derivation(
        "turning_ripple", "Ripple where the output turns while the switch is open",
        (
            Step("While the rectifier conducts the coil current falls by its ripple.",
                 "slope_fall = -ripple_current/(duty_rectifier*t_sw)", definition()),
            Step("It falls along a straight line.", f"i_inductor = {course}", assumption(STRAIGHT)),
            Step("The capacitor gains what the load leaves.", f"charge_turn = integral({course} - i_out, t, 0, t_turn)",
                 definition()),
            Step("Carry it out.", "charge_turn = (i_inductor_max - i_out)*t_turn + slope_fall*t_turn**2/2", integrating()),
            Step("The charge raises the capacitance's own voltage along a mean slope.",
                 "charge_turn/t_turn = capacitance*(lift_charge/t_turn)",
                 law("capacitor law", current="charge_turn/t_turn", capacitance="capacitance", slope="lift_charge/t_turn")),
            Step("By so much.", "lift_charge = charge_turn/capacitance", solving("lift_charge")),
            Step("Before the switch opened the capacitor gave the load current. Now it takes the coil current less the load "
                 "current; between the two lies the coil current, whole.",
                 "lift_esr = r_capacitor*(i_inductor_max + slope_fall*t_turn)",
                 law("Ohm's law", voltage="lift_esr", resistance="r_capacitor", current="i_inductor_max + slope_fall*t_turn")),
            Step("The output stands above its lowest by both.", "lift = lift_charge + lift_esr", definition()),
            Step("Put both in.",
                 "lift = ((i_inductor_max - i_out)*t_turn + slope_fall*t_turn**2/2)/capacitance"
                 " + r_capacitor*(i_inductor_max + slope_fall*t_turn)", substituting(), uses=(8, 6, 4, 7)),
            Step("It is highest where what charge still adds and what the resistance takes back are equal.",
                 "t_turn = (i_inductor_max - i_out + r_capacitor*capacitance*slope_fall)/(-slope_fall)",
                 extremum("t_turn", "maximum")),
            Step("Let this lie between the opening of the switch and the end of conduction: the ripple is the lift there.",
                 "ripple_voltage = lift", assumption("output turns while the rectifier conducts")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put all in.",
                 "ripple_voltage = r_capacitor*i_inductor_max + "
                 "(i_inductor_max - i_out - r_capacitor*capacitance*ripple_current*f_sw/duty_rectifier)**2"
                 "*duty_rectifier/(2*ripple_current*capacitance*f_sw)",
                 substituting(), uses=(11, 9, 10, 1, 12)),
        ),
        meaning="output voltage, peak to peak, where the output turns while the rectifier conducts, in both modes of conduction",
        unit="V",
        valid=(ABOVE_SOURCE, STRAIGHT_SLOPES,
               Condition(f"i_inductor_max - i_out >= {TIME_SHARE}", "the output still rises where the switch has opened"),
               Condition(f"i_inductor_min - i_out <= {TIME_SHARE}", "the output falls already where conduction ends")),
        bound=Bound(f"{ROUNDED} + v_out*{SAG}/(v_out - v_in)/6",
                    "off on either side where slopes are bent and the load follows the ripple"),
        source="derived here",
        example={"r_capacitor": 0.02, "i_inductor_max": 1.94, "i_out": 0.5, "capacitance": 220e-6, "ripple_current": 0.89,
                 "f_sw": 25e3, "duty_rectifier": 1 / 3},
    )


@cache
def falling_ripple() -> Derivation:
    """Much series resistance: the output falls from the opening of the switch on. The step alone."""
    return Derivation(
        "falling_ripple", "Ripple with much series resistance",
        (
            Step("Where the switch opens the output jumps by the step of the series resistance.",
                 "ripple_esr = r_capacitor*i_inductor_max", earlier(esr_ripple())),
            Step("Let it fall from there on, all the way to the next step: the step is the whole ripple.",
                 "ripple_voltage = ripple_esr",
                 assumption("series resistance so large that the output falls from the opening of the switch on")),
            Step("Put in the step. More capacitance no longer helps.", "ripple_voltage = r_capacitor*i_inductor_max",
                 substituting(), uses=(2, 1)),
        ),
        meaning="output voltage, peak to peak, with much series resistance, in both modes of conduction",
        unit="V",
        valid=(ABOVE_SOURCE, STRAIGHT_SLOPES,
               Condition(f"i_inductor_max - i_out <= {TIME_SHARE}", "the series resistance outweighs the charge from the start")),
        bound=Bound(ROUNDED, "off on either side where slopes are bent and the load follows the ripple"),
        source="derived here",
        example={"r_capacitor": 0.2, "i_inductor_max": 1.94},
    )


@cache
def esr_corner() -> Derivation:
    """The frequency above which a capacitor with series resistance is a resistance: 1/(2 pi R_C C)."""
    return Derivation(
        "esr_corner", "Where a capacitor turns into a resistance",
        (
            Step("Put a sine voltage on the capacitance. It moves at this rate.",
                 "slope_wave = derivative(v_wave*sin(2*pi*f_corner*t), t)", definition()),
            Step("Carry it out.", "slope_wave = v_wave*2*pi*f_corner*cos(2*pi*f_corner*t)", differentiating()),
            Step("It moves fastest where it passes through zero.", "slope_wave = v_wave*2*pi*f_corner", limit("t", "0")),
            Step("There the current is largest.", "i_wave = capacitance*slope_wave",
                 law("capacitor law", current="i_wave", capacitance="capacitance", slope="slope_wave")),
            Step("Take the frequency at which this current makes as large a voltage on the series resistance.",
                 "v_wave = r_capacitor*i_wave",
                 law("Ohm's law", voltage="v_wave", resistance="r_capacitor", current="i_wave")),
            Step("Put both in.", "v_wave = r_capacitor*capacitance*v_wave*2*pi*f_corner", substituting(), uses=(5, 4, 3)),
            Step("The height drops out. Above this frequency more capacitance changes little.",
                 "f_corner = 1/(2*pi*r_capacitor*capacitance)", solving("f_corner")),
        ),
        meaning="frequency above which the series resistance of a capacitor counts for more than its capacitance",
        unit="Hz",
        bound=Bound("", "exact for a capacitance and a resistance in series; it belongs to no one switching waveform"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., problem 8.22",
        example={"r_capacitor": 0.05, "capacitance": 220e-6},
    )
