"""A flat output: where the textbook ripple fails, ripple in discontinuous conduction, and what heats the capacitor."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    integrating,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import (
    ABOVE_SOURCE,
    BEND,
    BENT_BY_CAPACITOR,
    BENT_BY_LOAD,
    BENT_BY_RESISTANCE,
    CLIMB,
    CONTINUOUS,
    DISCONTINUOUS,
    DROP,
    LOSS,
    SAG,
    STRAIGHT_SLOPES,
)
from boostkit.derivations.light_load import dry_load_current
from boostkit.derivations.stress import STRAIGHT, capacitor_rms
from boostkit.derivations.switching import STEADY_LOAD, capacitor_sag, charge_balance, ideal_gain, inductor_ripple

t_turn = letter("t_turn", r"t_{\mathrm{turn}}", "s", "time from the opening of the switch to the highest output", (1e-7, 1e-5))
t_short = letter("t_short", r"t_{\mathrm{short}}", "s", "time for which the coil brings less than the load draws", (1e-7, 1e-5))
charge_turn = letter("charge_turn", r"Q_{\mathrm{turn}}", "C", "charge that the output capacitor has gained by then", (1e-7, 1e-5))
charge_short = letter("charge_short", r"Q_{\mathrm{short}}", "C", "charge that the coil owes the load meanwhile", (1e-8, 1e-5))
lift_charge = letter("lift_charge", r"\Delta v_Q^+", "V", "part of that which charge makes", (0.001, 1.0))
sag_more = letter("sag_more", r"\Delta v_{\mathrm{short}}", "V", "further fall while the coil brings less than the load draws",
                  (0.001, 0.5))
k_sag = letter("k_sag", r"K_{\mathrm{sag}}", "", "load number at which the coil current just falls to the load current", (0.02, 0.8))

PURE = "output capacitor without series resistance"
# What the load current's part in the ripple and bent slopes change.
ROUNDED = f"r_capacitor/r_load + {SAG}/2 + {BENT_BY_RESISTANCE}/6 + {BENT_BY_CAPACITOR}"
_OVER_SAG = "r_capacitor*i_inductor_max*capacitance*f_sw/(i_out*duty)"


@cache
def sag_border() -> Derivation:
    """The load number at which the coil current falls just to the load current: K = D'^2. Below it the sag is too small."""
    return Derivation(
        "sag_border", "Where the textbook ripple ends",
        (
            Step("The sag is the whole ripple only while the coil brings more than the load draws. On the border its "
                 "lowest current is the load current.", "i_inductor_min = i_out",
                 assumption("the lowest coil current is the load current")),
            Step("On straight slopes the lowest current lies half a ripple below the mean.",
                 "i_inductor_min = i_inductor_mean - ripple_current/2", assumption(STRAIGHT)),
            Step("The mean follows from the load.", "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("The ripple follows from source, duty and coil.", "ripple_current = v_in*duty/(inductance*f_sw)",
                 earlier(inductor_ripple())),
            Step("Put both in.", "i_out = i_out/duty_off - v_in*duty/(2*inductance*f_sw)", substituting(), uses=(2, 1, 3, 4)),
            Step("Take the ideal gain.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("Solve it for the source voltage.", "v_in = v_out*duty_off", solving("v_in")),
            Step("Resistance of the load.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Solve for the duty.", "duty = 1 - duty_off", solving("duty")),
            Step("Put all in.",
                 "i_out = i_out/duty_off - r_load*i_out*duty_off*(1 - duty_off)/(2*inductance*f_sw)",
                 substituting(), uses=(5, 7, 8, 10)),
            Step("The load current drops out, and so does a factor 1 - D'.", "2*inductance*f_sw/r_load = duty_off**2",
                 simplifying()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Coil, load and clock make up the load number K.", "k_load = 2*inductance/(r_load*t_sw)", definition()),
            Step("Call its value here K_sag.", "k_sag = k_load", definition()),
            Step("It lies above the border of continuous conduction, D D'², by a factor 1/D.", "k_sag = duty_off**2",
                 substituting(), uses=(15, 14, 13, 12)),
        ),
        meaning="load number K below which the coil current falls below the load current before the switch closes",
        unit="",
        bound=Bound(f"({LOSS} + {DROP})/(1 + {LOSS}) + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BENT_BY_RESISTANCE}/4",
                    "off on either side, as the border of continuous conduction is"),
        source="derived here",
        example={"duty": 2 / 3},
    )


@cache
def large_ripple() -> Derivation:
    """Ripple of a pure capacitor where the coil current falls below the load current: the sag, and what comes on top."""
    rest = "i_inductor_min + ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "large_ripple", "Ripple of the output where the coil ripple is large",
        (
            Step("Count time back from the closing of the switch: there the coil current rises from its lowest value.",
                 f"i_inductor = {rest}", assumption(STRAIGHT)),
            Step("For a time it is less than what the load draws.", "i_out = i_inductor_min + ripple_current*t_short/(duty_off*t_sw)",
                 assumption(STEADY_LOAD)),
            Step("So long.", "t_short = (i_out - i_inductor_min)*duty_off*t_sw/ripple_current", solving("t_short")),
            Step("Meanwhile the coil owes the load this charge.", f"charge_short = integral(i_out - ({rest}), t, 0, t_short)",
                 definition()),
            Step("A triangle.", "charge_short = (i_out - i_inductor_min)*t_short - ripple_current*t_short**2/(2*duty_off*t_sw)",
                 integrating()),
            Step("Put in the time.", "charge_short = (i_out - i_inductor_min)**2*duty_off*t_sw/(2*ripple_current)",
                 substituting(), uses=(5, 3)),
            Step("The capacitor pays it, and falls on a mean slope.", "charge_short/t_short = capacitance*(sag_more/t_short)",
                 law("capacitor law", current="charge_short/t_short", capacitance="capacitance", slope="sag_more/t_short")),
            Step("By so much the voltage falls while the switch is still open.", "sag_more = charge_short/capacitance",
                 solving("sag_more")),
            Step("Then the switch closes and it sags further.", "sag = i_out*duty/(capacitance*f_sw)", earlier(capacitor_sag())),
            Step("Without series resistance the ripple is the two together.", "ripple_voltage = sag + sag_more",
                 assumption(PURE)),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put both in. The first term alone is the textbook's.",
                 "ripple_voltage = i_out*duty/(capacitance*f_sw)"
                 " + (i_out - i_inductor_min)**2*duty_off/(2*ripple_current*capacitance*f_sw)",
                 substituting(), uses=(10, 9, 8, 6, 11)),
        ),
        meaning="output voltage, peak to peak, in continuous conduction where the coil current falls below the load current; "
                "capacitor without series resistance",
        unit="V",
        valid=(CONTINUOUS, ABOVE_SOURCE, STRAIGHT_SLOPES,
               Condition(f"i_out/duty_off - {CLIMB}/2 <= i_out", "the coil current falls below the load current")),
        bound=Bound(f"{_OVER_SAG}/(1 + {_OVER_SAG}) + {ROUNDED}",
                    "errs low, by what the series resistance of the capacitor adds"),
        source="derived here",
        example={"i_out": 0.1, "duty": 0.6, "capacitance": 100e-6, "f_sw": 150e3, "i_inductor_min": 0.05,
                 "ripple_current": 0.5},
    )


