"""Peak-current control: the switch opens where the coil current reaches a command. What a disturbance becomes, the ramp that
cures it, and how the current follows its command up to half the switching frequency. `held_current` has what is left of the
converter then.

The falling slope m_2 is negative, as everywhere in the kit; a ramp lowers the command by m_a each second of a period.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    averaging,
    definition,
    differentiating,
    earlier,
    law,
    letter,
    limit,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.switching import NEVER_DRY, NO_LOSS

slope_ramp = letter("slope_ramp", "m_a", "A/s", "slope of the ramp that is taken off the current command", (1e3, 5e5))
ramp_share = letter("ramp_share", "r_a", "", "slope of the ramp over the size of the falling slope", (0.05, 1.0))
slope_ratio = letter("slope_ratio", "r_m", "", "size of the falling slope over the rising one", (0.1, 5.0))
i_command = letter("i_command", "i_c", "A", "current command: where the switch opens", (3.0, 12.0))
i_valley = letter("i_valley", "i_0", "A", "coil current at a clock", (0.1, 2.0), low=-inf)
i_valley_next = letter("i_valley_next", "i_1", "A", "coil current at the next clock", (0.1, 2.0), low=-inf)
t_closed = letter("t_closed", r"t_{\mathrm{on}}", "s", "time for which the switch is closed", (1e-6, 1e-5))
growth = letter("growth", r"\alpha", "", "what a disturbance of the coil current becomes in one period: beyond -1 it grows", (-0.95, 0.5),
                low=-inf, high=1.0, open_high=True, why="at 1 a disturbance stays as it is for ever")
growth_allowed = letter("growth_allowed", r"\alpha_{\mathrm{max}}", "", "share of a disturbance that may be left after one period",
                        (0.0, 1.0), high=1.0, why="above 1 a disturbance grows")
period_factor = letter("period_factor", "z", "", "factor by which a swing e^(st) grows in one period", (1.1, 5.0), open_low=True)
shift_now = letter("shift_now", r"\delta_n", "A", "change of the sampled coil current", (0.01, 0.1), low=-inf)
shift_before = letter("shift_before", r"\delta_{\mathrm{before}}", "A", "the same, one period earlier", (0.01, 0.1), low=-inf)
shift_command = letter("shift_command", r"\delta_c", "A", "change of the current command", (0.01, 0.1), low=-inf)
hold_part = letter("hold_part", "w", "", "part of one over the current's reply that the holding makes", (0.1, 1.0))
hold_factor = letter("hold_factor", "h", "", "a value held for a period: its part in a swing e^(st)", (0.1, 1.0))
current_reply = letter("current_reply", r"H_c", "", "coil current over its command, for a swing e^(st)", (0.1, 1.2))
quality_inner = letter("quality_inner", r"Q_c", "", "quality of the current loop's resonance at half the switching frequency", (0.2, 5.0))
omega_half = letter("omega_half", r"\omega_h", "1/s", "angle per second of half the switching frequency", (6e4, 2e6), open_low=True)

SAME_COMMAND = "command, source and output voltage stay as they are while the disturbance runs"


@cache
def rising_slope() -> Derivation:
    """The slope of the coil current while the switch is closed: V_in/L."""
    return Derivation(
        "rising_slope", "How fast the current rises",
        (
            Step("While the switch is closed, the source lies across the coil.", "v_inductor_on = v_in", assumption(NO_LOSS)),
            Step("The voltage across the coil sets the slope.", "v_inductor_on = inductance*slope_rise",
                 law("inductor law", voltage="v_inductor_on", inductance="inductance", slope="slope_rise")),
            Step("Put it in.", "v_in = inductance*slope_rise", substituting(), uses=(2, 1)),
            Step("Solve for the slope.", "slope_rise = v_in/inductance", solving("slope_rise")),
        ),
        meaning="slope of the coil current while the switch is closed",
        unit="A/s",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 18",
        example={"v_in": 6.0, "inductance": 47e-6},
    )


@cache
def falling_slope() -> Derivation:
    """The slope of the coil current while the rectifier conducts: (V_in - V_out)/L, negative."""
    return Derivation(
        "falling_slope", "How fast the current falls",
        (
            Step("While the rectifier conducts, source and output lie across the coil.", "v_inductor_off = v_in - v_out",
                 assumption(NO_LOSS)),
            Step("The voltage across the coil sets the slope.", "v_inductor_off = inductance*slope_fall",
                 law("inductor law", voltage="v_inductor_off", inductance="inductance", slope="slope_fall")),
            Step("Put it in.", "v_in - v_out = inductance*slope_fall", substituting(), uses=(2, 1)),
            Step("Solve for the slope. It is negative.", "slope_fall = (v_in - v_out)/inductance", solving("slope_fall")),
        ),
        meaning="slope of the coil current while the rectifier conducts",
        unit="A/s",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 18",
        example={"v_in": 6.0, "v_out": 18.0, "inductance": 47e-6},
    )


@cache
def slopes() -> Derivation:
    """In steady state the falling slope over the rising one is D/D'."""
    return Derivation(
        "slopes", "The two slopes belong to the duty",
        (
            Step("In steady state rise and fall cancel over a period.", "slope_rise*(duty*t_sw) + slope_fall*(duty_off*t_sw) = 0",
                 law("steady state, current returns", rise_slope="slope_rise", rise_time="duty*t_sw", fall_slope="slope_fall",
                     fall_time="duty_off*t_sw")),
            Step("So the falling slope is this.", "slope_fall = -(slope_rise*duty/duty_off)", solving("slope_fall")),
            Step("Take its size over the rising one.", "slope_ratio = -(slope_fall/slope_rise)", definition()),
            Step("The longer the switch is closed, the steeper the fall.", "slope_ratio = duty/duty_off", substituting(), uses=(3, 2)),
        ),
        meaning="size of the falling slope over the rising slope, in continuous conduction",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 18",
        example={"duty": 0.6},
    )


