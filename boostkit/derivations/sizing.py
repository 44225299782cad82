"""Turned round for the designer: the inductance, the capacitance and the load that a demand asks for."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.switching import charge_balance, inductor_ripple

ripple_charge = letter("ripple_charge", r"\Delta v_Q", "V", "part of the output ripple that charge makes", (0.001, 0.5))
ripple_esr = letter("ripple_esr", r"\Delta v_{\mathrm{ESR}}", "V",
                    "part of the output ripple that the capacitor's series resistance makes", (0.001, 0.5))
i_capacitor_jump = letter("i_capacitor_jump", r"\Delta i_C", "A",
                          "jump of the capacitor current where the switch opens", (0.5, 12.0))
i_border = letter("i_border", r"I_{\mathrm{border}}", "A", "load current at which the coil current just touches zero",
                  (0.01, 2.0))


@cache
def inductance_for_ripple() -> Derivation:
    """The inductance that keeps the coil's ripple to a chosen size."""
    return Derivation(
        "inductance_for_ripple", "The inductance for a chosen ripple",
        (
            Step("Take the ripple of the coil current.", "ripple_current = v_in*duty/(inductance*f_sw)",
                 earlier(inductor_ripple())),
            Step("Solve it for the inductance.", "inductance = v_in*duty/(ripple_current*f_sw)", solving("inductance")),
        ),
        meaning="inductance at which the coil current has this ripple, peak to peak",
        unit="H",
        source="derived here; the ripple as in Erickson & Maksimovic, 3rd ed., eq. 2.43 (there as peak, half of this)",
        example={"v_in": 6.0, "duty": 0.68, "ripple_current": 0.55, "f_sw": 150e3},
    )


@cache
def esr_ripple() -> Derivation:
    """The part of the output ripple that the capacitor's series resistance makes."""
    return Derivation(
        "esr_ripple", "The step that a series resistance adds",
        (
            Step("Just before the switch opens, the capacitor alone feeds the load.", "i_capacitor_on = -i_out",
                 assumption("load current constant over a period")),
            Step("Just after, the highest coil current arrives at the output, and the capacitor takes what the load "
                 "leaves.", "i_inductor_max = i_capacitor_off + i_out",
                 law("Kirchhoff current law", enter="i_inductor_max", leave="i_capacitor_off + i_out")),
            Step("Solve for the capacitor current.", "i_capacitor_off = i_inductor_max - i_out",
                 solving("i_capacitor_off")),
            Step("The capacitor current jumps by the difference.",
                 "i_capacitor_jump = i_capacitor_off - i_capacitor_on", definition()),
            Step("Put in both currents.", "i_capacitor_jump = (i_inductor_max - i_out) - (-i_out)", substituting(),
                 uses=(4, 3, 1)),
            Step("The load current drops out: the jump is the highest coil current, whole.",
                 "i_capacitor_jump = i_inductor_max", simplifying()),
            Step("The series resistance turns the jump of current into a jump of voltage.",
                 "ripple_esr = r_capacitor*i_capacitor_jump",
                 law("Ohm's law", voltage="ripple_esr", resistance="r_capacitor", current="i_capacitor_jump")),
            Step("Put in the jump.", "ripple_esr = r_capacitor*i_inductor_max", substituting(), uses=(7, 6)),
        ),
        meaning="step of the output voltage that the capacitor's series resistance makes where the switch opens",
        unit="V",
        source="derived here",
        example={"r_capacitor": 0.01, "i_inductor_max": 2.5},
    )


@cache
def capacitance_for_ripple() -> Derivation:
    """The capacitance that keeps the charge part of the output ripple to what the series resistance leaves of a limit."""
    return Derivation(
        "capacitance_for_ripple", "The capacitance for a ripple limit",
        (
            Step("Take the two parts of the ripple as if their peaks fell together. They do not quite, so this errs on "
                 "the safe side.", "ripple_voltage = ripple_charge + ripple_esr",
                 assumption("charge part and resistance part of the ripple add up")),
            Step("The series resistance takes its part.", "ripple_esr = r_capacitor*i_inductor_max",
                 earlier(esr_ripple())),
            Step("The rest is left for the charge.", "ripple_charge = ripple_voltage - ripple_esr",
                 solving("ripple_charge"), uses=1),
            Step("While the switch is closed the load takes its charge from the capacitor.",
                 "ripple_charge = i_out*duty/(capacitance*f_sw)",
                 assumption("while the switch is closed the charge part of the ripple falls by "
                            "load current × time / capacitance")),
            Step("Solve for the capacitance.", "capacitance = i_out*duty/(ripple_charge*f_sw)", solving("capacitance")),
            Step("Put in what is left.",
                 "capacitance = i_out*duty/((ripple_voltage - r_capacitor*i_inductor_max)*f_sw)", substituting(),
                 uses=(5, 3, 2)),
        ),
        meaning="least output capacitance for a ripple limit, with a given series resistance",
        unit="F",
        bound=Bound("", "errs on the safe side: the two parts of the ripple do not reach their peaks together"),
        source="derived here",
        example={"i_out": 0.6, "duty": 0.68, "ripple_voltage": 0.06, "r_capacitor": 0.01, "i_inductor_max": 2.2,
                 "f_sw": 150e3},
    )


@cache
def border_current() -> Derivation:
    """The load current at which conduction turns discontinuous."""
    return Derivation(
        "border_current", "The load at the border of continuous conduction",
        (
            Step("Take the mean coil current of continuous conduction.", "i_inductor_mean = i_out/duty_off",
                 earlier(charge_balance())),
            Step("Take the ripple of the coil current.", "ripple_current = v_in*duty/(inductance*f_sw)",
                 earlier(inductor_ripple())),
            Step("On the border the mean lies half a ripple above zero.", "i_inductor_mean = ripple_current/2",
                 assumption("the lowest coil current just touches zero")),
            Step("Call the load current there the border current.", "i_border = i_out", definition()),
            Step("Put in mean and ripple.", "i_border/duty_off = v_in*duty/(2*inductance*f_sw)", substituting(),
                 uses=(3, 1, 2, 4)),
            Step("Solve for the border current.", "i_border = v_in*duty*duty_off/(2*inductance*f_sw)",
                 solving("i_border")),
        ),
        meaning="load current below which conduction is discontinuous",
        unit="A",
        source="derived here; equivalent to K_crit = D D'^2, Erickson & Maksimovic, 3rd ed., eq. 5.32",
        example={"v_in": 6.0, "duty": 0.68, "inductance": 47e-6, "f_sw": 150e3},
    )
