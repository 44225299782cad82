"""What the averaged converter does to a wave of a given frequency, in continuous conduction: gains, impedance, their angles and peaks.

Ideal parts and a resistance as load. All of it speaks of means over a period: trust it up to about a third of the switching
frequency (common practice), where such a mean still shows 83 % of a wave (`averaging.averaging_factor`).
"""

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
    extremum,
    letter,
    size_of_wave,
    substituting,
)
from boostkit.derivations.landmarks import (
    BOOK,
    LEAVES_OUT,
    VALID,
    control_gain,
    esr_factor,
    esr_zero,
    quality,
    resonance,
    rhp_zero,
    source_gain,
)
from boostkit.derivations.standard_form import AT_DC, FORM, SWING, control_form, impedance_form, landmark_steps, source_form
from boostkit.derivations.swings import linearised_current, linearised_voltage

__all__ = [  # with what stands above this file and belongs to its topic
    "control_gain",
    "control_peak",
    "control_phase",
    "control_to_output",
    "esr_factor",
    "esr_zero",
    "impedance_peak",
    "impedance_phase",
    "linearised_current",
    "linearised_voltage",
    "output_impedance",
    "quality",
    "resonance",
    "rhp_zero",
    "source_gain",
    "source_peak",
    "source_phase",
    "source_to_output",
    "zero_and_resonance",
]

size_control = letter("size_control", "g_d", "V", "height of the wave at the output for each unit of duty", (0.1, 1e3))
angle_control = letter("angle_control", r"\phi_d", "", "by what angle the output leads the duty, in radians", (-4.7, 0.0), low=-3 * pi)
size_source = letter("size_source", r"g_{\mathrm{src}}", "", "height of the wave at the output for each volt at the source", (0.01, 10.0))
angle_source = letter("angle_source", r"\phi_{\mathrm{src}}", "", "by what angle the output leads the source, in radians", (-3.1, 0.0),
                      low=-2 * pi)
size_impedance = letter("size_impedance", r"z_{\mathrm{out}}", "Ω", "size of the output impedance, no regulator", (0.01, 100.0))
angle_impedance = letter("angle_impedance", r"\phi_Z", "", "by what angle the fall of the output leads the current drawn, in radians",
                         (-1.5, 1.5), low=-pi)
peak_control = letter("peak_control", r"g_{d,\mathrm{res}}", "V", "height of the wave for each unit of duty, at resonance", (10.0, 5e3))
peak_source = letter("peak_source", r"g_{\mathrm{src,res}}", "",
                     "height of the wave for each volt at the source, at resonance",
                     (1.0, 200.0))
peak_impedance = letter("peak_impedance", r"z_{\mathrm{out,res}}", "Ω", "output impedance at resonance", (1.0, 1000.0))

DAMPED = Bound("", "errs high: every resistance in the path damps the resonance as well")
ALONG, ACROSS = "(1 - (f/f_resonance)**2)", "(f/(f_resonance*q_output))"    # the same for a wave: real and imaginary part
QUADRATIC = f"sqrt({ALONG}**2 + {ACROSS}**2)"
TURN = "atan(q_output*(f_resonance/f - f/f_resonance))"                      # a quarter turn, falling to minus one; nothing at resonance


_CONTROL = Step("Take the ratio of output to duty.",
                f"transfer_control = gain_control*(1 - s/(2*pi*f_zero))/({FORM})", earlier(control_form()))
_SOURCE = Step("Take the ratio of output to source.", f"transfer_source = gain_source/({FORM})", earlier(source_form()))
_IMPEDANCE = Step("Take the ratio of the fall to the current drawn.", f"z_output = r_load*s/(2*pi*f_resonance*q_output)/({FORM})",
                  earlier(impedance_form()))


@cache
def control_to_output() -> Derivation:
    """The height of the output wave for each unit of duty at a frequency."""
    return Derivation(
        "control_to_output", "From duty to output: the height of the wave",
        (
            _CONTROL,
            Step("For a wave it has this size. The minus sign of the zero does not show in it.",
                 f"size_control = gain_control*sqrt(1 + (f/f_zero)**2)/{QUADRATIC}", size_of_wave()),
        ),
        meaning="height of the wave at the output over that of the duty, at a frequency",
        unit="V", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"f": 2e3, "gain_control": 75.0, "f_zero": 10.6e3, **SWING},
    )


@cache
def control_phase() -> Derivation:
    """By what angle the output leads the duty: down to -270 degrees, 90 of them the zero's."""
    return Derivation(
        "control_phase", "From duty to output: the angle",
        (
            _CONTROL,
            Step("For a wave it has this angle. The resonance takes two right angles, one of them up to its own frequency. The zero lies "
                 "on the right and takes as much as a pole would.", f"angle_control = {TURN} - pi/2 - atan(f/f_zero)", angle_of_wave()),
        ),
        meaning="angle by which the wave at the output leads that of the duty, in radians, at a frequency",
        unit="", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"f": 2e3, "f_zero": 10.6e3, **SWING},
    )


@cache
def source_to_output() -> Derivation:
    """The height of the output wave for each volt of source at a frequency."""
    return Derivation(
        "source_to_output", "From source to output: the height of the wave",
        (_SOURCE, Step("For a wave it has this size.", f"size_source = gain_source/{QUADRATIC}", size_of_wave())),
        meaning="height of the wave at the output over that at the source, at a frequency, duty constant",
        unit="", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"f": 2e3, "gain_source": 2.5, **SWING},
    )