@cache
def next_valley() -> Derivation:
    """From one clock to the next: where the coil current lands."""
    return Derivation(
        "next_valley", "From clock to clock",
        (
            Step("The clock closes the switch, the current climbs until it meets the command, which the ramp lowers meanwhile.",
                 "i_valley + slope_rise*t_closed = i_command - slope_ramp*t_closed", assumption(SAME_COMMAND)),
            Step("So the switch is closed for this time.", "t_closed = (i_command - i_valley)/(slope_rise + slope_ramp)",
                 solving("t_closed")),
            Step("For the rest of the period the current falls.",
                 "i_valley_next = i_valley + slope_rise*t_closed + slope_fall*(t_sw - t_closed)", assumption(NEVER_DRY)),
            Step("Put in the time.", "i_valley_next = i_valley + (slope_rise - slope_fall)*(i_command - i_valley)/(slope_rise + slope_ramp)"
                 " + slope_fall*t_sw", substituting(), uses=(3, 2)),
        ),
        meaning="coil current at the next clock",
        unit="A",
        source="derived here; same map in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"i_valley": 1.0, "slope_rise": 1.28e5, "slope_fall": -2.55e5, "slope_ramp": 1e5, "i_command": 2.0, "t_sw": 6.67e-6},
    )


_NEXT = "i_valley + (slope_rise - slope_fall)*(i_command - i_valley)/(slope_rise + slope_ramp) + slope_fall*t_sw"


@cache
def growth_in_slopes() -> Derivation:
    """What a disturbance becomes in one period, in the slopes: 1 - (m_1 - m_2)/(m_1 + m_a)."""
    return Derivation(
        "growth_in_slopes", "A disturbance, one period later, in the slopes",
        (
            Step("Take the current at the next clock.", f"i_valley_next = {_NEXT}", earlier(next_valley())),
            Step("A small change at one clock becomes this at the next.", f"growth = derivative({_NEXT}, i_valley)", definition()),
            Step("Work out the slope: current that starts higher meets the command earlier, and falls for longer.",
                 "growth = 1 - (slope_rise - slope_fall)/(slope_rise + slope_ramp)", differentiating()),
        ),
        meaning="what a small disturbance of the coil current becomes in one period, as a factor",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"slope_rise": 1.28e5, "slope_fall": -2.55e5, "slope_ramp": 1e5},
    )


