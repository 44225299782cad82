"""Small swings about an operating point in continuous conduction: of duty, source and load, and what current and output make of them.

A swing that goes as e^(st) makes a slope in time into a factor s, and the two laws of the averaged circuit into plain algebra.
A swing of the coil current is slow to build up: that is where all the trouble of this converter comes from.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    letter,
    simplifying,
    small_swings,
    solving,
    substituting,
)
from boostkit.derivations.averaging import averaged_capacitor, averaged_coil
from boostkit.derivations.switching import charge_balance

v_in_swing = letter("v_in_swing", r"\delta V_{\mathrm{in}}", "V", "small swing of the source voltage", (1e-3, 0.3), low=-inf)
i_inductor_swing = letter("i_inductor_swing", r"\delta I_L", "A", "small swing of the mean coil current", (1e-3, 0.3), low=-inf)
i_draw = letter("i_draw", r"I_{\mathrm{draw}}", "A", "current drawn beside the load resistance", (1e-3, 0.3), low=-inf)
i_draw_swing = letter("i_draw_swing", r"\delta I_{\mathrm{draw}}", "A", "small swing of the current drawn beside the load resistance",
                      (1e-3, 0.3), low=-inf)
slope_current_swing = letter("slope_current_swing", r"\mathrm{d}\delta I_L/\mathrm{d}t", "A/s", "slope of the swing of the coil current",
                             (1e2, 1e5), low=-inf)
transfer_control = letter("transfer_control", "G_d", "V", "swing of the output for a swing of the duty", (1.0, 500.0), low=-inf)
transfer_source = letter("transfer_source", r"G_{\mathrm{src}}", "", "swing of the output for a swing of the source", (0.1, 10.0),
                         low=-inf)
transfer_current = letter("transfer_current", "G_i", "A", "swing of the coil current for a swing of the duty", (1.0, 500.0), low=-inf)
z_output = letter("z_output", r"Z_{\mathrm{out}}", "Ω", "fall of the output for a current drawn: impedance of the output", (0.01, 100.0),
                  low=-inf)

SMALL = "swings so small that only the slopes at the operating point count, each going as e^(st)"
SOURCE_STILL, LOAD_STILL, DUTY_STILL = "source voltage constant", "load a constant resistance", "duty constant"
BOOK = "derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 8 (from memory)"
USUAL = {"v_out": 18.0, "duty": 0.68, "inductance": 47e-6, "capacitance": 100e-6, "r_load": 30.0, "s": 1e3}

LINE = "1 + s*inductance/(duty_off**2*r_load) + s**2*inductance*capacitance/duty_off**2"      # what every ratio is divided by


@cache
def linearised_current() -> Derivation:
    """The coil in small swings: L s i = v_in - D' v_out + V_out d."""
    return Derivation(
        "linearised_current", "Small swings of the coil current",
        (
            Step("Take the coil, averaged over a period.", "inductance*slope_current_mean = v_in - duty_off*v_out",
                 earlier(averaged_coil())),
            Step("Let source, output and duty swing a little. A longer closed time makes the open time shorter by as much.",
                 "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
                 small_swings(slope_current_mean="slope_current_swing", v_in="v_in_swing", v_out="v_out_swing",
                              duty_off="-duty_swing")),
            Step("Let all swings go as e^(st): the slope is s times the swing.", "slope_current_swing = s*i_inductor_swing",
                 assumption(SMALL)),
            Step("Put it in.", "inductance*s*i_inductor_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
                 substituting(), uses=(2, 3)),
        ),
        meaning="voltage across the coil, swing of its mean",
        unit="V",
        source=BOOK,
        example={"v_in_swing": 0.0, "duty": 0.68, "v_out_swing": 0.1, "v_out": 18.0, "duty_swing": 0.01},
    )


