"""The right-half-plane zero told by charge: more duty, and for a while the output gets less.

The duty rises by a little and stays. From that period on the switch keeps the coil current from the output for longer, at once.
The coil current itself only climbs, period by period. Until it has climbed enough the output falls, though it was asked to rise.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    integrating,
    law,
    letter,
    reaching,
    small_swings,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import landmarks
from boostkit.derivations.averaging import averaged_coil
from boostkit.derivations.landmarks import VALID
from boostkit.derivations.swings import SOURCE_STEP, operating_current

charge_swing = letter("charge_swing", r"\delta Q_{\mathrm{out}}", "C", "change of the charge through the rectifier in one period",
                      (-1e-6, -1e-8), low=-inf)
t_made_good = letter("t_made_good", r"t_{\mathrm{good}}", "s", "time until the rectifier brings as much again as before", (1e-6, 1e-3),
                     open_low=True)
dip_first = letter("dip_first", r"\Delta v_{\mathrm{first}}", "V", "by how much the output first falls after a rise of the duty",
                   (1e-4, 0.3))
share_dip = letter("share_dip", r"s_{\mathrm{first}}", "", "that first fall over the lasting rise", (1e-3, 0.3))

SMALL_STEP = "a step of the duty so small that only the slopes at the operating point count"
AT_ONCE = "at once: the coil current has not moved yet"
OUTPUT_STILL = "soon: the output has hardly moved yet"
EARLY = Bound("", "for the first moments, short against a turn of the resonance: later the output that has moved counts too")
FORWARD = "errs {} by V_F/V_out, for the coil sees the forward voltage of the rectifier on top of the output"
CLIMB, GOOD = (Bound("", f"{EARLY.words}; {FORWARD.format(side)}") for side in ("low", "high"))
RISE = {"i_inductor_mean": 1.9, "duty_swing": 0.01}
CHARGE = "duty_off*i_inductor_swing*t_sw - i_inductor_mean*duty_swing*t_sw"


@cache
def charge_by_duty() -> Derivation:
    """What a change of duty and one of coil current do to the charge that each period hands over."""
    return Derivation(
        "charge_by_duty", "What each period hands over, after the duty has risen",
        (
            Step("Through the open time the rectifier hands the coil current over.", "charge_out = duty_off*i_inductor_mean*t_sw",
                 definition()),
            Step("Let the duty rise a little and the current move a little.", f"charge_swing = {CHARGE}",
                 small_swings(charge_out="charge_swing", duty_off="-duty_swing", i_inductor_mean="i_inductor_swing")),
        ),
        meaning="change of the charge through the rectifier in one period, for a small rise of the duty and a small change of coil current",
        unit="C", valid=VALID, bound=EARLY, source="derived here", example={**RISE, "duty": 0.68, "i_inductor_swing": 0.0, "f_sw": 150e3},
    )


@cache
def charge_at_once() -> Derivation:
    """In the first period the output gets less: -I_L T_s times the rise of the duty."""
    return Derivation(
        "charge_at_once", "In the first period the output gets less",
        (
            Step("Take what each period hands over.", f"charge_swing = {CHARGE}", earlier(charge_by_duty())),
            Step("A coil's current does not jump.", "i_inductor_swing = 0", assumption(AT_ONCE)),
            Step("So more duty brings less: the rectifier conducts for less time.", "charge_swing = -i_inductor_mean*duty_swing*t_sw",
                 substituting(), uses=(1, 2)),
        ),
        meaning="change of the charge through the rectifier in the first period after a small rise of the duty",
        unit="C", valid=VALID, bound=EARLY, source="derived here", example={**RISE, "f_sw": 150e3},
    )


@cache
def first_slope() -> Derivation:
    """So the output starts out downward: -I_L/C times the rise of the duty."""
    return Derivation(
        "first_slope", "The output starts out the wrong way",
        (
            Step("In the first period so much charge is missing.", "charge_swing = -i_inductor_mean*duty_swing*t_sw",
                 earlier(charge_at_once())),
            Step("The load takes what it took, so the capacitor gives the missing charge.",
                 "charge_swing/t_sw = capacitance*slope_voltage_swing",
                 law("capacitor law", current="charge_swing/t_sw", capacitance="capacitance", slope="slope_voltage_swing")),
            Step("Its voltage moves along this slope.",
                 "slope_voltage_swing = charge_swing/(t_sw*capacitance)", solving("slope_voltage_swing")),
            Step("Put the charge in: downward, and steeper at a heavy load.",
                 "slope_voltage_swing = -i_inductor_mean*duty_swing/capacitance",
                 substituting(), uses=(3, 1)),
        ),
        meaning="slope of the mean output voltage just after a small rise of the duty",
        unit="V/s", valid=VALID, bound=EARLY, source="derived here", example={**RISE, "capacitance": 100e-6},
    )


@cache
def current_climb() -> Derivation:
    """Meanwhile the coil current climbs, along V_out/L times the rise of the duty."""
    return Derivation(
        "current_climb", "The coil current climbs",
        (
            Step("Take the coil, averaged over a period.",
                 "inductance*slope_current_mean = v_in - duty_off*v_out", earlier(averaged_coil())),
            Step("Let the duty rise a little.", "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
                 small_swings(slope_current_mean="slope_current_swing", v_in="v_in_swing", v_out="v_out_swing", duty_off="-duty_swing")),
            SOURCE_STEP,
            Step("Nor has the output moved much yet.", "v_out_swing = 0", assumption(OUTPUT_STILL)),
            Step("The longer closed time is what drives the current up.", "inductance*slope_current_swing = v_out*duty_swing",
                 substituting(), uses=(2, 3, 4)),
            Step("Nothing opposes it yet: it climbs along a straight line.", "i_inductor_swing = v_out*duty_swing*t/inductance",
                 solving_in_time(i_inductor_swing=("slope_current_swing", "0"))),
        ),
        meaning="rise of the mean coil current at a time after a small rise of the duty",
        unit="A", valid=VALID, bound=CLIMB, source="derived here",
        example={"v_out": 18.0, "duty_swing": 0.01, "t": 50e-6, "inductance": 47e-6},
    )


@cache
def time_to_make_good() -> Derivation:
    """After L I_L/(D' V_out) the current has climbed enough: each period hands over as much as before."""
    return Derivation(
        "time_to_make_good", "When the loss is made good",
        (
            Step("Take what each period hands over.", f"charge_swing = {CHARGE}", earlier(charge_by_duty())),
            Step("Take the climb of the coil current.", "i_inductor_swing = v_out*duty_swing*t/inductance", earlier(current_climb())),
            Step("Put it in: a loss at once, and a gain that grows.",
                 "charge_swing = duty_off*v_out*duty_swing*t/inductance*t_sw - i_inductor_mean*duty_swing*t_sw",
                 substituting(), uses=(1, 2)),
            Step("Loss and gain are equal here. The size of the rise of the duty drops out: a larger or a smaller step does not change "
                 "this time.", "t_made_good = inductance*i_inductor_mean/(duty_off*v_out)", reaching("0")),
        ),
        meaning="time after a small rise of the duty until a period hands over as much charge as before",
        unit="s", valid=VALID, bound=GOOD, source="derived here",
        example={"inductance": 47e-6, "i_inductor_mean": 1.9, "duty": 0.68, "v_out": 18.0},
    )


@cache
def zero_by_charge() -> Derivation:
    """This time is the right-half-plane zero's: 1/(2 pi f_z)."""
    return Derivation(
        "zero_by_charge", "This time is the zero's",
        (
            Step("Take the time.", "t_made_good = inductance*i_inductor_mean/(duty_off*v_out)", earlier(time_to_make_good())),
            *operating_current(),
            Step("Put in the current of the operating point.",
                 "t_made_good = inductance/(duty_off**2*r_load)", substituting(), uses=(1, 2, 4)),
            Step("Take the right-half-plane zero.", "f_zero = duty_off**2*r_load/(2*pi*inductance)", earlier(landmarks.rhp_zero())),
            Step("The two are the same: what is faster than this time is seen the wrong way round.", "t_made_good = 1/(2*pi*f_zero)",
                 substituting(), uses=(5, 6)),
        ),
        meaning="time after a small rise of the duty until a period hands over as much charge as before, from the right-half-plane zero",
        unit="s", valid=VALID, bound=EARLY, source="derived here", example={"f_zero": 10.4e3},
    )


@cache
def first_dip() -> Derivation:
    """How far the output falls first: I_L t/(2 C) times the rise of the duty, t the time until the loss is made good."""
    missing = "(i_inductor_mean*duty_swing - duty_off*v_out*duty_swing*t/inductance)/capacitance"
    return Derivation(
        "first_dip", "How far the output falls first",
        (
            Step("Take what each period hands over.", f"charge_swing = {CHARGE}", earlier(charge_by_duty())),
            Step("Take the climb of the coil current.", "i_inductor_swing = v_out*duty_swing*t/inductance", earlier(current_climb())),
            Step("The capacitor gives what is missing.", "charge_swing/t_sw = capacitance*slope_voltage_swing",
                 law("capacitor law", current="charge_swing/t_sw", capacitance="capacitance", slope="slope_voltage_swing")),
            Step("Its slope.", "slope_voltage_swing = charge_swing/(t_sw*capacitance)", solving("slope_voltage_swing")),
            Step("Put both in.", f"slope_voltage_swing = -{missing}", substituting(), uses=(4, 1, 2)),
            Step("It falls until the loss is made good.", f"dip_first = integral({missing}, t, 0, t_made_good)", definition()),
            Step("Carry it out.",
                 "dip_first = (i_inductor_mean*duty_swing*t_made_good"
                 " - duty_off*v_out*duty_swing*t_made_good**2/(2*inductance))/capacitance",
                 integrating()),
            Step("Take that time.", "t_made_good = inductance*i_inductor_mean/(duty_off*v_out)", earlier(time_to_make_good())),
            Step("Read the current out of it.", "i_inductor_mean = duty_off*v_out*t_made_good/inductance", solving("i_inductor_mean")),
            Step("What is missing shrinks evenly to nothing: half of its first value, times the time.",
                 "dip_first = i_inductor_mean*duty_swing*t_made_good/(2*capacitance)", substituting(), uses=(7, 9)),
        ),
        meaning="by how much the mean output voltage first falls after a small rise of the duty",
        unit="V", valid=VALID, bound=EARLY, source="derived here", example={**RISE, "t_made_good": 15.3e-6, "capacitance": 100e-6},
    )


@cache
def dip_share() -> Derivation:
    """The first fall over the lasting rise: 1/(2 Q^2)."""
    return Derivation(
        "dip_share", "The first fall against the lasting rise",
        (
            Step("Take the first fall.", "dip_first = i_inductor_mean*duty_swing*t_made_good/(2*capacitance)", earlier(first_dip())),
            Step("Take the time until the loss is made good.", "t_made_good = inductance*i_inductor_mean/(duty_off*v_out)",
                 earlier(time_to_make_good())),
            *operating_current(),
            Step("Put time and current in.",
                 "dip_first = duty_swing*v_out*inductance/(2*duty_off**3*r_load**2*capacitance)", substituting(), uses=(1, 2, 3, 5)),
            Step("Take the gain for slow changes.", "gain_control = v_out/duty_off", earlier(landmarks.control_gain())),
            Step("The lasting rise is that gain times the rise of the duty. Compare.", "share_dip = dip_first/(gain_control*duty_swing)",
                 definition()),
            Step("Put fall and gain in.", "share_dip = inductance/(2*duty_off**2*r_load**2*capacitance)", substituting(), uses=(8, 6, 7)),
            Step("Take the quality of the resonance.",
                 "q_output = duty_off*r_load*sqrt(capacitance/inductance)", earlier(landmarks.quality())),
            Step("Read it in the quality: a light load hides the wrong way, a heavy one shows it.", "share_dip = 1/(2*q_output**2)",
                 substituting(), uses=(9, 10)),
        ),
        meaning="first fall of the output after a small rise of the duty, over the rise that lasts",
        unit="", valid=VALID, bound=Bound("", "errs high where the quality is small: the output that has moved then counts soon"),
        source="derived here", example={"q_output": 12.65},
    )
