"""The three ratios of small swings in the form that the trade writes them in: by gain, zero, resonance and quality."""

from functools import cache

from boostkit.algebra import Bound, Derivation, Step, earlier, substituting
from boostkit.derivations.landmarks import BOOK, LEAVES_OUT, VALID, control_gain, quality, resonance, rhp_zero, source_gain
from boostkit.derivations.swings import LINE, control_transfer, impedance_transfer, source_transfer

AT_DC = Bound("", "errs low for slow waves: what is left there is the resistance in the path, which it leaves out")
SWING = {"f_resonance": 839.0, "q_output": 12.65}
FORM = "1 + s/(2*pi*f_resonance*q_output) + (s/(2*pi*f_resonance))**2"      # what every ratio is divided by


def landmark_steps() -> tuple[Step, ...]:
    """Resonance and quality, two steps."""
    return (
        Step("Take the resonance.", "f_resonance = duty_off/(2*pi*sqrt(inductance*capacitance))", earlier(resonance())),
        Step("Take its quality.", "q_output = duty_off*r_load*sqrt(capacitance/inductance)", earlier(quality())),
    )


@cache
def control_form() -> Derivation:
    """From duty to output, in slow gain, zero, resonance and quality."""
    return Derivation(
        "control_form", "From duty to output, in its landmarks",
        (
            Step("Take the ratio of output to duty.",
                 f"transfer_control = v_out/duty_off*(1 - s*inductance/(duty_off**2*r_load))/({LINE})", earlier(control_transfer())),
            *landmark_steps(),
            Step("Take the gain for slow changes.", "gain_control = v_out/duty_off", earlier(control_gain())),
            Step("Take the right-half-plane zero.", "f_zero = duty_off**2*r_load/(2*pi*inductance)", earlier(rhp_zero())),
            Step("Read the ratio in these.", f"transfer_control = gain_control*(1 - s/(2*pi*f_zero))/({FORM})",
                 substituting(), uses=(1, 2, 3, 4, 5)),
        ),
        meaning="swing of the output voltage over the swing of the duty that causes it, both going as e^(st)",
        unit="V", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"s": 1e3, "gain_control": 75.0, "f_zero": 10.6e3, **SWING},
    )


@cache
def source_form() -> Derivation:
    """From source to output, in slow gain, resonance and quality."""
    return Derivation(
        "source_form", "From source to output, in its landmarks",
        (
            Step("Take the ratio of output to source.", f"transfer_source = 1/duty_off/({LINE})", earlier(source_transfer())),
            *landmark_steps(),
            Step("Take the gain for slow changes.", "gain_source = 1/duty_off", earlier(source_gain())),
            Step("Read the ratio in these. There is no zero.",
                 f"transfer_source = gain_source/({FORM})", substituting(), uses=(1, 2, 3, 4)),
        ),
        meaning="swing of the output voltage over the swing of the source voltage that causes it, both going as e^(st)",
        unit="", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"s": 1e3, "gain_source": 2.5, **SWING},
    )


@cache
def impedance_form() -> Derivation:
    """The output impedance, in load, resonance and quality."""
    return Derivation(
        "impedance_form", "The output impedance, in its landmarks",
        (
            Step("Take the ratio of the fall to the current drawn.", f"z_output = s*inductance/duty_off**2/({LINE})",
                 earlier(impedance_transfer())),
            *landmark_steps(),
            Step("Read the ratio in these.", f"z_output = r_load*s/(2*pi*f_resonance*q_output)/({FORM})", substituting(), uses=(1, 2, 3)),
        ),
        meaning="fall of the output voltage over the current drawn that causes it, both going as e^(st), no regulator",
        unit="Ω", valid=VALID, bound=AT_DC, source=BOOK, example={"s": 1e3, "r_load": 50.0, **SWING},
    )