@cache
def growth_with_ramp() -> Derivation:
    """What a disturbance becomes in one period: -(1 - r)/(D'/D + r), r the ramp over the falling slope."""
    return Derivation(
        "growth_with_ramp", "A disturbance, one period later",
        (
            Step("Take what a disturbance becomes in one period.", "growth = 1 - (slope_rise - slope_fall)/(slope_rise + slope_ramp)",
                 earlier(growth_in_slopes())),
            Step("Measure the ramp by the falling slope.", "ramp_share = -(slope_ramp/slope_fall)", definition()),
            Step("So the ramp is this.", "slope_ramp = -(ramp_share*slope_fall)", solving("slope_ramp")),
            Step("Measure the falling slope by the rising one.", "slope_ratio = -(slope_fall/slope_rise)", definition()),
            Step("So the falling slope is this.", "slope_fall = -(slope_ratio*slope_rise)", solving("slope_fall")),
            Step("In steady state their ratio belongs to the duty.", "slope_ratio = duty/duty_off", earlier(slopes())),
            Step("Put all in.", "growth = 1 - (1 + duty/duty_off)/(1 + ramp_share*(duty/duty_off))", substituting(), uses=(1, 3, 5, 6)),
            Step("The minus sign says that the disturbance changes sides each period.",
                 "growth = -((1 - ramp_share)/(duty_off/duty + ramp_share))", simplifying()),
        ),
        meaning="what a small disturbance of the coil current becomes in one period, as a factor",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"duty": 0.6, "ramp_share": 0.5},
    )


@cache
def growth_without_ramp() -> Derivation:
    """Without a ramp: -D/D'. Above half duty a disturbance grows."""
    return Derivation(
        "growth_without_ramp", "Without a ramp: above half duty it grows",
        (
            Step("Take what a disturbance becomes in one period.", "growth = -((1 - ramp_share)/(duty_off/duty + ramp_share))",
                 earlier(growth_with_ramp())),
            Step("Without a ramp this is left. Above half duty its size is above one: each disturbance grows, and the periods differ "
                 "in turns.", "growth = -(duty/duty_off)", limit("ramp_share", "0")),
        ),
        meaning="what a small disturbance of the coil current becomes in one period without a ramp, as a factor",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"duty": 0.6},
    )


@cache
def least_ramp() -> Derivation:
    """The ramp with which no more than a share of a disturbance is left after one period."""
    return Derivation(
        "least_ramp", "The least ramp",
        (
            Step("Take what a disturbance becomes in one period, in the slopes.",
                 "growth = 1 - (slope_rise - slope_fall)/(slope_rise + slope_ramp)", earlier(growth_in_slopes())),
            Step("At most this share may be left, on the other side.", "growth = -growth_allowed",
                 assumption("the worst that is allowed is used to the full")),
            Step("Put it in.", "-growth_allowed = 1 - (slope_rise - slope_fall)/(slope_rise + slope_ramp)", substituting(), uses=(1, 2)),
            Step("Solve for the ramp.", "slope_ramp = -((slope_fall + growth_allowed*slope_rise)/(1 + growth_allowed))",
                 solving("slope_ramp", "slope_ramp > -slope_rise")),
            Step("Take the rising slope.", "slope_rise = v_in/inductance", earlier(rising_slope())),
            Step("And the falling one.", "slope_fall = (v_in - v_out)/inductance", earlier(falling_slope())),
            Step("Put both in. Where it comes out negative, no ramp is needed.",
                 "slope_ramp = (v_out - v_in - growth_allowed*v_in)/(inductance*(1 + growth_allowed))", substituting(), uses=(4, 5, 6)),
        ),
        meaning="slope of the ramp with which this share of a disturbance is left after one period (1: it just does not grow)",
        unit="A/s",
        source="derived here; at 1 and for any duty it is half the falling slope at most, as in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"v_in": 6.0, "v_out": 18.0, "inductance": 47e-6, "growth_allowed": 0.5},
    )


@cache
def dead_beat_ramp() -> Derivation:
    """With a ramp as steep as the fall, a disturbance is gone after one period."""
    return Derivation(
        "dead_beat_ramp", "The ramp that leaves nothing",
        (
            Step("Take the ramp that leaves a share.",
                 "slope_ramp = (v_out - v_in - growth_allowed*v_in)/(inductance*(1 + growth_allowed))", earlier(least_ramp())),
            Step("Let nothing be left: a ramp as steep as the fall. More would turn the control towards that of voltage mode.",
                 "slope_ramp = (v_out - v_in)/inductance", limit("growth_allowed", "0")),
        ),
        meaning="slope of the ramp with which a disturbance of the coil current is gone after one period",
        unit="A/s",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.2",
        example={"v_in": 6.0, "v_out": 18.0, "inductance": 47e-6},
    )


