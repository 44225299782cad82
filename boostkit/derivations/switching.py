"""Two slopes: from the law of the coil to the gain, the mean current and the ripple of a boost converter."""

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
    BENT_LOSS,
    CLIMB,
    CONTINUOUS,
    CURRENT_HIGHEST,
    DROP,
    LOSS,
    LOST_LIFT,
    PATH_DROP,
    SAG,
    SMALL_DROP,
    STRAIGHT_SLOPES,
)

ESR_SHARE = f"(r_capacitor*{CURRENT_HIGHEST}*capacitance*f_sw/(i_out*duty))"       # its part of the ripple over ours
NO_LOSS = "parts without loss"
FLAT_OUTPUT = "output ripple small against the output"
NEVER_DRY = "inductor current never reaches zero"
AT_BORDER = "on the border itself: the inductor current just touches zero once a period"
STEADY_LOAD = "load current constant over a period"


@cache
def volt_second_balance() -> Derivation:
    """The law of the coil, and a current that returns: the voltages across the coil cancel over a period."""
    return Derivation(
        "volt_second_balance", "Volt-second balance of the coil",
        (
            Step("While the switch is closed, the voltage across the coil sets how fast its current rises.",
                 "v_inductor_on = inductance*slope_rise",
                 law("inductor law", voltage="v_inductor_on", inductance="inductance", slope="slope_rise")),
            Step("So the current rises along this slope.",
                 "slope_rise = v_inductor_on/inductance", solving("slope_rise")),
            Step("While the rectifier conducts, another voltage lies across the same coil.",
                 "v_inductor_off = inductance*slope_fall",
                 law("inductor law", voltage="v_inductor_off", inductance="inductance", slope="slope_fall")),
            Step("So the current falls along this slope, which is negative.",
                 "slope_fall = v_inductor_off/inductance", solving("slope_fall")),
            Step("In steady state the current ends each period where it began: rise and fall cancel.",
                 "slope_rise*(duty*t_sw) + slope_fall*(duty_rectifier*t_sw) = 0",
                 law("steady state, current returns", rise_slope="slope_rise", rise_time="duty*t_sw",
                     fall_slope="slope_fall", fall_time="duty_rectifier*t_sw")),
            Step("Put in the two slopes.",
                 "v_inductor_on/inductance*(duty*t_sw) + v_inductor_off/inductance*(duty_rectifier*t_sw) = 0",
                 substituting(), uses=(5, 2, 4)),
            Step("Inductance and period stand in both terms and drop out: the volt-seconds add to nothing.",
                 "v_inductor_on*duty + v_inductor_off*duty_rectifier = 0", simplifying()),
        ),
        meaning="the volt-seconds across a coil cancel over a period",
        unit="",
        source="derived here; same principle in Erickson & Maksimovic, 3rd ed., ch. 2",
    )


@cache
def output_by_times() -> Derivation:
    """The output voltage from the times in which switch and rectifier conduct, whether the coil idles or not."""
    return Derivation(
        "output_by_times", "The output voltage from the conduction times",
        (
            Step("Over a period the volt-seconds across the coil cancel. While it idles there is no voltage across it, so "
                 "idle time counts for nothing.",
                 "v_inductor_on*duty + v_inductor_off*duty_rectifier = 0", earlier(volt_second_balance())),
            Step("Without loss the source voltage lies across the coil while the switch is closed.",
                 "v_inductor_on = v_in", assumption(NO_LOSS)),
            Step("Without loss source less output lies across it while the rectifier conducts.",
                 "v_inductor_off = v_in - v_out", assumption(NO_LOSS)),
            Step("Put both into the balance.", "v_in*duty + (v_in - v_out)*duty_rectifier = 0",
                 substituting(), uses=(1, 2, 3)),
            Step("Solve for the output voltage.", "v_out = v_in*(duty + duty_rectifier)/duty_rectifier", solving("v_out")),
        ),
        meaning="output voltage from the times in which switch and rectifier conduct, in both modes of conduction",
        unit="V",
        valid=(ABOVE_SOURCE, STRAIGHT_SLOPES),
        bound=Bound(f"{LOST_LIFT}*(1 + {BENT_BY_RESISTANCE}/6)*v_in/v_out",
                    "errs high, by what all the parts in the path take"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"v_in": 24.0, "duty": 0.25, "duty_rectifier": 0.5},
    )


