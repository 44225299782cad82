"""Turned round for the designer: the inductance, the capacitance and the load that a demand asks for."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    extremum,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.switching import AT_BORDER, STEADY_LOAD, capacitor_sag, charge_balance, conduction_border, inductor_ripple

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
                 assumption(STEADY_LOAD)),
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
            Step("While the switch is open the charge comes back and nothing else happens: the charge part is the sag.",
                 "ripple_charge = sag", assumption("coil current always above the load current while the switch is open")),
            Step("The sag is what the load takes while the switch is closed.", "sag = i_out*duty/(capacitance*f_sw)",
                 earlier(capacitor_sag())),
            Step("Put it in.", "ripple_charge = i_out*duty/(capacitance*f_sw)", substituting(), uses=(4, 5)),
            Step("Solve for the capacitance.", "capacitance = i_out*duty/(ripple_charge*f_sw)", solving("capacitance")),
            Step("Put in what is left.",
                 "capacitance = i_out*duty/((ripple_voltage - r_capacitor*i_inductor_max)*f_sw)", substituting(),
                 uses=(7, 3, 2)),
        ),
        meaning="least output capacitance for a ripple limit, with a given series resistance",
        unit="F",
        valid=(Condition("2*i_out/duty_off - i_inductor_max >= i_out",
                         "the coil current never falls below the load current"),),
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
                 assumption(AT_BORDER)),
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


@cache
def border_inductance() -> Derivation:
    """The inductance at which conduction turns discontinuous."""
    return Derivation(
        "border_inductance", "The inductance at the border of continuous conduction",
        (
            Step("On the border the load number has its critical value.", "k_critical = duty*duty_off**2",
                 earlier(conduction_border())),
            Step("Coil, load and clock make up the load number K.", "k_load = 2*inductance/(r_load*t_sw)", definition()),
            Step("Take a coil that brings it there.", "k_load = k_critical",
                 assumption(AT_BORDER)),
            Step("Put both in.", "2*inductance/(r_load*t_sw) = duty*duty_off**2", substituting(), uses=(3, 2, 1)),
            Step("Solve for the inductance.", "inductance = r_load*t_sw*duty*duty_off**2/2", solving("inductance")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("A lighter load needs more of it.", "inductance = r_load*duty*duty_off**2/(2*f_sw)",
                 substituting(), uses=(5, 6)),
        ),
        meaning="inductance below which conduction is discontinuous",
        unit="H",
        bound=conduction_border().bound,
        source="derived here; equivalent to K_crit = D D'^2, Erickson & Maksimovic, 3rd ed., eq. 5.32",
        example={"r_load": 50.0, "duty": 0.6, "f_sw": 25e3},
    )


@cache
def largest_critical() -> Derivation:
    """The border lies highest at a duty of one third: K_crit = 4/27. Above it no duty makes the current run dry."""
    return Derivation(
        "largest_critical", "The highest point of the border",
        (
            Step("Take the border.", "k_critical = duty*duty_off**2", earlier(conduction_border())),
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Read it in the duty alone.", "k_critical = duty*(1 - duty)**2", substituting(), uses=(1, 2)),
            Step("Little duty makes little ripple, much duty a large mean; in between lies the highest point.",
                 "duty = 1/3", extremum("duty", "maximum")),
            Step("Put it in.", "k_critical = 1/3*(1 - 1/3)**2", substituting(), uses=(3, 4)),
            Step("Work it out.", "k_critical = 4/27", simplifying()),
        ),
        meaning="load number above which conduction is continuous at every duty",
        unit="",
        bound=Bound("", "as good as the border itself; losses raise it"),
        source="derived here; same value in Erickson & Maksimovic, 3rd ed., eq. 5.33",
    )


@cache
def load_for_every_duty() -> Derivation:
    """The load resistance up to which conduction is continuous at every duty: 27 L f_s/2."""
    return Derivation(
        "load_for_every_duty", "The load that keeps conduction continuous at every duty",
        (
            Step("The border lies highest here.", "k_critical = 4/27", earlier(largest_critical())),
            Step("Coil, load and clock make up the load number K.", "k_load = 2*inductance/(r_load*t_sw)", definition()),
            Step("Take a load that brings it there.", "k_load = k_critical",
                 assumption(f"{AT_BORDER}, at a duty of one third")),
            Step("Put both in.", "2*inductance/(r_load*t_sw) = 4/27", substituting(), uses=(3, 2, 1)),
            Step("Solve for the load.", "r_load = 27*inductance/(2*t_sw)", solving("r_load")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Any smaller resistance draws enough.", "r_load = 27*inductance*f_sw/2", substituting(), uses=(5, 6)),
        ),
        meaning="largest load resistance with which conduction is continuous at every duty",
        unit="Ω",
        bound=Bound("", "as good as the border itself; losses lower it"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., table 5.1",
        example={"inductance": 47e-6, "f_sw": 150e3},
    )
