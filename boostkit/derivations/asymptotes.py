"""Reading a response by straight lines: a single pole, and where the angle of a resonance sets in and ends."""

from functools import cache
from math import pi

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    angle_of_wave,
    assumption,
    definition,
    earlier,
    letter,
    linearising,
    size_of_wave,
    solving,
    substituting,
)
from boostkit.derivations.small_signal import TURN, source_phase

f_pole = letter("f_pole", "f_p", "Hz", "corner frequency of a single pole", (100.0, 1e4), open_low=True)
transfer_pole = letter("transfer_pole", "G_p", "", "what a single pole lets through of a swing e^(st)", (0.01, 1.0))
size_pole = letter("size_pole", "g_p", "", "what a single pole leaves of the height of a wave", (0.01, 1.0))
angle_pole = letter("angle_pole", r"\phi_p", "", "by what angle a wave leads behind a single pole, in radians", (-1.5, 0.0), low=-pi / 2)
line_pole = letter("line_pole", r"\phi_{\mathrm{line}}", "", "the straight line in place of that angle, in radians", (-1.5, 0.0), low=-pi)
log_ratio = letter("log_ratio", "x", "", "natural logarithm of frequency over resonance", (-3.0, 3.0), low=-50.0)
f_tangent = letter("f_tangent", r"f_{\mathrm{tan}}", "Hz", "frequency at which the tangent at resonance to the angle sets in", (10.0, 2e4),
                   open_low=True)
f_sets_in = letter("f_sets_in", "f_a", "Hz", "frequency at which the straight line for the angle of a resonance sets in", (10.0, 2e4),
                   open_low=True)
f_ends = letter("f_ends", "f_b", "Hz", "frequency at which the straight line for the angle of a resonance ends", (50.0, 1e5), open_low=True)

POLE = Step("A single pole lets this through.", "transfer_pole = 1/(1 + s/(2*pi*f_pole))", definition())
TENTH = "from a tenth of the corner frequency to ten times it the angle runs straight over the logarithm of frequency (common practice)"
TEN = ("the tangent with ln 10 = 2.30 in place of π/2 = 1.57, so that two poles alike, Q = 1/2, give the tenth and the tenfold of the "
       "rule for a single one (common practice)")
BOOK = "derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 8.1 (from memory)"


@cache
def pole_size() -> Derivation:
    """What a single pole leaves of a wave: 1/sqrt(1 + (f/f_p)^2)."""
    return Derivation(
        "pole_size", "A single pole: the height of the wave",
        (POLE, Step("For a wave it has this size.", "size_pole = 1/sqrt(1 + (f/f_pole)**2)", size_of_wave())),
        meaning="share of the height of a wave that a single pole leaves",
        unit="", source=BOOK, example={"f": 1e3, "f_pole": 1e3},
    )


@cache
def pole_angle() -> Derivation:
    """By what angle a single pole delays a wave: -atan(f/f_p)."""
    return Derivation(
        "pole_angle", "A single pole: the angle",
        (POLE, Step("For a wave it has this angle.", "angle_pole = -atan(f/f_pole)", angle_of_wave())),
        meaning="angle by which a wave leads behind a single pole, in radians: it comes late",
        unit="", source=BOOK, example={"f": 1e3, "f_pole": 1e3},
    )


@cache
def pole_line() -> Derivation:
    """The straight line in place of that angle, over the logarithm of frequency: right at f_p, 5.7 degrees off at its ends."""
    return Derivation(
        "pole_line", "A single pole: the straight line for its angle",
        (
            Step("Draw the angle as a straight line.", "line_pole = -(pi/4*(1 + log(f/f_pole)/log(10)))", assumption(TENTH)),
        ),
        meaning="straight line for the angle of a single pole, in radians, from a tenth of its corner frequency to ten times it",
        unit="", bound=Bound("", "5.7 degrees off at its two ends, right at the corner frequency"), source=BOOK,
        example={"f": 1e3, "f_pole": 1e3},
    )


@cache
def tangent_sets_in() -> Derivation:
    """Where the tangent at resonance to the angle sets in: f_res exp(-pi/(4 Q))."""
    return Derivation(
        "tangent_sets_in", "The tangent to the angle of a resonance",
        (
            Step("Count frequency from the resonance, by its logarithm.", "f = f_resonance*exp(log_ratio)", definition()),
            Step("Take the angle of a resonance.", f"angle_source = {TURN} - pi/2", earlier(source_phase())),
            Step("Put the one into the other.", "angle_source = atan(q_output*(exp(-log_ratio) - exp(log_ratio))) - pi/2",
                 substituting(), uses=(2, 1)),
            Step("Lay the tangent at resonance. It is the steeper, the higher the quality.",
                 "angle_source = -(2*q_output*log_ratio) - pi/2",
                 linearising("log_ratio", "0")),
            Step("Look where it sets in.", "angle_source = 0",
                 assumption("for the straight line: on the tangent, in place of the angle itself")),
            Step("Put it in.", "0 = -(2*q_output*log_ratio) - pi/2", substituting(), uses=(4, 5)),
            Step("Solve.", "log_ratio = -pi/(4*q_output)", solving("log_ratio")),
            Step("Call the frequency there its beginning.", "f_tangent = f", definition()),
            Step("Put all in.", "f_tangent = f_resonance*exp(-(pi/(4*q_output)))", substituting(), uses=(8, 1, 7)),
        ),
        meaning="frequency at which the tangent at resonance to the angle of a resonance sets in",
        unit="Hz", source=BOOK, example={"f_resonance": 400.0, "q_output": 4.0},
    )


@cache
def angle_sets_in() -> Derivation:
    """Where the angle of a resonance is drawn to set in: f_res 10^(-1/(2 Q))."""
    return Derivation(
        "angle_sets_in", "Where the angle of a resonance sets in",
        (
            Step("Take the tangent.", "f_tangent = f_resonance*exp(-(pi/(4*q_output)))", earlier(tangent_sets_in())),
            Step("Draw a line somewhat flatter.", "f_sets_in = f_resonance*exp(-(log(10)/(2*q_output)))", assumption(TEN)),
        ),
        meaning="frequency at which the straight line for the angle of a resonance sets in",
        unit="Hz", bound=Bound("", "a rule for drawing, no formula for the angle"), source=BOOK,
        example={"f_resonance": 400.0, "q_output": 4.0},
    )


@cache
def angle_ends() -> Derivation:
    """Where it is drawn to end: f_res 10^(1/(2 Q))."""
    return Derivation(
        "angle_ends", "Where the angle of a resonance ends",
        (
            Step("Take where the line sets in.", "f_sets_in = f_resonance*exp(-(log(10)/(2*q_output)))", earlier(angle_sets_in())),
            Step("The angle is the same on both sides of the resonance, over the logarithm of frequency.",
                 "f_ends = f_resonance**2/f_sets_in",
                 definition()),
            Step("Put it in.", "f_ends = f_resonance*exp(log(10)/(2*q_output))", substituting(), uses=(2, 1)),
        ),
        meaning="frequency at which the straight line for the angle of a resonance ends",
        unit="Hz", bound=Bound("", "a rule for drawing, no formula for the angle"), source=BOOK,
        example={"f_resonance": 400.0, "q_output": 4.0},
    )