@cache
def dry_ripple() -> Derivation:
    """Ripple of a pure capacitor in discontinuous conduction: I_out/(C f_s) (1 - I_out/I_max)^2."""
    surplus = "i_inductor_max - i_out - i_inductor_max*t/(duty_rectifier*t_sw)"
    return Derivation(
        "dry_ripple", "Ripple of the output in discontinuous conduction",
        (
            Step("The coil current falls from its highest value to zero along a straight line.",
                 "i_inductor = i_inductor_max - i_inductor_max*t/(duty_rectifier*t_sw)", assumption(STRAIGHT)),
            Step("The capacitor gains until that has fallen to what the load draws.",
                 "i_out = i_inductor_max - i_inductor_max*t_turn/(duty_rectifier*t_sw)", assumption(STEADY_LOAD)),
            Step("That takes so long.", "t_turn = (1 - i_out/i_inductor_max)*duty_rectifier*t_sw", solving("t_turn")),
            Step("By then it has gained what the load left.", f"charge_turn = integral({surplus}, t, 0, t_turn)", definition()),
            Step("A triangle.",
                 "charge_turn = (i_inductor_max - i_out)*t_turn - i_inductor_max*t_turn**2/(2*duty_rectifier*t_sw)",
                 integrating()),
            Step("The load draws the mean of the rectifier's triangles.", "i_out = i_inductor_max*duty_rectifier/2",
                 earlier(dry_load_current())),
            Step("So the rectifier conducts for this share.", "duty_rectifier = 2*i_out/i_inductor_max",
                 solving("duty_rectifier")),
            Step("The charge raises the capacitor's voltage along a mean slope.",
                 "charge_turn/t_turn = capacitance*(lift_charge/t_turn)",
                 law("capacitor law", current="charge_turn/t_turn", capacitance="capacitance", slope="lift_charge/t_turn")),
            Step("By so much.", "lift_charge = charge_turn/capacitance", solving("lift_charge")),
            Step("All the rest of the period it falls back: without series resistance this is the ripple.",
                 "ripple_voltage = lift_charge", assumption(PURE)),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put all in.",
                 "ripple_voltage = ((i_inductor_max - i_out)*(1 - i_out/i_inductor_max)*2*i_out/i_inductor_max/f_sw"
                 " - i_inductor_max*(1 - i_out/i_inductor_max)**2*2*i_out/i_inductor_max/f_sw/2)/capacitance",
                 substituting(), uses=(10, 9, 5, 3, 7, 11)),
            Step("Near no load it is the charge of a whole period over the capacitance.",
                 "ripple_voltage = i_out/(capacitance*f_sw)*(1 - i_out/i_inductor_max)**2", simplifying()),
        ),
        meaning="output voltage, peak to peak, in discontinuous conduction; capacitor without series resistance",
        unit="V",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, STRAIGHT_SLOPES),
        bound=Bound("r_capacitor*i_inductor_max/(i_out/(capacitance*f_sw)*(1 - i_out/i_inductor_max)**2 + "
                    f"r_capacitor*i_inductor_max) + {ROUNDED} + v_out*{SAG}/(v_out - v_in)/6",
                    "errs low, by what the series resistance of the capacitor adds"),
        source="derived here",
        example={"i_out": 0.05, "capacitance": 100e-6, "f_sw": 150e3, "i_inductor_max": 0.5},
    )