@cache
def sampled_current() -> Derivation:
    """What the current loop is towards half the switching frequency: 1/H = sT/(1 - alpha) + sT/(exp(sT) - 1)."""
    return Derivation(
        "sampled_current", "The current follows its command by samples",
        (
            Step("In one period a swing e^(st) grows by this factor.", "period_factor = exp(s*t_sw)", definition()),
            Step("So one period earlier it was smaller.", "shift_before = shift_now/period_factor",
                 assumption("every change goes with the same e^(st)")),
            Step("Once a period the current takes up the command; of the earlier change a part is left. Without a change of the command "
                 "that is all, and a lasting command is followed to the full.",
                 "shift_now = growth*shift_before + (1 - growth)*shift_command", assumption("linear in small changes, once a period")),
            Step("Put it in.", "shift_now = growth*(shift_now/period_factor) + (1 - growth)*shift_command", substituting(), uses=(3, 2)),
            Step("Solve for the change.", "shift_now = (1 - growth)*shift_command/(1 - growth/period_factor)", solving("shift_now")),
            Step("From sample to sample the change stays. What is held for a period has this part in a swing e^(st).",
                 "hold_factor = mean(exp(-(s*t)), t, 0, t_sw)", definition()),
            Step("Work out the mean.", "hold_factor = (1 - exp(-(s*t_sw)))/(s*t_sw)", averaging()),
            Step("Current over command is this.", "current_reply = hold_factor*shift_now/shift_command", definition()),
            Step("Put all in.", "current_reply = (1 - growth)*(1 - exp(-(s*t_sw)))/(s*t_sw*(1 - growth*exp(-(s*t_sw))))", substituting(),
                 uses=(8, 7, 5, 1)),
            Step("As one over a sum it is easier to read.",
                 "current_reply = 1/(s*t_sw/(1 - growth) + s*t_sw/(exp(s*t_sw) - 1))", simplifying()),
        ),
        meaning="coil current over its command, for a swing e^(st), up to half the switching frequency",
        unit="",
        bound=Bound("", "the output voltage counts as steady: good from well above the output's corner to half the switching frequency"),
        source="derived here; sampled-data model of current control as in Ridley, IEEE Trans. Power Electronics 6(2), 1991, from memory",
        example={"s": 1e5, "t_sw": 6.67e-6, "growth": -0.4286},
    )


@cache
def inner_quality() -> Derivation:
    """The resonance of the current loop at half the switching frequency: (2/pi)/(1 - 2 D + 2 D r)."""
    return Derivation(
        "inner_quality", "The resonance at half the switching frequency",
        (
            Step("Take the current over its command.", "current_reply = 1/(s*t_sw/(1 - growth) + s*t_sw/(exp(s*t_sw) - 1))",
                 earlier(sampled_current())),
            Step("Give the last part a letter.", "hold_part = s*t_sw/(exp(s*t_sw) - 1)", definition()),
            Step("With it the current reads like this.", "current_reply = 1/(s*t_sw/(1 - growth) + hold_part)", substituting(),
                 uses=(1, 2)),
            Step("The last part is nearly of second order: the same at slow swings and for a wave of half the switching frequency.",
                 "hold_part = 1 - s*t_sw/2 + (s*t_sw/pi)**2",
                 assumption("a fit of second order, exact at zero and at half the switching frequency")),
            Step("Put it in.", "current_reply = 1/(s*t_sw/(1 - growth) + 1 - s*t_sw/2 + (s*t_sw/pi)**2)", substituting(), uses=(3, 4)),
            Step("Half the switching frequency has this angle per second.", "omega_half = pi/t_sw", definition()),
            Step("Call what stands at the first power of s one over the quality.",
                 "quality_inner = 1/(pi*(1/(1 - growth) - 1/2))", definition()),
            Step("In these two it has the standard form of a resonance.",
                 "current_reply = 1/(1 + s/(quality_inner*omega_half) + (s/omega_half)**2)", substituting(), uses=(5, 6, 7)),
            Step("Take what a disturbance becomes in one period.", "growth = -((1 - ramp_share)/(duty_off/duty + ramp_share))",
                 earlier(growth_with_ramp())),
            Step("The switch is open for the rest of the period.", "duty_off = 1 - duty", definition()),
            Step("Put both in.", "quality_inner = 2/pi/(1 - 2*duty + 2*duty*ramp_share)", substituting(), uses=(7, 9, 10)),
        ),
        meaning="quality of the current loop's resonance at half the switching frequency; infinite where a disturbance just stays",
        unit="",
        valid=(Condition("1 - 2*duty + 2*duty*ramp_share > 0", "a disturbance dies out"),),
        bound=Bound("", "exact at slow swings and at half the switching frequency, close between"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 18.7, and Ridley, IEEE Trans. Power Electronics 6(2), "
               "1991, both from memory",
        example={"duty": 0.5, "ramp_share": 0.5},
    )
