"""Systems of second order: the loop near its crossover as an integrator and one pole (margin, quality, overshoot), and the swing of
a capacitor that fills through a coil.

Safety: a capacitor that is switched to a source through a coil goes up to twice the source voltage, and draws a large current on the
way. Choose its rating for that, and stay below 60 V unless you are trained for more; local codes and licensed practice come first.

Angles are in radians. The quality Q here is that of the closed loop, seen from the set point.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    angle_of_wave,
    assumption,
    definition,
    earlier,
    extremum,
    law,
    letter,
    simplifying,
    size_of_wave,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations.kick import COIL_LAW, LOOP_LAW

omega_unit = letter("omega_unit", r"\omega_0", "1/s", "angle per second at which the integrator in the loop alone has gain one",
                    (2e4, 2e5), open_low=True)
omega_second = letter("omega_second", r"\omega_2", "1/s", "angle per second of the second pole of the loop", (2e3, 6e4), open_low=True)
omega_crossover = letter("omega_crossover", r"\omega_c", "1/s", "angle per second at which the loop gain has size one", (1e3, 1e5),
                         open_low=True)
loop_gain = letter("loop_gain", "T", "", "loop gain: what comes back round the loop for one that is sent in", (1.0, 100.0))
loop_size = letter("loop_size", r"T_{\mathrm{abs}}", "", "size of the loop gain", (0.01, 100.0))
loop_angle = letter("loop_angle", r"\phi_T", "", "angle of the loop gain, in radians", (-3.1, -1.6), low=-inf)
phase_margin = letter("phase_margin", r"\phi_m", "", "phase margin, in radians: what the loop gain's angle lacks at the crossover to half "
                      "a turn", (0.2, 1.4), high=1.5707963267948966, open_low=True, why="two poles leave less than a quarter of a turn")
quality_closed = letter("quality_closed", "Q", "", "quality of the closed loop: above 1/2 its answer to a step overshoots", (0.55, 4.0),
                        open_low=True)
closed_gain = letter("closed_gain", r"T_{\mathrm{cl}}", "", "output over set point of the closed loop, for a swing e^(st)", (0.01, 2.0))
omega_middle = letter("omega_middle", r"\omega_m", "1/s", "angle per second of the closed loop's resonance, without its damping",
                      (5e3, 1e5), open_low=True)
reply = letter("reply", "y", "", "answer of the closed loop to a step of one, at an instant", (0.0, 2.0), low=-inf)
reply_slope = letter("reply_slope", "s_y", "1/s", "slope of that answer", (-1e5, 1e5), low=-inf)
held = letter("held", r"z_{\mathrm{int}}", "", "what the integrator in the loop holds, for a step of one", (0.0, 3.0), low=-inf)
held_slope = letter("held_slope", "s_z", "1/s", "slope of that", (-1e5, 1e5), low=-inf)
rate_settle = letter("rate_settle", r"\alpha_{\mathrm{cl}}", "1/s", "share by which the swing of the closed loop fades in a second",
                     (1e3, 3e4))
omega_settle = letter("omega_settle", r"\omega_{\mathrm{cl}}", "1/s", "angle per second of the swing of the closed loop", (5e3, 1e5),
                      open_low=True)
overshoot_share = letter("overshoot_share", r"o", "", "overshoot: by what share of the step the answer goes past its end", (0.0, 0.8))
v_lifted = letter("v_lifted", r"v_{C}", "V", "voltage of a capacitor that fills through a coil, at an instant", (0.0, 24.0), low=-inf)
slope_lifted = letter("slope_lifted", "s_{vC}", "V/s", "slope of that voltage", (-1e6, 1e6), low=-inf)
rate_lifted = letter("rate_lifted", r"\alpha_{LC}", "1/s", "share by which the swing of coil and capacitor fades in a second", (1e2, 1e3))
omega_lifted = letter("omega_lifted", r"\omega_{LC}", "1/s", "angle per second of the swing of coil and capacitor", (2e3, 1e5),
                      open_low=True)
damping_lc = letter("damping_lc", r"\zeta", "", "damping of coil, capacitor and the resistance in their way: 0 rings for ever, 1 does "
                    "not ring", (0.05, 0.95), high=1.0, open_high=True, why="from 1 on nothing swings")
peak_lifted = letter("peak_lifted", r"k_{\mathrm{peak}}", "", "highest voltage of a capacitor that fills through a coil, "
                     "over the source voltage", (1.0, 2.0))

AT_CROSSOVER = "at the crossover, by its name, the loop gain has size one"
TWO_POLES = "the loop is an integrator and one more pole near its crossover"
_SETTLES = ("reply = 1 - exp(-(rate_settle*t))*(cos(omega_settle*t) + rate_settle/omega_settle*sin(omega_settle*t))")
_FILLS = ("v_lifted = v_in*(1 - exp(-(rate_lifted*t))*(cos(omega_lifted*t) + rate_lifted/omega_lifted*sin(omega_lifted*t)))")
_COS_BY_SIN = "cos(phase_margin)/sin(phase_margin)"


@cache
def closed_loop() -> Derivation:
    """Closing the loop: 1/(1 + s/w0 + s^2/(w0 w2)), a system of second order."""
    return Derivation(
        "closed_loop", "The loop is closed",
        (
            Step("Near the crossover most loops look alike: an integrator, and one more pole.",
                 "loop_gain = 1/(s/omega_unit*(1 + s/omega_second))", assumption(TWO_POLES)),
            Step("The output follows the set point as far as the loop gain is large against one.",
                 "closed_gain = loop_gain/(1 + loop_gain)", definition()),
            Step("Put it in.", "closed_gain = 1/(s/omega_unit*(1 + s/omega_second))/(1 + 1/(s/omega_unit*(1 + s/omega_second)))",
                 substituting(), uses=(2, 1)),
            Step("Multiplied out, it is of second order.", "closed_gain = 1/(1 + s/omega_unit + s**2/(omega_unit*omega_second))",
                 simplifying()),
        ),
        meaning="output over set point of the closed loop, for a swing e^(st)",
        unit="",
        bound=Bound("", "further poles, a right-half-plane zero and delay take margin beyond what the second pole takes"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 9.4.2",
        example={"s": 1e4, "omega_unit": 5e4, "omega_second": 5e4},
    )


@cache
def closed_quality() -> Derivation:
    """The quality of the closed loop: Q = sqrt(w0/w2)."""
    return Derivation(
        "closed_quality", "The quality of the closed loop",
        (
            Step("Take the closed loop.", "closed_gain = 1/(1 + s/omega_unit + s**2/(omega_unit*omega_second))", earlier(closed_loop())),
            Step("Call the geometric middle of the two its angle per second.", "omega_middle = sqrt(omega_unit*omega_second)",
                 definition()),
            Step("And the root of their ratio its quality.", "quality_closed = sqrt(omega_unit/omega_second)", definition()),
            Step("In these two it has the standard form of a resonance.",
                 "closed_gain = 1/(1 + s/(quality_closed*omega_middle) + (s/omega_middle)**2)", substituting(), uses=(1, 2, 3)),
            Step("So this is the quality.", "quality_closed = sqrt(omega_unit/omega_second)", simplifying(), uses=3),
        ),
        meaning="quality of the closed loop of an integrator and one more pole",
        unit="",
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 9.4.2",
        example={"omega_unit": 5e4, "omega_second": 5e4},
    )


@cache
def quality_from_margin() -> Derivation:
    """The quality of the closed loop from the phase margin: sqrt(cos)/sin."""
    return Derivation(
        "quality_from_margin", "What a phase margin is worth",
        (
            Step("Take an integrator and one more pole.", "loop_gain = 1/(s/omega_unit*(1 + s/omega_second))", assumption(TWO_POLES)),
            Step("A wave at the crossover comes back with this size.",
                 "loop_size = 1/(omega_crossover/omega_unit*sqrt(1 + (omega_crossover/omega_second)**2))",
                 size_of_wave("omega_crossover")),
            Step("At the crossover that size is one.", "loop_size = 1", assumption(AT_CROSSOVER)),
            Step("Put it in.", "1 = 1/(omega_crossover/omega_unit*sqrt(1 + (omega_crossover/omega_second)**2))", substituting(),
                 uses=(2, 3)),
            Step("So the integrator stands here.", "omega_unit = omega_crossover*sqrt(1 + (omega_crossover/omega_second)**2)",
                 solving("omega_unit")),
            Step("The integrator turns the wave back by a quarter of a turn, the pole by more.",
                 "loop_angle = -(pi/2) - atan(omega_crossover/omega_second)", angle_of_wave("omega_crossover"), uses=1),
            Step("At half a turn back the loop would drive itself. The phase margin is what is left until then.",
                 "phase_margin = pi + loop_angle", definition()),
            Step("Put in the angle.", "phase_margin = pi/2 - atan(omega_crossover/omega_second)", substituting(), uses=(7, 6)),
            Step("Solve for the crossover.", f"omega_crossover = omega_second*({_COS_BY_SIN})", solving("omega_crossover")),
            Step("Take the quality of the closed loop.", "quality_closed = sqrt(omega_unit/omega_second)", earlier(closed_quality())),
            Step("Put all in.", f"quality_closed = sqrt({_COS_BY_SIN}*sqrt(1 + ({_COS_BY_SIN})**2))", substituting(), uses=(10, 5, 9)),
            Step("The root is one over the sine.", "quality_closed = sqrt(cos(phase_margin))/sin(phase_margin)", simplifying()),
        ),
        meaning="quality of the closed loop from its phase margin (in radians)",
        unit="",
        bound=Bound("", "good where the loop gain falls smoothly through one; zeros near the crossover change it"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 9.39",
        example={"phase_margin": 0.9075712110370514},
    )


@cache
def margin_from_quality() -> Derivation:
    """Turned round: the phase margin for a wanted quality."""
    return Derivation(
        "margin_from_quality", "The phase margin for a wanted quality",
        (
            Step("Take the quality of the closed loop.", "quality_closed = sqrt(cos(phase_margin))/sin(phase_margin)",
                 earlier(quality_from_margin())),
            Step("It falls as the margin grows, so each quality has one margin.",
                 "phase_margin = atan(sqrt((1 + sqrt(1 + 4*quality_closed**4))/(2*quality_closed**4)))", solving("phase_margin")),
        ),
        meaning="phase margin, in radians, that gives the closed loop this quality",
        unit="",
        bound=quality_from_margin().bound,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 9.40",
        example={"quality_closed": 1.0},
    )


@cache
def step_answer() -> Derivation:
    """How the closed loop answers a step, in time."""
    return Derivation(
        "step_answer", "The closed loop answers a step",
        (
            Step("The integrator adds up the error, which is what the output lacks to one.", "held_slope = omega_unit*(1 - reply)",
                 assumption(TWO_POLES)),
            Step("The output follows what the integrator holds, as fast as the second pole allows.",
                 "reply_slope = omega_second*(held - reply)", assumption(TWO_POLES)),
            Step("Call the rate of fading this.", "rate_settle = omega_second/2", definition()),
            Step("And the angle per second this.", "omega_settle = sqrt(omega_unit*omega_second - rate_settle**2)", definition()),
            Step("From rest it swings about its end and settles.", _SETTLES,
                 solving_in_time(reply=("reply_slope", "0"), held=("held_slope", "0")), uses=(2, 1, 4, 3)),
        ),
        meaning="answer of the closed loop a time t after its set point has stepped from 0 to 1",
        unit="",
        valid=(Condition("omega_settle > 0", "quality above one half, so that it swings"),),
        source="derived here; standard step response of a second-order system, from memory",
        example={"rate_settle": 2e4, "omega_settle": 4e4, "t": 5e-5},
    )


@cache
def overshoot() -> Derivation:
    """By how much the closed loop overshoots: exp(-pi/sqrt(4 Q^2 - 1))."""
    return Derivation(
        "overshoot", "The overshoot",
        (
            Step("Call the rate of fading this.", "rate_settle = omega_second/2", definition()),
            Step("And the angle per second this.", "omega_settle = sqrt(omega_unit*omega_second - rate_settle**2)", definition()),
            Step("Take the answer to a step.", _SETTLES, earlier(step_answer())),
            Step("It is highest after half a turn.", "t = pi/omega_settle", extremum("t", "maximum")),
            Step("What goes past the end is the overshoot.", "overshoot_share = reply - 1", definition()),
            Step("Put in answer and time. What is left of the swing by then is gone past.",
                 "overshoot_share = exp(-(pi*rate_settle/omega_settle))", substituting(), uses=(5, 3, 4)),
            Step("Take the quality of the closed loop.", "quality_closed = sqrt(omega_unit/omega_second)", earlier(closed_quality())),
            Step("So the integrator stands here.", "omega_unit = quality_closed**2*omega_second", solving("omega_unit")),
            Step("Put all in. Only the quality is left.", "overshoot_share = exp(-(pi/sqrt(4*quality_closed**2 - 1)))", substituting(),
                 uses=(6, 2, 1, 8)),
        ),
        meaning="overshoot of the closed loop after a step of its set point, as a share of the step",
        unit="",
        valid=(Condition("quality_closed > 1/2", "quality above one half; below, nothing overshoots"),),
        bound=Bound("", "for a step of the set point with no zero in the loop; a step of the load comes back with another shape"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 9.45",
        example={"quality_closed": 1.0},
    )


@cache
def capacitor_filling() -> Derivation:
    """An empty capacitor is switched to a source through a coil: it swings about the source voltage."""
    return Derivation(
        "capacitor_filling", "A capacitor fills through a coil",
        (
            Step("Source, coil, resistance and capacitor form a loop.", "v_in = v_coil + v_loop + v_lifted",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_lifted")),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("The resistance takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("Put both in.", "v_in = inductance*slope_coil + r_loop*i_inductor + v_lifted", substituting(), uses=(1, 2, 3)),
            Step("The current fills the capacitor.", "i_inductor = capacitance*slope_lifted",
                 law("capacitor law", current="i_inductor", capacitance="capacitance", slope="slope_lifted")),
            Step("Call the rate of fading this.", "rate_lifted = r_loop/(2*inductance)", definition()),
            Step("And the angle per second this.", "omega_lifted = sqrt(1/(inductance*capacitance) - rate_lifted**2)", definition()),
            Step("It starts empty and without current, and swings about the source voltage.", _FILLS,
                 solving_in_time(v_lifted=("slope_lifted", "0"), i_inductor=("slope_coil", "0")), uses=(4, 5, 7, 6)),
        ),
        meaning="voltage of an empty capacitor a time t after it was switched to a source through a coil",
        unit="V",
        bound=Bound("", "without a rectifier in the way; with one, it holds until the current is back at zero, and the peak stays"),
        source="derived here; standard step response of a series resonant circuit, from memory",
        example={"v_in": 6.0, "rate_lifted": 2e3, "omega_lifted": 1.4e4, "t": 1e-4},
    )


@cache
def damped_peak() -> Derivation:
    """How high the capacitor goes: 1 + exp(-pi zeta/sqrt(1 - zeta^2)) times the source voltage; twice it without resistance."""
    return Derivation(
        "damped_peak", "How high a capacitor goes that fills through a coil",
        (
            Step("Call the rate of fading this.", "rate_lifted = r_loop/(2*inductance)", definition()),
            Step("And the angle per second this.", "omega_lifted = sqrt(1/(inductance*capacitance) - rate_lifted**2)", definition()),
            Step("Take the voltage of the capacitor.", _FILLS, earlier(capacitor_filling())),
            Step("It is highest after half a turn.", "t = pi/omega_lifted", extremum("t", "maximum")),
            Step("Count it in source voltages.", "peak_lifted = v_lifted/v_in", definition()),
            Step("Put in voltage and time.", "peak_lifted = 1 + exp(-(pi*rate_lifted/omega_lifted))", substituting(), uses=(5, 3, 4)),
            Step("Measure the fading by the swing without resistance: call it the damping.",
                 "damping_lc = r_loop/2*sqrt(capacitance/inductance)", definition()),
            Step("So the resistance is this.", "r_loop = 2*damping_lc*sqrt(inductance/capacitance)", solving("r_loop")),
            Step("Put all in. Without damping the capacitor goes to twice the source voltage.",
                 "peak_lifted = 1 + exp(-(pi*damping_lc/sqrt(1 - damping_lc**2)))", substituting(), uses=(6, 2, 1, 8)),
        ),
        meaning="highest voltage of an empty capacitor that is switched to a source through a coil, over the source voltage",
        unit="",
        bound=Bound("", "errs high where a rectifier takes its forward voltage; for a capacitor that is empty at first"),
        source="derived here; standard step response of a series resonant circuit, from memory",
        example={"damping_lc": 0.2},
    )
