"""The landmarks of the averaged converter in continuous conduction: slow gains, resonance and quality, the right-half-plane zero.

Ideal parts and a resistance as load. `small_signal` puts them together.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    law,
    letter,
    simplifying,
    size_of_wave,
    solving,
    substituting,
)
from boostkit.derivations.bounds import CONTINUOUS
from boostkit.derivations.ripple_esr import esr_corner
from boostkit.derivations.swings import (
    LOAD_STILL,
    SOURCE_STEP,
    linearised_current,
    linearised_voltage,
    operating_current,
)
from boostkit.derivations.switching import ideal_gain

gain_control = letter("gain_control", "G_{d0}", "V", "change of the output for a lasting change of the duty", (10.0, 500.0),
                      open_low=True, defined_as="v_out/duty_off")
gain_source = letter("gain_source", r"G_{\mathrm{src}0}", "", "change of the output for a lasting change of the source", (1.1, 6.0),
                     open_low=True, defined_as="1/duty_off")
f_resonance = letter("f_resonance", r"f_{\mathrm{res}}", "Hz", "frequency of the resonance of coil and output capacitor", (50.0, 2e4),
                     open_low=True, defined_as="duty_off/(2*pi*sqrt(inductance*capacitance))")
q_output = letter("q_output", "Q", "", "quality of the resonance of coil and output capacitor", (0.6, 30.0), open_low=True,
                  defined_as="duty_off*r_load*sqrt(capacitance/inductance)")
f_zero = letter("f_zero", "f_z", "Hz", "frequency of the right-half-plane zero", (1e3, 1e5), open_low=True,
                defined_as="duty_off**2*r_load/(2*pi*inductance)")
impedance_coil = letter("impedance_coil", r"Z_L", "Ω", "impedance of the coil, seen from the output", (0.01, 100.0))
z_coil = letter("z_coil", "z_L", "Ω", "size of the impedance of the coil, seen from the output", (0.01, 100.0))
impedance_capacitor = letter("impedance_capacitor", "Z_C", "Ω", "impedance of the output capacitor", (0.01, 100.0))
z_capacitor = letter("z_capacitor", "z_C", "Ω", "size of the impedance of the output capacitor", (0.01, 100.0))
z_resonance = letter("z_resonance", r"Z_{\mathrm{res}}", "Ω", "impedance of coil and capacitor, each, at their resonance", (0.05, 20.0),
                     open_low=True)
factor_esr = letter("factor_esr", r"F_{\mathrm{ESR}}", "", "impedance of a capacitor with series resistance over that of its capacitance",
                    (1.0, 10.0), low=-1e9)
size_esr = letter("size_esr", r"k_{\mathrm{ESR}}", "", "by how much series resistance makes a capacitor's impedance larger", (1.0, 10.0))

BOOK = "derived here; same form in Erickson & Maksimovic, 3rd ed., ch. 8, table 8.2 (as quoted, the page not seen)"
SLOW = "for the gain of slow changes: so slow that the steady state keeps up"
VALID = (CONTINUOUS,)
LEAVES_OUT = Bound("", "leaves out every loss and the sampling by the switch: resistances damp the resonance and lower the zero, "
                   "the forward voltage of the rectifier raises the zero by V_F/V_out")
USUAL = {"v_out": 30.0, "duty": 0.6, "inductance": 120e-6, "capacitance": 48e-6, "r_load": 50.0}
PLANT = {name: USUAL[name] for name in ("duty", "inductance", "capacitance", "r_load")}


@cache
def control_gain() -> Derivation:
    """A lasting change of duty: V_out/D', the slope of the ideal gain."""
    return Derivation(
        "control_gain", "What a lasting change of the duty does",
        (
            Step("Take the ideal gain.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("Solve for the output.", "v_out = v_in/duty_off", solving("v_out")),
            Step("Call the share in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("The output in the duty alone.", "v_out = v_in/(1 - duty)", substituting(), uses=(2, 3)),
            Step("Ask for its slope over the duty.", "gain_control = derivative(v_in/(1 - duty), duty)",
                 assumption(SLOW)),
            Step("Carry it out.", "gain_control = v_in/(1 - duty)**2", differentiating()),
            Step("Read it in output and open share: the steeper, the higher the gain already is.", "gain_control = v_out/duty_off",
                 substituting(), uses=(6, 4, 3)),
        ),
        meaning="change of the output voltage for each unit of duty, slow changes",
        unit="V", valid=VALID, bound=Bound("", "errs high: losses bend the gain down, and beyond its peak its slope turns negative"),
        source=BOOK, example={"v_out": 30.0, "duty": 0.6},
    )


@cache
def source_gain() -> Derivation:
    """A lasting change of the source: 1/D', the gain itself."""
    return Derivation(
        "source_gain", "What a lasting change of the source does",
        (
            Step("Take the ideal gain.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("Solve for the output.", "v_out = v_in/duty_off", solving("v_out")),
            Step("Ask for its slope over the source.", "gain_source = derivative(v_in/duty_off, v_in)",
                 assumption(SLOW)),
            Step("Carry it out: the gain itself.", "gain_source = 1/duty_off", differentiating()),
        ),
        meaning="change of the output voltage for each volt of the source, slow changes, duty constant",
        unit="", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"duty": 0.6},
    )


@cache
def coil_from_output() -> Derivation:
    """The coil as the output sees it: an inductance L/D'^2, as D' stands between them twice."""
    return Derivation(
        "coil_from_output", "The coil, seen from the output",
        (
            Step("Take the coil in small swings.", "inductance*s*i_inductor_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
                 earlier(linearised_current())),
            SOURCE_STEP,
            Step("The duty does not move.", "duty_swing = 0", assumption("for the coil as the output sees it: duty constant")),
            Step("Only the output moves the coil current, and of its voltage the coil feels the share D'.",
                 "inductance*s*i_inductor_swing = -duty_off*v_out_swing", substituting(), uses=(1, 2, 3)),
            Step("Solve for the coil current.", "i_inductor_swing = -duty_off*v_out_swing/(inductance*s)", solving("i_inductor_swing")),
            Step("Of this current the output gets the share D' again. Impedance is voltage over the current that flows in.",
                 "impedance_coil = v_out_swing/(-duty_off*i_inductor_swing)", definition()),
            Step("Put it in.",
                 "impedance_coil = v_out_swing/(duty_off*(duty_off*v_out_swing/(inductance*s)))", substituting(), uses=(6, 5)),
            Step("Seen from the output it is an inductance larger by 1/D' squared.", "impedance_coil = s*inductance/duty_off**2",
                 simplifying()),
        ),
        meaning="impedance of the coil as the output sees it, for a swing e^(st)",
        unit="Ω", valid=VALID, bound=LEAVES_OUT, source=BOOK, example={"s": 1e3, "inductance": 120e-6, "duty": 0.6},
    )


@cache
def resonance() -> Derivation:
    """Where coil, seen from the output, and capacitor have the same impedance: D'/(2 pi sqrt(L C))."""
    return Derivation(
        "resonance", "The resonance of coil and output capacitor",
        (
            Step("Call the frequency at which both have the same impedance the resonance.", "f = f_resonance", definition()),
            Step("Take the coil, seen from the output.", "impedance_coil = s*inductance/duty_off**2", earlier(coil_from_output())),
            Step("For a wave it has this size.", "z_coil = 2*pi*f*inductance/duty_off**2", size_of_wave()),
            Step("A capacitor takes this current in a swing e^(st); its slope is s times the swing.",
                 "i_capacitor_swing = capacitance*(s*v_out_swing)",
                 law("capacitor law", current="i_capacitor_swing", capacitance="capacitance", slope="s*v_out_swing")),
            Step("Impedance is voltage over current.", "impedance_capacitor = v_out_swing/i_capacitor_swing", definition()),
            Step("Put it in.", "impedance_capacitor = 1/(s*capacitance)", substituting(), uses=(5, 4)),
            Step("For a wave it has this size.", "z_capacitor = 1/(2*pi*f*capacitance)", size_of_wave()),
            Step("At resonance they are alike, and their currents, which are opposite, cancel.", "z_coil = z_capacitor",
                 assumption("for the resonance: coil and capacitor alike")),
            Step("Put both in.", "2*pi*f_resonance*inductance/duty_off**2 = 1/(2*pi*f_resonance*capacitance)",
                 substituting(), uses=(8, 3, 7, 1)),
            Step("Solve for the frequency. It moves with the duty: a higher gain makes a slower converter.",
                 "f_resonance = duty_off/(2*pi*sqrt(inductance*capacitance))", solving("f_resonance")),
        ),
        meaning="frequency at which coil and output capacitor swing by themselves",
        unit="Hz", valid=VALID, bound=LEAVES_OUT, source=BOOK,
        example={"duty": 0.6, "inductance": 120e-6, "capacitance": 48e-6},
    )


@cache
def impedance_at_resonance() -> Derivation:
    """The impedance that coil and capacitor both have at their resonance: sqrt(L/C)/D'."""
    return Derivation(
        "impedance_at_resonance", "Their impedance at resonance",
        (
            Step("Take the frequency of the resonance.",
                 "f_resonance = duty_off/(2*pi*sqrt(inductance*capacitance))", earlier(resonance())),
            Step("The capacitor has this impedance there, and the coil the same.",
                 "z_resonance = 1/(2*pi*f_resonance*capacitance)", definition()),
            Step("Put the frequency in.", "z_resonance = sqrt(inductance/capacitance)/duty_off", substituting(), uses=(2, 1)),
        ),
        meaning="impedance of the capacitor, and of the coil seen from the output, at resonance",
        unit="Ω", valid=VALID, bound=LEAVES_OUT, source="derived here",
        example={"duty": 0.6, "inductance": 120e-6, "capacitance": 48e-6},
    )


@cache
def quality() -> Derivation:
    """How often the load resistance contains the impedance at resonance: D' R sqrt(C/L)."""
    return Derivation(
        "quality", "How little the load damps the resonance",
        (
            Step("The quality of a resonance across a resistance says how often the resistance contains the impedance of coil or "
                 "capacitor there.", "z_resonance = r_load/q_output", definition()),
            Step("Take that impedance.", "z_resonance = sqrt(inductance/capacitance)/duty_off", earlier(impedance_at_resonance())),
            Step("Put it in.", "sqrt(inductance/capacitance)/duty_off = r_load/q_output", substituting(), uses=(1, 2)),
            Step("Solve for the quality. A light load damps little: here the load alone takes energy out.",
                 "q_output = duty_off*r_load*sqrt(capacitance/inductance)", solving("q_output")),
        ),
        meaning="quality of the resonance with the load resistance alone to damp it",
        unit="", valid=VALID, bound=Bound("", "errs high: every resistance in the path damps as well"), source=BOOK, example=PLANT,
    )


@cache
def rhp_zero() -> Derivation:
    """The right-half-plane zero: D'^2 R/(2 pi L). A duty that grows at this rate leaves the output where it is."""
    return Derivation(
        "rhp_zero", "The right-half-plane zero",
        (
            Step("Look for a rate at which the duty can grow, as e^(st), and the output not answer. Call it 2π f_z.",
                 "s = 2*pi*f_zero", definition()),
            Step("Take the coil in small swings.", "inductance*s*i_inductor_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing",
                 earlier(linearised_current())),
            Step("Take the output capacitor in small swings.",
                 "capacitance*s*v_out_swing = duty_off*i_inductor_swing - i_inductor_mean*duty_swing - v_out_swing/r_load - i_draw_swing",
                 earlier(linearised_voltage())),
            SOURCE_STEP,
            Step("Nothing more is drawn.", "i_draw_swing = 0", assumption(LOAD_STILL)),
            Step("The output does not answer.", "v_out_swing = 0", assumption("for the zero: the output stays where it is")),
            Step("Then the coil current grows with the duty.", "inductance*s*i_inductor_swing = v_out*duty_swing",
                 substituting(), uses=(2, 4, 6)),
            Step("So much.", "i_inductor_swing = v_out*duty_swing/(inductance*s)", solving("i_inductor_swing")),
            Step("And what it brings more just makes up for the time that the rectifier loses.",
                 "0 = duty_off*v_out*duty_swing/(inductance*s) - i_inductor_mean*duty_swing", substituting(), uses=(3, 8, 5, 6)),
            Step("Solve for the rate. It is real and positive, a growth: hence the name, after the right half of the plane of s.",
                 "s = duty_off*v_out/(inductance*i_inductor_mean)", solving("s")),
            *operating_current(),
            Step("Put in the coil current of the operating point.", "2*pi*f_zero = duty_off**2*r_load/inductance",
                 substituting(), uses=(10, 11, 13, 1)),
            Step("Solve for the frequency. It is lowest at full load and lowest source voltage. As the output stays, a load of constant "
                 "current has the same zero, with R its voltage over its current.",
                 "f_zero = duty_off**2*r_load/(2*pi*inductance)", solving("f_zero")),
        ),
        meaning="frequency of the right-half-plane zero from duty to output; what changes faster moves the output the wrong way first",
        unit="Hz", valid=VALID,
        bound=Bound("", "errs low by V_F/V_out, for the coil sees the forward voltage of the rectifier on top of the output: several per "
                    "cent where the output is low; errs high by (r_L + r_sw)/(D'² R), for coil and switch"), source=BOOK,
        example={"duty": 0.6, "r_load": 50.0, "inductance": 120e-6},
    )


esr_zero = esr_corner


@cache
def esr_factor() -> Derivation:
    """By how much series resistance lifts what the capacitor lets stand at a frequency: sqrt(1 + (f/f_ESR)^2)."""
    return Derivation(
        "esr_factor", "What series resistance adds at high frequency",
        (
            Step("A capacitance has the impedance 1/(sC). A resistance in series adds to it; over the capacitance alone:",
                 "factor_esr = (1/(s*capacitance) + r_capacitor)/(1/(s*capacitance))", definition()),
            Step("Gather.", "factor_esr = 1 + s*r_capacitor*capacitance", simplifying()),
            Step("For a wave it has this size.", "size_esr = sqrt(1 + (2*pi*f*r_capacitor*capacitance)**2)", size_of_wave()),
            Step("Take the corner frequency.", "f_corner = 1/(2*pi*r_capacitor*capacitance)", earlier(esr_corner())),
            Step("Read it in the corner frequency: a zero, and on the left, where it helps.", "size_esr = sqrt(1 + (f/f_corner)**2)",
                 substituting(), uses=(3, 4)),
        ),
        meaning="factor by which series resistance enlarges the capacitor's impedance, and with it the output at high frequency",
        unit="", source="derived here", example={"f": 1e4, "f_corner": 2e4},
    )