@cache
def linearised_voltage() -> Derivation:
    """The output capacitor in small swings: C s v = D' i - I_L d - v/R - i_draw."""
    return Derivation(
        "linearised_voltage", "Small swings of the output voltage",
        (
            Step("Take the output capacitor, averaged over a period.", "capacitance*slope_voltage_mean = duty_off*i_inductor_mean - i_out",
                 earlier(averaged_capacitor())),
            Step("Let the load be a resistance, beside which a current may be drawn.", "i_out = v_out/r_load + i_draw",
                 assumption("load a resistance, and a current drawn beside it")),
            Step("Put it in.", "capacitance*slope_voltage_mean = duty_off*i_inductor_mean - v_out/r_load - i_draw",
                 substituting(), uses=(1, 2)),
            Step("Let all swing a little. A longer closed time keeps part of the coil current from the output at once.",
                 "capacitance*slope_voltage_swing = duty_off*i_inductor_swing - i_inductor_mean*duty_swing - v_out_swing/r_load"
                 " - i_draw_swing",
                 small_swings(slope_voltage_mean="slope_voltage_swing", duty_off="-duty_swing", i_inductor_mean="i_inductor_swing",
                              v_out="v_out_swing", i_draw="i_draw_swing")),
            Step("Let all swings go as e^(st): the slope is s times the swing.", "slope_voltage_swing = s*v_out_swing", assumption(SMALL)),
            Step("Put it in.",
                 "capacitance*s*v_out_swing = duty_off*i_inductor_swing - i_inductor_mean*duty_swing - v_out_swing/r_load - i_draw_swing",
                 substituting(), uses=(4, 5)),
        ),
        meaning="current into the output capacitor, swing of its mean",
        unit="A",
        source=BOOK,
        example={"duty": 0.68, "i_inductor_swing": 0.05, "i_inductor_mean": 1.9, "duty_swing": 0.01, "v_out_swing": 0.1, "r_load": 30.0,
                 "i_draw_swing": 0.0},
    )


def _both() -> tuple[Step, ...]:
    """The two laws in small swings: steps 1 and 2 of what follows."""
    return (
        Step("Take the coil in small swings.", "inductance*s*i_inductor_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
             earlier(linearised_current())),
        Step("Take the output capacitor in small swings.",
             "capacitance*s*v_out_swing = duty_off*i_inductor_swing - i_inductor_mean*duty_swing - v_out_swing/r_load - i_draw_swing",
             earlier(linearised_voltage())),
    )


SOURCE_STEP = Step("The source does not move.", "v_in_swing = 0", assumption(SOURCE_STILL))
DRAW_STEP = Step("Nothing more is drawn.", "i_draw_swing = 0", assumption(LOAD_STILL))
DUTY_STEP = Step("The duty does not move.", "duty_swing = 0", assumption(DUTY_STILL))


