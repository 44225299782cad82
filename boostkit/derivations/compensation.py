"""Corners of a compensator: its gain and its angle, where the lead goes, and what a sampled one adds: delay and steps.

The compensator works from the output's error to the control voltage: (2 pi f_i/s) times (1 + s/w_z) for each zero and
1/(1 + s/w_p) for each pole. f_i is where the integrator alone has gain one. Angles are in radians.
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
    differentiating,
    earlier,
    extremum,
    letter,
    simplifying,
    size_of_wave,
    solving,
    substituting,
)
from boostkit.derivations.switching import ideal_gain

f_crossover = letter("f_crossover", "f_c", "Hz", "crossover: frequency at which the loop gain has size one", (1e2, 2e4), open_low=True)
f_integrator = letter("f_integrator", "f_i", "Hz", "frequency at which the compensator's integrator alone has gain one", (10.0, 1e4),
                      open_low=True)
f_first_zero = letter("f_first_zero", r"f_{z1}", "Hz", "first zero of the compensator", (1e2, 5e3), open_low=True)
f_first_pole = letter("f_first_pole", r"f_{p1}", "Hz", "pole of the compensator that belongs to its first zero", (1e4, 1e5), open_low=True)
f_lead_zero = letter("f_lead_zero", r"f_{z2}", "Hz", "zero of the lead", (1e2, 5e3), open_low=True)
f_lead_pole = letter("f_lead_pole", r"f_{p2}", "Hz", "pole of the lead", (1e4, 1e5), open_low=True)
compensator = letter("compensator", "G_c", "", "control voltage over the output's error, for a swing e^(st)", (0.1, 100.0), low=-inf)
compensator_size = letter("compensator_size", r"G_{c,\mathrm{abs}}", "", "size of the compensator's gain", (0.1, 100.0))
compensator_angle = letter("compensator_angle", r"\phi_c", "", "angle of the compensator, in radians", (-1.5, 1.5), low=-inf)
lead = letter("lead", "G_2", "", "gain of a lead over its gain at rest, for a swing e^(st)", (0.5, 10.0), low=-inf)
lead_size = letter("lead_size", r"G_{2,\mathrm{abs}}", "", "size of the lead's gain over its gain at rest", (1.0, 30.0))
lead_angle = letter("lead_angle", r"\phi_{\mathrm{lead}}", "", "angle of the lead, in radians", (0.2, 1.4), high=1.5707963267948966,
                    open_high=True, why="one zero turns a wave by less than a quarter of a turn")
delay = letter("delay", r"t_{\mathrm{delay}}", "s", "time by which an answer comes late", (1e-7, 1e-5))
late = letter("late", r"G_{\mathrm{late}}", "", "what a delay makes of a swing e^(st)", (0.1, 1.0), low=-inf)
late_angle = letter("late_angle", r"\phi_{\mathrm{late}}", "", "angle of a delay, in radians: negative, for the wave comes late",
                    (-3.0, 0.0),
                    low=-inf)
duty_step = letter("duty_step", r"\Delta D", "", "step in which a digital regulator sets the duty", (1e-4, 1e-2))
adc_step = letter("adc_step", r"\Delta v_{\mathrm{adc}}", "V", "step in which a digital regulator reads the output, counted at the output",
                  (1e-3, 0.2))
output_per_duty = letter("output_per_duty", r"V_D", "V", "lasting change of the output for a change of the duty", (10.0, 500.0))

_INTEGRATOR = "2*pi*f_integrator/s"
_FIRST = "(1 + s/(2*pi*f_first_zero))/(1 + s/(2*pi*f_first_pole))"
_LEAD = "(1 + s/(2*pi*f_lead_zero))/(1 + s/(2*pi*f_lead_pole))"
_FIRST_SIZE = "sqrt(1 + (f/f_first_zero)**2)/sqrt(1 + (f/f_first_pole)**2)"
_LEAD_SIZE = "sqrt(1 + (f/f_lead_zero)**2)/sqrt(1 + (f/f_lead_pole)**2)"
_FIRST_ANGLE = "atan(f/f_first_zero) - atan(f/f_first_pole)"
_LEAD_ANGLE = "atan(f/f_lead_zero) - atan(f/f_lead_pole)"
_BOOK = "derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 9.5"
_EXACT = Bound("", "exact for an amplifier that is fast and has much gain")
MIDDLE = "the geometric middle of the lead's zero and pole lies at the crossover"
_CORNERS = {"f_integrator": 200.0, "f_first_zero": 500.0, "f_first_pole": 30e3, "f_lead_zero": 800.0, "f_lead_pole": 30e3}


def _sized(name: str, title: str, words: str, whole: str, size: str, corners: tuple[str, ...]) -> Derivation:
    return Derivation(
        name, title,
        (
            Step(words, f"compensator = {whole}", definition()),
            Step("A wave comes out with this size.", f"compensator_size = {size}", size_of_wave()),
        ),
        meaning="size of the compensator's gain at a frequency",
        unit="", bound=_EXACT, source=_BOOK, example={"f": 2e3, **{corner: _CORNERS[corner] for corner in corners}},
    )  # fmt: skip


def _turned(name: str, title: str, words: str, whole: str, angle: str, corners: tuple[str, ...]) -> Derivation:
    return Derivation(
        name, title,
        (
            Step(words, f"compensator = {whole}", definition()),
            Step("A wave comes out turned by this angle.", f"compensator_angle = {angle}", angle_of_wave()),
        ),
        meaning="angle of the compensator at a frequency, in radians",
        unit="", bound=_EXACT, source=_BOOK, example={"f": 2e3, **{corner: _CORNERS[corner] for corner in corners}},
    )  # fmt: skip


_INTEGRATOR_SAYS = "The simplest compensator adds up the error."
_ONE_SAYS = "A zero ends the integrator's turning back, and a pole far above takes away the ripple."
_TWO_SAYS = "A second zero, with its pole, makes a lead: the wave comes out earlier."
_ONE = ("f_first_zero", "f_first_pole")
_TWO = (*_ONE, "f_lead_zero", "f_lead_pole")


@cache
def integrator_size() -> Derivation:
    """The gain of an integrator: f_i/f."""
    return _sized("integrator_size", "The integrator's gain", _INTEGRATOR_SAYS, _INTEGRATOR, "f_integrator/f", ("f_integrator",))


@cache
def one_zero_size() -> Derivation:
    """The gain of an integrator with one zero and one pole."""
    return _sized("one_zero_size", "One zero: the gain", _ONE_SAYS, f"{_INTEGRATOR}*({_FIRST})", f"f_integrator/f*({_FIRST_SIZE})",
                  ("f_integrator", *_ONE))


@cache
def one_zero_angle() -> Derivation:
    """The angle of an integrator with one zero and one pole."""
    return _turned("one_zero_angle", "One zero: the angle", _ONE_SAYS, f"{_INTEGRATOR}*({_FIRST})", f"-(pi/2) + {_FIRST_ANGLE}", _ONE)


@cache
def two_zero_size() -> Derivation:
    """The gain of an integrator with two zeros and two poles."""
    return _sized("two_zero_size", "Two zeros: the gain", _TWO_SAYS, f"{_INTEGRATOR}*({_FIRST})*({_LEAD})",
                  f"f_integrator/f*({_FIRST_SIZE})*({_LEAD_SIZE})", ("f_integrator", *_TWO))


@cache
def two_zero_angle() -> Derivation:
    """The angle of an integrator with two zeros and two poles."""
    return _turned("two_zero_angle", "Two zeros: the angle", _TWO_SAYS, f"{_INTEGRATOR}*({_FIRST})*({_LEAD})",
                   f"-(pi/2) + {_FIRST_ANGLE} + {_LEAD_ANGLE}", _TWO)


@cache
def lead_zero() -> Derivation:
    """Where the zero of a lead goes for an angle at the crossover: f_c sqrt((1 - sin)/(1 + sin))."""
    return Derivation(
        "lead_zero", "The zero of the lead",
        (
            Step("A lead is a zero with a pole above it.", f"lead = {_LEAD}", definition()),
            Step("It turns a wave ahead by this angle.", f"lead_angle = {_LEAD_ANGLE}", angle_of_wave()),
            Step("The angle is largest at the geometric middle of zero and pole.", "f = sqrt(f_lead_zero*f_lead_pole)",
                 extremum("f", "maximum")),
            Step("Put that middle at the crossover.", "f = f_crossover", assumption(MIDDLE)),
            Step("So zero and pole lie about it.", "f_crossover = sqrt(f_lead_zero*f_lead_pole)", substituting(), uses=(3, 4)),
            Step("The pole belongs to the zero.", "f_lead_pole = f_crossover**2/f_lead_zero", solving("f_lead_pole")),
            Step("Put both in.", "lead_angle = atan(f_crossover/f_lead_zero) - atan(f_lead_zero/f_crossover)", substituting(),
                 uses=(2, 6, 4)),
            Step("The lower the zero, the larger the angle. Each angle has its zero.",
                 "f_lead_zero = f_crossover*sqrt((1 - sin(lead_angle))/(1 + sin(lead_angle)))", solving("f_lead_zero")),
        ),
        meaning="zero of a lead that turns a wave at the crossover ahead by this angle",
        unit="Hz",
        bound=_EXACT,
        source=_BOOK,
        example={"f_crossover": 5e3, "lead_angle": 0.9075712110370514},
    )


@cache
def lead_pole() -> Derivation:
    """Where its pole goes: f_c sqrt((1 + sin)/(1 - sin))."""
    return Derivation(
        "lead_pole", "The pole of the lead",
        (
            Step("Take the zero of the lead.", "f_lead_zero = f_crossover*sqrt((1 - sin(lead_angle))/(1 + sin(lead_angle)))",
                 earlier(lead_zero())),
            Step("The pole lies as far above the crossover as the zero below.", "f_lead_pole = f_crossover**2/f_lead_zero",
                 assumption(MIDDLE)),
            Step("Put it in.", "f_lead_pole = f_crossover*sqrt((1 + sin(lead_angle))/(1 - sin(lead_angle)))", substituting(), uses=(2, 1)),
        ),
        meaning="pole of a lead that turns a wave at the crossover ahead by this angle",
        unit="Hz",
        bound=_EXACT,
        source=_BOOK,
        example={"f_crossover": 5e3, "lead_angle": 0.9075712110370514},
    )


@cache
def lead_gain() -> Derivation:
    """How much more gain a lead has at the crossover than at rest: sqrt(f_p/f_z)."""
    return Derivation(
        "lead_gain", "What a lead adds to the gain",
        (
            Step("A lead is a zero with a pole above it.", f"lead = {_LEAD}", definition()),
            Step("A wave comes out larger by this.", f"lead_size = {_LEAD_SIZE}", size_of_wave()),
            Step("Look at the middle of zero and pole, where the crossover is put.", "f = sqrt(f_lead_zero*f_lead_pole)",
                 assumption(MIDDLE)),
            Step("Put it in.", "lead_size = sqrt(1 + f_lead_pole/f_lead_zero)/sqrt(1 + f_lead_zero/f_lead_pole)", substituting(),
                 uses=(2, 3)),
            Step("The angle is paid for in gain: so much less is left at rest.", "lead_size = sqrt(f_lead_pole/f_lead_zero)",
                 simplifying()),
        ),
        meaning="gain of a lead at the middle of its zero and its pole, over its gain at rest",
        unit="",
        bound=_EXACT,
        source=_BOOK,
        example={"f_lead_zero": 1722.0, "f_lead_pole": 14521.0},
    )


@cache
def delay_phase() -> Derivation:
    """The angle that a delay takes: -2 pi f t."""
    return Derivation(
        "delay_phase", "A delay turns a wave back",
        (
            Step("What comes late by a time is the same swing e^(st), smaller by what it grows in that time.", "late = exp(-(s*delay))",
                 definition()),
            Step("A wave keeps its size and is turned back, the more the higher its frequency.", "late_angle = -(2*pi*f*delay)",
                 angle_of_wave()),
        ),
        meaning="angle by which a delay turns a wave, in radians",
        unit="",
        bound=Bound("0*delay", "exact"),
        source="derived here",
        example={"f": 5e3, "delay": 1e-5},
    )


@cache
def resolution() -> Derivation:
    """The coarsest step of the duty that leaves no limit cycle: the reading step times D'^2 over V_in."""
    return Derivation(
        "resolution", "Steps of the duty finer than steps of the reading",
        (
            Step("Take the gain of the converter.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("So the output is this.", "v_out = v_in/duty_off", solving("v_out")),
            Step("The switch is open for the rest of the period.", "duty_off = 1 - duty", definition()),
            Step("Read it in the duty.", "v_out = v_in/(1 - duty)", substituting(), uses=(2, 3)),
            Step("A small change of the duty makes this change of the output.", "output_per_duty = derivative(v_in/(1 - duty), duty)",
                 definition()),
            Step("Work it out.", "output_per_duty = v_in/(1 - duty)**2", differentiating()),
            Step("One step of the duty may move the output by one step of the reading at most. Else no duty puts the output into the "
                 "wanted step, and the regulator hunts between two.", "output_per_duty*duty_step = adc_step",
                 assumption("one step of the duty moves the output by exactly one step of the reading")),
            Step("Put it in.", "v_in/(1 - duty)**2*duty_step = adc_step", substituting(), uses=(7, 6)),
            Step("Solve for the step.", "duty_step = adc_step*(1 - duty)**2/v_in", solving("duty_step")),
        ),
        meaning="coarsest step of the duty with which one step moves the output by no more than one step of the reading",
        unit="",
        valid=(Condition("duty < 1", "the switch opens"),),
        bound=Bound("", "needed, not enough: an integrator in the regulator is needed too, and a loop that is stable without steps"),
        source="derived here; the condition as in Peterchev & Sanders, IEEE Trans. Power Electronics 18(1), 2003, from memory",
        example={"adc_step": 0.02, "duty": 0.68, "v_in": 6.0},
    )