@cache
def ideal_gain() -> Derivation:
    """The gain of a converter without loss in continuous conduction: V_out/V_in = 1/D'."""
    return Derivation(
        "ideal_gain", "The gain of the ideal boost converter",
        (
            Step("Over a period the volt-seconds across the coil cancel.",
                 "v_inductor_on*duty + v_inductor_off*duty_rectifier = 0", earlier(volt_second_balance())),
            Step("Switch closed: the source drives a loop of coil and switch.",
                 "v_in = v_inductor_on + v_switch_on",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_inductor_on + v_switch_on")),
            Step("Take a switch that drops nothing when closed.",
                 "v_switch_on = 0", assumption(NO_LOSS)),
            Step("Then the whole source voltage lies across the coil.",
                 "v_in = v_inductor_on", substituting(), uses=(2, 3)),
            Step("Switch open: the source drives a loop of coil, rectifier and output.",
                 "v_in = v_inductor_off + v_rectifier_on + v_out",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_inductor_off + v_rectifier_on + v_out")),
            Step("Take a rectifier that drops nothing when it conducts.",
                 "v_rectifier_on = 0", assumption(NO_LOSS)),
            Step("Take a capacitor so large that the output hardly moves within a period: V_out is one number.",
                 "ripple_voltage = 0", assumption(FLAT_OUTPUT)),
            Step("Then source and output share the loop with the coil.",
                 "v_in = v_inductor_off + v_out", substituting(), uses=(5, 6)),
            Step("The voltage across the coil is now negative, as the output lies above the source.",
                 "v_inductor_off = v_in - v_out", solving("v_inductor_off")),
            Step("Call the rest of the period, in which the switch is open, D'.",
                 "duty_off = 1 - duty", definition()),
            Step("Let the coil carry current all through the open time: then the rectifier conducts as long.",
                 "duty_rectifier = duty_off", assumption(NEVER_DRY)),
            Step("Climb and fall cancel.",
                 "v_in*duty + (v_in - v_out)*duty_off = 0", substituting(), uses=(1, 4, 9, 11)),
            Step("Solve for the output voltage.",
                 "v_out = v_in*(duty + duty_off)/duty_off", solving("v_out")),
            Step("The two shares make up the whole period.",
                 "v_out = v_in/duty_off", substituting(), uses=(13, 10)),
            Step("The gain depends on the duty alone.",
                 "v_out/v_in = 1/duty_off", simplifying()),
        ),
        meaning="voltage gain in continuous conduction, all parts without loss",
        unit="",
        valid=(CONTINUOUS,),
        bound=Bound(f"({LOSS} + {DROP})/(1 - {DROP}) + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BENT_LOSS}",
                    "errs high, by what the resistances and the rectifier take"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 2.35",
        example={"duty": 0.6},
    )


@cache
def charge_balance() -> Derivation:
    """The mean coil current that a load current asks for: I_L = I_out/D'."""
    return Derivation(
        "charge_balance", "Charge balance of the output capacitor",
        (
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Switch closed: nothing arrives at the output, and the capacitor alone feeds the load.",
                 "0 = i_capacitor_on + i_out",
                 law("Kirchhoff current law", enter="0", leave="i_capacitor_on + i_out")),
            Step("So the capacitor gives the load current away.",
                 "i_capacitor_on = -i_out", solving("i_capacitor_on")),
            Step("Switch open: the coil current arrives at the output and divides.",
                 "i_rectifier_open = i_capacitor_off + i_out",
                 law("Kirchhoff current law", enter="i_rectifier_open", leave="i_capacitor_off + i_out")),
            Step("Let the coil current follow straight slopes and never reach zero: its mean over the open time is its "
                 "mean over the period.", "i_rectifier_open = i_inductor_mean", assumption(NEVER_DRY)),
            Step("Solve for the mean current into the capacitor while the switch is open.",
                 "i_capacitor_off = i_rectifier_open - i_out", solving("i_capacitor_off"), uses=4),
            Step("In steady state the capacitor ends each period with the charge it began with.",
                 "i_capacitor_on*(duty*t_sw) + i_capacitor_off*(duty_off*t_sw) = 0",
                 law("steady state, charge returns", first="i_capacitor_on", first_time="duty*t_sw",
                     second="i_capacitor_off", second_time="duty_off*t_sw")),
            Step("Put in the two currents.",
                 "-i_out*(duty*t_sw) + (i_inductor_mean - i_out)*(duty_off*t_sw) = 0",
                 substituting(), uses=(7, 3, 6, 5)),
            Step("The period drops out.",
                 "-i_out*duty + (i_inductor_mean - i_out)*duty_off = 0", simplifying()),
            Step("Solve for the coil current.",
                 "i_inductor_mean = i_out*(duty + duty_off)/duty_off", solving("i_inductor_mean")),
            Step("The two shares make up the whole period. The coil carries more than the load, for it delivers only "
                 "during D'.", "i_inductor_mean = i_out/duty_off", substituting(), uses=(10, 1)),
        ),
        meaning="mean coil current in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "losses do not enter; off on either side where the slopes are not straight"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 2.3",
        example={"i_out": 0.5, "duty": 0.6},
    )


@cache
def inductor_ripple() -> Derivation:
    """How far the coil current climbs in one period: V_in D/(L f_s), peak to peak."""
    return Derivation(
        "inductor_ripple", "Ripple of the coil current",
        (
            Step("Switch closed, nothing lost in the path: the source voltage lies across the coil.",
                 "v_inductor_on = v_in", assumption("charging path without loss")),
            Step("The voltage across the coil sets how fast its current rises.",
                 "v_inductor_on = inductance*slope_rise",
                 law("inductor law", voltage="v_inductor_on", inductance="inductance", slope="slope_rise")),
            Step("Put in the source voltage.", "v_in = inductance*slope_rise", substituting(), uses=(2, 1)),
            Step("The slope is constant as long as the switch is closed.",
                 "slope_rise = v_in/inductance", solving("slope_rise")),
            Step("The ripple is the climb, counted from the lowest current to the highest.",
                 "ripple_current = integral(slope_rise, t, 0, duty*t_sw)", definition()),
            Step("A constant slope climbs slope times time.",
                 "ripple_current = slope_rise*(duty*t_sw)", integrating()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put in slope and period. Neither load nor output voltage occurs.",
                 "ripple_current = v_in*duty/(inductance*f_sw)", substituting(), uses=(6, 4, 7)),
        ),
        meaning="coil current, peak to peak",
        unit="A",
        valid=(ABOVE_SOURCE, SMALL_DROP),
        bound=Bound(f"{PATH_DROP}/(1 - {PATH_DROP})",
                    "good in both modes of conduction; errs high, by what winding and switch take from the source"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 2.43 (there as peak, half of this)",
        example={"v_in": 5.0, "duty": 2 / 3, "inductance": 150e-6, "f_sw": 25e3},
    )


@cache
def capacitor_sag() -> Derivation:
    """How far the output capacitance itself sags while it feeds the load alone: I_out D/(C f_s)."""
    return Derivation(
        "capacitor_sag", "The sag while the switch is closed",
        (
            Step("Switch closed: the capacitor alone feeds the load.", "0 = i_capacitor_on + i_out",
                 law("Kirchhoff current law", enter="0", leave="i_capacitor_on + i_out")),
            Step("So its current is the load current, outward.", "i_capacitor_on = -i_out", solving("i_capacitor_on")),
            Step("The current into a capacitor sets how fast its voltage moves.",
                 "i_capacitor_on = capacitance*slope_voltage",
                 law("capacitor law", current="i_capacitor_on", capacitance="capacitance", slope="slope_voltage")),
            Step("Put in the load current.", "-i_out = capacitance*slope_voltage", substituting(), uses=(3, 2)),
            Step("The voltage falls along this slope.", "slope_voltage = -i_out/capacitance", solving("slope_voltage")),
            Step("Take a load that draws the same current all the while.", "i_out(t) = i_out",
                 assumption(STEADY_LOAD)),
            Step("The sag is the fall while the switch is closed.", "sag = -integral(slope_voltage, t, 0, duty*t_sw)",
                 definition()),
            Step("A constant slope falls slope times time.", "sag = -slope_voltage*(duty*t_sw)", integrating()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put in slope and period. The coil does not occur, and no series resistance either.",
                 "sag = i_out*duty/(capacitance*f_sw)", substituting(), uses=(8, 5, 9)),
        ),
        meaning="fall of the voltage on the output capacitance itself while the switch is closed",
        unit="V",
        valid=(Condition(f"2*{SAG} <= 1", "the load takes at most half of the capacitor's charge in a period"),),
        bound=Bound(f"(1 + {SAG}/2)*(1 + r_capacitor/r_load) - 1",
                    "good in both modes of conduction; errs high where the load current follows the ripple"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 2.47 (there as peak, half of this)",
        example={"i_out": 0.5, "duty": 2 / 3, "capacitance": 220e-6, "f_sw": 25e3},
    )


@cache
def output_ripple() -> Derivation:
    """The ripple of an ideal output capacitor is its sag: I_out D/(C f_s), peak to peak."""
    return Derivation(
        "output_ripple", "Ripple of the output voltage",
        (
            Step("Take the sag of the output capacitance.", "sag = i_out*duty/(capacitance*f_sw)",
                 earlier(capacitor_sag())),
            Step("Take a capacitor without series resistance and a coil current that stays above the load current: "
                 "then the output falls while the switch is closed and rises while it is open, and nothing else. "
                 "From the highest output to the lowest is then the sag.",
                 "ripple_voltage = sag", assumption("output capacitor without series resistance, coil current always above "
                                                    "the load current while the switch is open")),
            Step("Put in the sag.", "ripple_voltage = i_out*duty/(capacitance*f_sw)", substituting(), uses=(2, 1)),
        ),
        meaning="output voltage, peak to peak, output capacitor without series resistance",
        unit="V",
        valid=(CONTINUOUS, Condition(f"i_out/duty_off - {CLIMB}/2 >= i_out",
                                     "the coil current never falls below the load current")),
        bound=Bound(f"{ESR_SHARE}/(1 + {ESR_SHARE}) + {BEND} + duty*{SAG}/5",
                    "errs low, by what the series resistance of the capacitor adds"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 2.47 (there as peak, half of this)",
        example={"i_out": 0.5, "duty": 2 / 3, "capacitance": 220e-6, "f_sw": 25e3},
    )


@cache
def conduction_border() -> Derivation:
    """The load number at which the coil current just touches zero: K_crit = D D'^2."""
    return Derivation(
        "conduction_border", "The border between continuous and discontinuous conduction",
        (
            Step("Take the mean coil current of continuous conduction.",
                 "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("Take the ripple of the coil current.",
                 "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("On the border the mean lies half a ripple above zero: the lowest current just touches zero.",
                 "i_inductor_mean = ripple_current/2", assumption(AT_BORDER)),
            Step("Put in mean and ripple.", "i_out/duty_off = v_in*duty/(2*inductance*f_sw)",
                 substituting(), uses=(3, 1, 2)),
            Step("Take the ideal gain.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("Solve it for the source voltage.", "v_in = v_out*duty_off", solving("v_in")),
            Step("Resistance of the load.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("Put in source voltage and load.",
                 "i_out/duty_off = r_load*i_out*duty_off*duty/(2*inductance*f_sw)", substituting(), uses=(4, 6, 7)),
            Step("The load current drops out; coil, load and clock gather on one side.",
                 "2*inductance*f_sw/r_load = duty*duty_off**2", simplifying()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Call this group of coil, load and clock the load number K.",
                 "k_load = 2*inductance/(r_load*t_sw)", definition()),
            Step("Call its value on the border the critical one.", "k_critical = k_load", definition()),
            Step("Read in K, the border is a matter of duty alone.", "k_critical = duty*duty_off**2",
                 substituting(), uses=(12, 11, 10, 9)),
        ),
        meaning="load number K at the border; above it conduction is continuous",
        unit="",
        bound=Bound(f"({LOSS} + {DROP})/(1 + {LOSS}) + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BENT_BY_RESISTANCE}/4",
                    "errs low: losses raise the load number that continuous conduction needs"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 5.32",
        example={"duty": 2 / 3},
    )