def operating_current() -> tuple[Step, ...]:
    """The mean coil current at the operating point, from output and load: three steps."""
    return (
        Step("Take the mean coil current of the steady state.", "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
        Step("The load is a resistance.", "v_out = r_load*i_out",
             law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
        Step("It takes this current.", "i_out = v_out/r_load", solving("i_out")),
    )


@cache
def control_transfer() -> Derivation:
    """From duty to output: V_out/D' (1 - s L/(D'^2 R))/(1 + s L/(D'^2 R) + s^2 L C/D'^2)."""
    current = "(v_out*duty_swing - duty_off*v_out_swing)/(inductance*s)"
    return Derivation(
        "control_transfer", "From duty to output",
        (
            *_both(), SOURCE_STEP, DRAW_STEP, *operating_current(),
            Step("Only the duty moves the coil current, and the output that answers.",
                 "inductance*s*i_inductor_swing = v_out*duty_swing - duty_off*v_out_swing", substituting(), uses=(1, 3)),
            Step("Solve for the coil current.", f"i_inductor_swing = {current}", solving("i_inductor_swing")),
            Step("Put it in, with the current of the operating point.",
                 f"capacitance*s*v_out_swing = duty_off*({current}) - v_out/(duty_off*r_load)*duty_swing - v_out_swing/r_load",
                 substituting(), uses=(2, 9, 4, 5, 7)),
            Step("Solve for the output.",
                 "v_out_swing = duty_swing*(duty_off*v_out - s*inductance*v_out/(duty_off*r_load))"
                 "/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)", solving("v_out_swing")),
            Step("Ask for its ratio to the swing of the duty.", "transfer_control = v_out_swing/duty_swing", definition()),
            Step("Put it in.",
                 "transfer_control = (duty_off*v_out - s*inductance*v_out/(duty_off*r_load))"
                 "/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)", substituting(), uses=(12, 11)),
            Step("Take out what stands for a slow swing. The minus sign above the line is the whole difficulty.",
                 f"transfer_control = v_out/duty_off*(1 - s*inductance/(duty_off**2*r_load))/({LINE})", simplifying()),
        ),
        meaning="swing of the output voltage over the swing of the duty that causes it, both going as e^(st)",
        unit="V",
        source=BOOK,
        example=USUAL,
    )


@cache
def source_transfer() -> Derivation:
    """From source to output: 1/D' over the same quadratic."""
    current = "(v_in_swing - duty_off*v_out_swing)/(inductance*s)"
    return Derivation(
        "source_transfer", "From source to output",
        (
            *_both(), DUTY_STEP, DRAW_STEP,
            Step("Only the source moves the coil current, and the output that answers.",
                 "inductance*s*i_inductor_swing = v_in_swing - duty_off*v_out_swing", substituting(), uses=(1, 3)),
            Step("Solve for the coil current.", f"i_inductor_swing = {current}", solving("i_inductor_swing")),
            Step("Put it in.", f"capacitance*s*v_out_swing = duty_off*({current}) - v_out_swing/r_load", substituting(), uses=(2, 6, 3, 4)),
            Step("Solve for the output.",
                 "v_out_swing = v_in_swing*duty_off/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)",
                 solving("v_out_swing")),
            Step("Ask for its ratio to the swing of the source.", "transfer_source = v_out_swing/v_in_swing", definition()),
            Step("Put it in.", "transfer_source = duty_off/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)",
                 substituting(), uses=(9, 8)),
            Step("Take out what stands for a slow swing.", f"transfer_source = 1/duty_off/({LINE})", simplifying()),
        ),
        meaning="swing of the output voltage over the swing of the source voltage that causes it, both going as e^(st)",
        unit="",
        source=BOOK,
        example={name: value for name, value in USUAL.items() if name != "v_out"},
    )


@cache
def impedance_transfer() -> Derivation:
    """From a current drawn to the fall of the output: s L/D'^2 over the same quadratic."""
    return Derivation(
        "impedance_transfer", "From a current drawn to the fall of the output",
        (
            *_both(), DUTY_STEP, SOURCE_STEP,
            Step("Only the output that falls moves the coil current.", "inductance*s*i_inductor_swing = -duty_off*v_out_swing",
                 substituting(), uses=(1, 3, 4)),
            Step("Solve for the coil current.", "i_inductor_swing = -duty_off*v_out_swing/(inductance*s)", solving("i_inductor_swing")),
            Step("Put it in.",
                 "capacitance*s*v_out_swing = -duty_off**2*v_out_swing/(inductance*s) - v_out_swing/r_load - i_draw_swing",
                 substituting(), uses=(2, 6, 3)),
            Step("Solve for the output.",
                 "v_out_swing = -i_draw_swing*s*inductance/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)",
                 solving("v_out_swing")),
            Step("Ask for the fall for each ampere drawn.", "z_output = -v_out_swing/i_draw_swing", definition()),
            Step("Put it in.", "z_output = s*inductance/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)",
                 substituting(), uses=(9, 8)),
            Step("Divide by D' squared.", f"z_output = s*inductance/duty_off**2/({LINE})", simplifying()),
        ),
        meaning="fall of the output voltage over the current drawn that causes it, both going as e^(st), no regulator",
        unit="Ω",
        source=BOOK,
        example={name: value for name, value in USUAL.items() if name != "v_out"},
    )


@cache
def current_transfer() -> Derivation:
    """From duty to coil current: 2 V_out/(D'^2 R) (1 + s R C/2) over the same quadratic. No zero on the right here."""
    voltage = "(duty_off*i_inductor_swing - v_out/(duty_off*r_load)*duty_swing)/(capacitance*s + 1/r_load)"
    return Derivation(
        "current_transfer", "From duty to coil current",
        (
            *_both(), SOURCE_STEP, DRAW_STEP, *operating_current(),
            Step("The output moves with what reaches it.",
                 "capacitance*s*v_out_swing = duty_off*i_inductor_swing - v_out/(duty_off*r_load)*duty_swing - v_out_swing/r_load",
                 substituting(), uses=(2, 4, 5, 7)),
            Step("Solve for the output.", f"v_out_swing = {voltage}", solving("v_out_swing")),
            Step("Put it in.", f"inductance*s*i_inductor_swing = v_out*duty_swing - duty_off*({voltage})",
                 substituting(), uses=(1, 9, 3)),
            Step("Solve for the coil current.",
                 "i_inductor_swing = duty_swing*v_out*(2/r_load + s*capacitance)"
                 "/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)", solving("i_inductor_swing")),
            Step("Ask for its ratio to the swing of the duty.", "transfer_current = i_inductor_swing/duty_swing", definition()),
            Step("Put it in.", "transfer_current = v_out*(2/r_load + s*capacitance)"
                 "/(duty_off**2 + s*inductance/r_load + s**2*inductance*capacitance)", substituting(), uses=(12, 11)),
            Step("Take out what stands for a slow swing. Only plus signs: the coil current follows the duty without detour.",
                 f"transfer_current = 2*v_out/(duty_off**2*r_load)*(1 + s*r_load*capacitance/2)/({LINE})", simplifying()),
        ),
        meaning="swing of the coil current over the swing of the duty that causes it, both going as e^(st)",
        unit="A",
        source=BOOK,
        example=USUAL,
    )