@cache
def source_phase() -> Derivation:
    """By what angle the output leads the source: down to -180 degrees, no zero."""
    return Derivation(
        "source_phase", "From source to output: the angle",
        (_SOURCE, Step("For a wave it has this angle.", f"angle_source = {TURN} - pi/2", angle_of_wave())),
        meaning="angle by which the wave at the output leads that at the source, in radians, at a frequency, duty constant",
        unit="", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"f": 2e3, **SWING},
    )


@cache
def output_impedance() -> Derivation:
    """The output impedance without a regulator: the coil's at first, the load's own resistance at resonance, then the capacitor's."""
    return Derivation(
        "output_impedance", "The output impedance without a regulator",
        (
            _IMPEDANCE,
            Step("For a wave it has this size.", f"size_impedance = r_load*{ACROSS}/{QUADRATIC}", size_of_wave()),
        ),
        meaning="fall of the output for each ampere drawn beside the load, at a frequency, duty constant; the load's resistance counts in",
        unit="Ω", valid=VALID, bound=AT_DC, source=BOOK, example={"f": 2e3, "r_load": 50.0, **SWING},
    )


@cache
def impedance_phase() -> Derivation:
    """The angle of the output impedance: +90 degrees (a coil) below resonance, -90 (a capacitor) above."""
    return Derivation(
        "impedance_phase", "The output impedance: the angle",
        (
            _IMPEDANCE,
            Step("For a wave it has this angle: a coil's at first, a capacitor's in the end.", f"angle_impedance = {TURN}",
                 angle_of_wave()),
        ),
        meaning="angle by which the fall of the output leads the current drawn, in radians, at a frequency, duty constant",
        unit="", valid=VALID, bound=AT_DC, source=BOOK, example={"f": 2e3, **SWING},
    )


# --- at resonance ---

_AT_RESONANCE = Step("Take a wave of the resonance's frequency.", "f = f_resonance",
                     assumption("for a wave at the frequency of the resonance"))


@cache
def zero_and_resonance() -> Derivation:
    """Without loss the zero lies at quality times resonance: f_z = Q f_res."""
    return Derivation(
        "zero_and_resonance", "Zero and resonance belong together",
        (
            Step("Take the right-half-plane zero.", "f_zero = duty_off**2*r_load/(2*pi*inductance)", earlier(rhp_zero())),
            *landmark_steps(),
            Step("The product of the two is the zero: the load that damps little also puts the zero far away.",
                 "f_zero = q_output*f_resonance", substituting(), uses=(1, 2, 3)),
        ),
        meaning="frequency of the right-half-plane zero from quality and resonance, the load alone damping",
        unit="Hz", valid=VALID, bound=LEAVES_OUT, source="derived here", example=SWING,
    )


@cache
def control_peak() -> Derivation:
    """The height at resonance for each unit of duty: G_d0 sqrt(Q^2 + 1)."""
    return Derivation(
        "control_peak", "From duty to output, at resonance",
        (
            Step("Take the height of the wave.", f"size_control = gain_control*sqrt(1 + (f/f_zero)**2)/{QUADRATIC}",
                 earlier(control_to_output())),
            _AT_RESONANCE,
            Step("Take the zero.", "f_zero = q_output*f_resonance", earlier(zero_and_resonance())),
            Step("Coil and capacitor cancel; the load is left.", "size_control = gain_control*sqrt(q_output**2 + 1)",
                 substituting(), uses=(1, 2, 3)),
            Step("Call it the peak.", "peak_control = size_control", definition()),
            Step("Put it in.", "peak_control = gain_control*sqrt(q_output**2 + 1)", substituting(), uses=(5, 4)),
        ),
        meaning="height of the wave at the output over that of the duty, at resonance, the load alone damping",
        unit="V", valid=VALID, bound=DAMPED, source="derived here", example={"gain_control": 75.0, "q_output": 12.65},
    )


@cache
def source_peak() -> Derivation:
    """The height at resonance for each volt of source: Q/D'."""
    return Derivation(
        "source_peak", "From source to output, at resonance",
        (
            Step("Take the height of the wave.", f"size_source = gain_source/{QUADRATIC}", earlier(source_to_output())),
            _AT_RESONANCE,
            Step("Coil and capacitor cancel; the load is left.", "size_source = gain_source*q_output", substituting(), uses=(1, 2)),
            Step("Call it the peak.", "peak_source = size_source", definition()),
            Step("Put it in.", "peak_source = gain_source*q_output", substituting(), uses=(4, 3)),
        ),
        meaning="height of the wave at the output over that at the source, at resonance, duty constant, the load alone damping",
        unit="", valid=VALID, bound=DAMPED, source="derived here", example={"gain_source": 2.5, "q_output": 12.65},
    )


@cache
def impedance_peak() -> Derivation:
    """The highest output impedance without a regulator: the load resistance itself, at resonance."""
    return Derivation(
        "impedance_peak", "The highest output impedance",
        (
            Step("Take the size of the output impedance.", f"size_impedance = r_load*{ACROSS}/{QUADRATIC}", earlier(output_impedance())),
            Step("It is highest at resonance.", "f = f_resonance", extremum("f", "maximum")),
            Step("Coil and capacitor cancel; the load is left.", "size_impedance = r_load", substituting(), uses=(1, 2)),
            Step("Call it the peak.", "peak_impedance = size_impedance", definition()),
            Step("Put it in.", "peak_impedance = r_load", substituting(), uses=(4, 3)),
        ),
        meaning="highest output impedance without a regulator, the load alone damping",
        unit="Ω", valid=VALID, bound=DAMPED, source="derived here", example={"r_load": 50.0},
    )