@cache
def steady_capacitor_rms() -> Derivation:
    """The rms current of the output capacitor where the coil has no ripple: I_out sqrt(D/D')."""
    return Derivation(
        "steady_capacitor_rms", "The rms current of the output capacitor without coil ripple",
        (
            Step("Take the rms current with coil ripple.",
                 "i_capacitor_rms = sqrt(duty*i_out**2 + duty_off*((i_out/duty_off - i_out)**2 + ripple_current**2/12))",
                 earlier(capacitor_rms())),
            Step("Take a coil so large that its current is steady.", "ripple_current = 0",
                 assumption("coil current without ripple")),
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Put both in.",
                 "i_capacitor_rms = sqrt(duty*i_out**2 + (1 - duty)*(i_out/(1 - duty) - i_out)**2)",
                 substituting(), uses=(1, 2, 3)),
            Step("Gather.", "i_capacitor_rms = i_out*sqrt(duty/(1 - duty))", simplifying()),
            Step("At a duty of one half already as much as the load.", "i_capacitor_rms = i_out*sqrt(duty/duty_off)",
                 substituting(), uses=(5, 3)),
        ),
        meaning="rms current of the output capacitor in continuous conduction, coil current without ripple",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(f"1 - 1/sqrt(1 + duty_off**2/duty*ripple_current**2/(12*i_out**2)) + {BEND} + {ROUNDED}",
                    "errs low, by what the coil ripple adds"),
        source="derived here; Erickson & Maksimovic, 3rd ed., appendix A, gives the method",
        example={"i_out": 0.5, "duty": 2 / 3},
    )


@cache
def dry_capacitor_rms() -> Derivation:
    """The rms current of the output capacitor in discontinuous conduction: sqrt(D_2 I_max^2/3 - I_out^2)."""
    surplus = "i_inductor_max - i_inductor_max*t/(duty_rectifier*t_sw) - i_out"
    return Derivation(
        "dry_capacitor_rms", "The rms current of the output capacitor in discontinuous conduction",
        (
            Step("While the rectifier conducts the capacitor takes what the load leaves of a falling straight line, else it "
                 "gives the load current.", "i_capacitor_on = -i_out", assumption(STEADY_LOAD)),
            Step("The line falls from the highest current to zero.",
                 "i_inductor = i_inductor_max - i_inductor_max*t/(duty_rectifier*t_sw)", assumption(STRAIGHT)),
            Step("Square, and take the mean over the period.",
                 f"i_capacitor_rms = sqrt((integral(({surplus})**2, t, 0, duty_rectifier*t_sw) + "
                 "integral(i_out**2, t, duty_rectifier*t_sw, t_sw))/t_sw)", definition()),
            Step("Carry the two integrals out.",
                 "i_capacitor_rms = sqrt(duty_rectifier*i_inductor_max**2/3 - duty_rectifier*i_inductor_max*i_out + i_out**2)",
                 integrating()),
            Step("The load draws the mean of the rectifier's triangles.", "i_out = i_inductor_max*duty_rectifier/2",
                 earlier(dry_load_current())),
            Step("Solve for the share of conduction.", "duty_rectifier = 2*i_out/i_inductor_max", solving("duty_rectifier")),
            Step("Put it in.",
                 "i_capacitor_rms = sqrt(2*i_out*i_inductor_max/3 - 2*i_out**2 + i_out**2)", substituting(), uses=(4, 6)),
            Step("Gather.", "i_capacitor_rms = sqrt(i_out*(2*i_inductor_max/3 - i_out))", simplifying()),
        ),
        meaning="rms current of the output capacitor in discontinuous conduction",
        unit="A",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, STRAIGHT_SLOPES),
        bound=Bound(f"r_capacitor/r_load + {SAG}/4 + ({BENT_BY_RESISTANCE} + v_out*{SAG}/(v_out - v_in))/12",
                    "off on either side where slopes are bent and the load follows the ripple"),
        source="derived here by direct integration",
        example={"i_out": 0.05, "i_inductor_max": 0.5},
    )
