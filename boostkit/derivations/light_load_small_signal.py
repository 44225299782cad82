"""Small changes about a discontinuous operating point: what a little more duty does, at once, soon, and in the end.

With little load each period starts at zero current and remembers nothing of the one before. The output capacitor alone then
sets the pace: one pole, at a low frequency. What is left of the coil is in `light_load_fast`.
"""

from functools import cache

from boostkit.algebra import (
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    integrating,
    law,
    letter,
    simplifying,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations.light_load import DRY
from boostkit.derivations.stress import STRAIGHT, dry_peak

push_of_duty = letter("push_of_duty", "j_D", "A", "rise of the mean rectifier current for a rise of the duty, output held", (0.1, 30.0))
hold_of_output = letter("hold_of_output", "g_D", "A/V", "fall of the mean rectifier current for a rise of the output, duty held",
                        (1e-3, 0.3))
control_gain_dry = letter("control_gain_dry", r"G_{d0}", "V", "change of the output for a lasting change of the duty, "
                          "discontinuous conduction", (5.0, 200.0))
f_load_pole = letter("f_load_pole", r"f_{p1}", "Hz", "corner frequency of load and capacitor, discontinuous conduction", (1.0, 1e3))
rate_load = letter("rate_load", r"\omega_{p1}", "1/s", "rate at which a change of the output dies out, discontinuous conduction",
                   (5.0, 5e3))

SMALL = "source voltage and load resistance stay, and changes are so small that the slopes at the operating point will do"
SETTLED = "the change has lasted until nothing moves any more"
BOOK = "Erickson & Maksimovic, 3rd ed."

_BRINGS = "v_in**2*duty**2/(2*inductance*f_sw*(v_out - v_in))"
_EXAMPLE = {"v_out": 36.0, "r_load": 12.0}


@cache
def charge_of_period() -> Derivation:
    """The mean current that the rectifier brings, also while the output moves: V_in^2 D^2/(2 L f_s (V_out - V_in))."""
    fall = "i_inductor_max - i_inductor_max*t/(duty_rectifier*t_sw)"
    return Derivation(
        "charge_of_period", "What the rectifier brings in each period of its own",
        (
            Step("Each period starts at zero, so its peak does not depend on the periods before.",
                 "i_inductor_max = v_in*duty/(inductance*f_sw)", earlier(dry_peak())),
            Step("From there the coil current falls to zero, driven by output less source.",
                 "v_out - v_in = inductance*(i_inductor_max/(duty_rectifier*t_sw))",
                 law("inductor law", voltage="v_out - v_in", inductance="inductance", slope="i_inductor_max/(duty_rectifier*t_sw)")),
            Step("So long does the rectifier conduct.", "duty_rectifier = inductance*i_inductor_max/((v_out - v_in)*t_sw)",
                 solving("duty_rectifier")),
            Step("Meanwhile the rectifier carries the coil current, along a straight line.", f"i_inductor = {fall}", assumption(STRAIGHT)),
            Step("Its mean over the period is the charge of that triangle over the period.",
                 f"i_rectifier_mean = integral({fall}, t, 0, duty_rectifier*t_sw)/t_sw", definition()),
            Step("Half of height times length.", "i_rectifier_mean = i_inductor_max*duty_rectifier/2", integrating()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put peak and time in.", "i_rectifier_mean = v_in*duty/(inductance*f_sw)*(inductance*(v_in*duty/(inductance*f_sw))"
                 "/((v_out - v_in)/f_sw))/2", substituting(), uses=(6, 3, 1, 7)),
            Step("Gather. Only the duty and the output of this very period enter.",
                 f"i_rectifier_mean = {_BRINGS}", simplifying()),
        ),
        meaning="mean current of the rectifier in discontinuous conduction, all parts without loss, also while the output moves slowly",
        unit="A",
        valid=DRY,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 15.1 (from memory)",
        example={"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3, "v_out": 36.0},
    )


def _steady_current(first: int) -> tuple[Step, ...]:
    """At the operating point the rectifier brings what the load takes; three steps, the first with this number."""
    return (
        Step("At the operating point the capacitor ends each period with the charge it began with.",
             "i_rectifier_mean*t_sw + (-i_out)*t_sw = 0",
             law("steady state, charge returns", first="i_rectifier_mean", first_time="t_sw", second="-i_out", second_time="t_sw")),
        Step("So the rectifier brings the load current.", "i_rectifier_mean = i_out", solving("i_rectifier_mean")),
        Step("Resistance of the load.", "v_out = r_load*i_out", law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
        Step("It sets the load current.", "i_out = v_out/r_load", solving("i_out"), uses=first + 2),
    )


@cache
def duty_pushes() -> Derivation:
    """What a little more duty brings through the rectifier, the output held: 2 V_out/(D R) for each unit of duty."""
    return Derivation(
        "duty_pushes", "What more duty brings in discontinuous conduction",
        (
            Step("Each period brings this.", f"i_rectifier_mean = {_BRINGS}", earlier(charge_of_period())),
            Step("Change the duty alone.", f"push_of_duty = derivative({_BRINGS}, duty)", definition()),
            Step("The square of the duty gives twice the share.", "push_of_duty = v_in**2*duty/(inductance*f_sw*(v_out - v_in))",
                 differentiating()),
            Step("Read it by the current itself.", "push_of_duty = 2*i_rectifier_mean/duty", substituting(), uses=(3, 1)),
            *_steady_current(5),
            Step("Put the load in.", "push_of_duty = 2*v_out/(duty*r_load)", substituting(), uses=(4, 6, 8)),
        ),
        meaning="rise of the mean rectifier current for a small rise of the duty, output held, discontinuous conduction, no loss",
        unit="A",
        valid=DRY,
        source=f"derived here; same form in {BOOK}, sec. 15.2 (from memory)",
        example={**_EXAMPLE, "duty": 0.25},
    )


@cache
def output_holds() -> Derivation:
    """What a higher output takes off the rectifier current, the duty held: V_out/(R (V_out - V_in)) for each volt."""
    return Derivation(
        "output_holds", "What a higher output takes off in discontinuous conduction",
        (
            Step("Each period brings this.", f"i_rectifier_mean = {_BRINGS}", earlier(charge_of_period())),
            Step("Change the output alone; a higher one shortens the fall of the coil current.",
                 f"hold_of_output = -derivative({_BRINGS}, v_out)", definition()),
            Step("Carry it out.", "hold_of_output = v_in**2*duty**2/(2*inductance*f_sw*(v_out - v_in)**2)", differentiating()),
            Step("Read it by the current itself.", "hold_of_output = i_rectifier_mean/(v_out - v_in)", substituting(), uses=(3, 1)),
            *_steady_current(5),
            Step("Put the load in. It is more than the load's own 1/R: the output is held from both sides.",
                 "hold_of_output = v_out/(r_load*(v_out - v_in))", substituting(), uses=(4, 6, 8)),
        ),
        meaning="fall of the mean rectifier current for a small rise of the output, duty held, discontinuous conduction, no loss",
        unit="A/V",
        valid=DRY,
        source=f"derived here; same form in {BOOK}, sec. 15.2 (from memory)",
        example={**_EXAMPLE, "v_in": 24.0},
    )


@cache
def dry_output_moves() -> Derivation:
    """How fast the output moves after a small change of duty: one capacitor, one equation of first order."""
    current = "push_of_duty*duty_swing - hold_of_output*v_out_swing - v_out_swing/r_load"
    return Derivation(
        "dry_output_moves", "The output in discontinuous conduction is of first order",
        (
            Step("Of small changes each counts by its own slope: what the duty pushes, less what the higher output holds back and "
                 "what the load takes, is left for the capacitor.", f"i_capacitor_swing = {current}", assumption(SMALL)),
            Step("It moves the voltage of the capacitor.", "i_capacitor_swing = capacitance*slope_voltage_swing",
                 law("capacitor law", current="i_capacitor_swing", capacitance="capacitance", slope="slope_voltage_swing")),
            Step("Solve for the slope.", "slope_voltage_swing = i_capacitor_swing/capacitance", solving("slope_voltage_swing")),
            Step("Put the current in. The coil does not occur: it forgets within a period.",
                 f"slope_voltage_swing = ({current})/capacitance", substituting(), uses=(3, 1)),
        ),
        meaning="slope of a small change of the output, discontinuous conduction, slow against the switching",
        unit="V/s",
        valid=DRY,
        source=f"derived here; same form in {BOOK}, sec. 15.2 (from memory)",
        example={"push_of_duty": 24.0, "duty_swing": 0.01, "hold_of_output": 0.25, "v_out_swing": 0.0, "r_load": 12.0,
                 "capacitance": 470e-6},
    )


def by_gain(first: int) -> tuple[Step, ...]:
    """The source voltage read as output over gain; two steps."""
    return (
        Step("The gain is output over source.", "gain = v_out/v_in", definition()),
        Step("Read the source by it.", "v_in = v_out/gain", solving("v_in"), uses=first),
    )


@cache
def dry_control_gain() -> Derivation:
    """Output per duty for slow changes: (2 V_out/D)(M - 1)/(2 M - 1)."""
    return Derivation(
        "dry_control_gain", "What the duty does to the output in the end, discontinuous conduction",
        (
            Step("The slope of the output.", "slope_voltage_swing = (push_of_duty*duty_swing - hold_of_output*v_out_swing"
                 " - v_out_swing/r_load)/capacitance", earlier(dry_output_moves())),
            Step("Wait.", "slope_voltage_swing = 0", assumption(SETTLED)),
            Step("Put it in.", "0 = (push_of_duty*duty_swing - hold_of_output*v_out_swing - v_out_swing/r_load)/capacitance",
                 substituting(), uses=(1, 2)),
            Step("Solve for the output.", "v_out_swing = push_of_duty*duty_swing/(hold_of_output + 1/r_load)", solving("v_out_swing")),
            Step("Count it for each unit of duty.", "control_gain_dry = v_out_swing/duty_swing", definition()),
            Step("The duty pushes.", "push_of_duty = 2*v_out/(duty*r_load)", earlier(duty_pushes())),
            Step("The output holds.", "hold_of_output = v_out/(r_load*(v_out - v_in))", earlier(output_holds())),
            *by_gain(8),
            Step("Put all in.", "control_gain_dry = 2*v_out/(duty*r_load)/(v_out/(r_load*(v_out - v_out/gain)) + 1/r_load)",
                 substituting(), uses=(5, 4, 6, 7, 9)),
            Step("The load cancels.", "control_gain_dry = 2*v_out/duty*(gain - 1)/(2*gain - 1)", simplifying()),
        ),
        meaning="change of the output for a small lasting change of the duty, per unit of duty, discontinuous conduction, no loss",
        unit="V",
        valid=DRY,
        source=f"derived here; same form in {BOOK}, eq. 15.65",
        example={"v_out": 36.0, "duty": 0.25, "gain": 1.5},
    )


@cache
def load_pole() -> Derivation:
    """The one slow pole of discontinuous conduction: (2 M - 1)/(2 pi (M - 1) R C)."""
    course = "push_of_duty*duty_swing/(hold_of_output + 1/r_load)*(1 - exp(-rate_load*t))"
    return Derivation(
        "load_pole", "The slow pole of discontinuous conduction",
        (
            Step("The slope of the output.", "slope_voltage_swing = (push_of_duty*duty_swing - hold_of_output*v_out_swing"
                 " - v_out_swing/r_load)/capacitance", earlier(dry_output_moves())),
            Step("Call this rate omega.", "rate_load = (hold_of_output + 1/r_load)/capacitance", definition()),
            Step("After a step of duty the output goes to its new value along an exponential of that rate.",
                 f"v_out_swing = {course}", solving_in_time(v_out_swing=("slope_voltage_swing", "0")), uses=(1, 2)),
            Step("As a corner frequency.", "f_load_pole = rate_load/(2*pi)", definition()),
            Step("The output holds.", "hold_of_output = v_out/(r_load*(v_out - v_in))", earlier(output_holds())),
            *by_gain(6),
            Step("Put all in.", "f_load_pole = (v_out/(r_load*(v_out - v_out/gain)) + 1/r_load)/capacitance/(2*pi)",
                 substituting(), uses=(4, 2, 5, 7)),
            Step("Gather: always more than twice 1/(2π R C), which it nears at high gain.",
                 "f_load_pole = (2*gain - 1)/(2*pi*(gain - 1)*r_load*capacitance)", simplifying()),
        ),
        meaning="corner frequency of load and output capacitor in discontinuous conduction, no loss",
        unit="Hz",
        valid=DRY,
        source=f"derived here; same form in {BOOK}, eq. 15.65",
        example={"gain": 1.5, "r_load": 12.0, "capacitance": 470e-6},
    )
