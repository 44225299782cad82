"""Operational and transconductance amplifier as compensators: from the output's error to the control voltage, in their parts.

An operational amplifier has the network of `compensation_parts` between its output and its inverting input, a transconductance
amplifier between its output and ground. A lead is `r_lead` and `c_lead` in a row, beside the divider's top resistor; without one,
leave its zero and its pole out. The divider's bottom resistor does not count with an operational amplifier: its voltage stays.
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
    law,
    letter,
    limit,
    solving,
    substituting,
)
from boostkit.derivations.compensation_parts import SWINGS, network_in_corners

r_lead = letter("r_lead", r"R_{l}", "Ω", "lead: resistor in a row with a capacitor, beside the top resistor", (100.0, 1e4))
c_lead = letter("c_lead", r"C_{l}", "F", "lead: capacitor in a row with the resistor", (1e-11, 1e-8), open_low=True)
transconductance = letter("transconductance", r"g_m", "A/V", "current of the amplifier for each volt between its inputs", (1e-5, 5e-3),
                          open_low=True)
y_top = letter("y_top", r"Y_{\mathrm{top}}", "A/V", "current through top resistor and lead together for each volt across them, e^(st)",
               (1e-6, 1e-3), low=-inf)
v_error = letter("v_error", "e", "V", "error of the output: set voltage less output voltage, e^(st)", (0.01, 1.0), low=-inf)
v_input = letter("v_input", "e_n", "V", "what arrives of the error at the amplifier's input, e^(st)", (0.001, 0.1), low=-inf)
i_error = letter("i_error", "i_e", "A", "current that the error drives towards the amplifier's input, e^(st)", (1e-7, 1e-4), low=-inf)
v_lead = letter("v_lead", r"v_{Cl}", "V", "voltage across the capacitor of the lead, e^(st)", (0.01, 1.0), low=-inf)
v_lead_row = letter("v_lead_row", r"v_{Rl}", "V", "voltage across the resistor of the lead, e^(st)", (0.01, 1.0), low=-inf)
input_share = letter("input_share", r"k_{\mathrm{in}}", "", "what arrives of the error at the amplifier's input, as a share, e^(st)",
                     (0.01, 1.0),
                     low=-inf)
slope_lead = letter("slope_lead", r"s_{Cl}", "V/s", "slope of that voltage", (1.0, 1e5), low=-inf)
i_lead = letter("i_lead", "i_l", "A", "current through the lead, e^(st)", (1e-6, 1e-4), low=-inf)
i_direct = letter("i_direct", "i_t", "A", "current through the top resistor, e^(st)", (1e-6, 1e-4), low=-inf)
rate_rest = letter("rate_rest", r"\omega_i", "1/s", "gain of the compensator times s, at rest: what its integrator does", (60.0, 6e4))
GOOD_AMPLIFIER = "an amplifier with much gain: its two inputs agree, and take no current"
GOOD_SOURCE = "an amplifier without a resistance of its own at its output, and whose input takes no current"
_PARTS = Bound("", "exact for the parts; the amplifier's own gain and bandwidth, and what its output can drive, come on top")
_BOOK = "derived here; a network that the trade knows well, common practice, no source"
_NET = "z_net = (1 + s/(2*pi*f_first_zero))/(s*(c_zero + c_pole)*(1 + s/(2*pi*f_first_pole)))"
_TOP = "(1 + s*(r_top + r_lead)*c_lead)/(r_top*(1 + s*r_lead*c_lead))"
_OP_AMP = ("(1 + s/(2*pi*f_first_zero))/(s*r_top*(c_zero + c_pole)*(1 + s/(2*pi*f_first_pole)))"
           "*(1 + s*(r_top + r_lead)*c_lead)/(1 + s*r_lead*c_lead)")
_SHARE = "r_bottom/(r_top + r_bottom)*(1 + s*(r_top + r_lead)*c_lead)/(1 + s*(r_lead + r_top*r_bottom/(r_top + r_bottom))*c_lead)"


@cache
def top_admittance() -> Derivation:
    """Top resistor and lead together: what current they carry for each volt."""
    return Derivation(
        "top_admittance", "The top resistor with a lead beside it",
        (
            Step("The top resistor carries this.", "v_error = r_top*i_direct",
                 law("Ohm's law", voltage="v_error", resistance="r_top", current="i_direct")),
            Step("So its current is this.", "i_direct = v_error/r_top", solving("i_direct")),
            Step("Beside it lie the resistor and the capacitor of the lead, in a row.", "v_error = v_lead + v_lead_row",
                 law("Kirchhoff voltage law", rises="v_error", drops="v_lead + v_lead_row")),
            Step("A swing that goes with e^(st) charges the capacitor along this slope.", "slope_lead = s*v_lead", assumption(SWINGS)),
            Step("Its current flows through the whole row.", "i_lead = c_lead*slope_lead",
                 law("capacitor law", current="i_lead", capacitance="c_lead", slope="slope_lead")),
            Step("Put in the slope.", "i_lead = c_lead*(s*v_lead)", substituting(), uses=(5, 4)),
            Step("So the capacitor takes this voltage.", "v_lead = i_lead/(s*c_lead)", solving("v_lead")),
            Step("And the resistor this.", "v_lead_row = r_lead*i_lead",
                 law("Ohm's law", voltage="v_lead_row", resistance="r_lead", current="i_lead")),
            Step("Put both in.", "v_error = i_lead/(s*c_lead) + r_lead*i_lead", substituting(), uses=(3, 7, 8)),
            Step("So the lead carries this.", "i_lead = v_error*s*c_lead/(1 + s*r_lead*c_lead)", solving("i_lead")),
            Step("Both currents flow together.", "i_error = i_direct + i_lead",
                 law("Kirchhoff current law", enter="i_error", leave="i_direct + i_lead")),
            Step("Count them for each volt.", "y_top = i_error/v_error", definition()),
            Step("Put all in.", f"y_top = {_TOP}", substituting(), uses=(12, 11, 2, 10)),
        ),
        meaning="current through top resistor and lead for each volt across them, for a swing e^(st)",
        unit="A/V",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, "r_top": 140e3, "r_lead": 2e3, "c_lead": 1e-9},
    )


@cache
def op_amp() -> Derivation:
    """An operational amplifier as compensator: integrator, two zeros, two poles."""
    return Derivation(
        "op_amp", "The operational amplifier",
        (
            Step("The amplifier holds its input at the reference. So all the error lies across top resistor and lead, and the bottom "
                 "resistor carries no more than before.", f"y_top = {_TOP}", earlier(top_admittance())),
            Step("The current that the error drives is this.", "i_error = y_top*v_error", assumption(GOOD_AMPLIFIER)),
            Step("It goes on through the network: the input takes none.", "i_error = i_net",
                 law("Kirchhoff current law", enter="i_error", leave="i_net")),
            Step("There it makes the control voltage move by this much. An output too low lifts it: the sign is turned twice.",
                 "v_net = z_net*i_net", assumption(GOOD_AMPLIFIER)),
            Step("Take the network.", _NET, earlier(network_in_corners())),
            Step("Control voltage over error is the compensator.", "compensator = v_net/v_error", definition()),
            Step("So the current into the network is this.", "i_net = i_error", solving("i_net"), uses=3),
            Step("Put all in.", f"compensator = {_OP_AMP}", substituting(), uses=(6, 4, 5, 7, 2, 1)),
        ),
        meaning="control voltage over the output's error with an operational amplifier, for a swing e^(st)",
        unit="",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, "f_first_zero": 720.0, "f_first_pole": 34.6e3, "r_top": 140e3, "c_zero": 4.7e-9, "c_pole": 100e-12,
                 "r_lead": 2e3, "c_lead": 1e-9},
    )


@cache
def op_amp_integrator() -> Derivation:
    """Where the integrator of an operational amplifier has gain one: 1/(2 pi R_top (C_z + C_p))."""
    return Derivation(
        "op_amp_integrator", "The integrator of the operational amplifier",
        (
            Step("Take the compensator.", f"compensator = {_OP_AMP}", earlier(op_amp())),
            Step("What its integrator does shows at rest: there s times the gain stays.", "rate_rest = s*compensator", definition()),
            Step("Put it in.", f"rate_rest = s*({_OP_AMP})", substituting(), uses=(2, 1)),
            Step("Let the swing become slow.", "rate_rest = 1/(r_top*(c_zero + c_pole))", limit("s", "0")),
            Step("As a frequency: a wave has s = jω, so there the integrator alone has gain one.", "f_integrator = rate_rest/(2*pi)",
                 definition()),
            Step("Put it in.", "f_integrator = 1/(2*pi*r_top*(c_zero + c_pole))", substituting(), uses=(5, 4)),
        ),
        meaning="frequency at which the integrator of an operational amplifier alone has gain one, error counted at the output",
        unit="Hz",
        bound=_PARTS,
        source=_BOOK,
        example={"r_top": 140e3, "c_zero": 4.7e-9, "c_pole": 100e-12},
    )


@cache
def op_amp_lead_zero() -> Derivation:
    """The zero of the lead: 1/(2 pi (R_top + R_l) C_l), with either amplifier."""
    return _lead_corner("op_amp_lead_zero", "The zero of the lead", "f_lead_zero", "Above the bar s stands beside C and both resistors.",
                        "1/(2*pi*(r_top + r_lead)*c_lead)", {"r_top": 140e3, "r_lead": 2e3, "c_lead": 1e-9})


@cache
def op_amp_lead_pole() -> Derivation:
    """The pole of the lead with an operational amplifier: 1/(2 pi R_l C_l)."""
    return _lead_corner("op_amp_lead_pole", "The pole of the lead, operational amplifier", "f_lead_pole",
                        "Below the bar s stands beside R C of the lead.", "1/(2*pi*r_lead*c_lead)", {"r_lead": 2e3, "c_lead": 1e-9})


def _lead_corner(name: str, title: str, corner: str, says: str, value: str, example: dict[str, float]) -> Derivation:
    return Derivation(
        name, title,
        (
            Step("Take top resistor and lead.", f"y_top = {_TOP}", earlier(top_admittance())),
            Step(f"{says} The corner is where that has size one.", f"{corner} = {value}", definition()),
        ),
        meaning=f"{title[0].lower()}{title[1:]}, as a frequency",
        unit="Hz", bound=_PARTS, source=_BOOK, example=example,
    )  # fmt: skip


@cache
def divider_share() -> Derivation:
    """What arrives of the error at a transconductance amplifier's input, with a lead beside the top resistor."""
    return Derivation(
        "divider_share", "The divider takes its share of the error",
        (
            Step("Top resistor and lead have what the bottom resistor leaves of the error.", "i_error = y_top*(v_error - v_input)",
                 assumption(GOOD_SOURCE)),
            Step("The bottom resistor carries the same current.", "v_input = r_bottom*i_error",
                 law("Ohm's law", voltage="v_input", resistance="r_bottom", current="i_error")),
            Step("Put it in.", "v_input = r_bottom*(y_top*(v_error - v_input))", substituting(), uses=(2, 1)),
            Step("Solve for what arrives.", "v_input = r_bottom*y_top*v_error/(1 + r_bottom*y_top)", solving("v_input")),
            Step("Count it for each volt of error.", "input_share = v_input/v_error", definition()),
            Step("Take top resistor and lead.", f"y_top = {_TOP}", earlier(top_admittance())),
            Step("Put both in.", f"input_share = {_SHARE}", substituting(), uses=(5, 4, 6)),
        ),
        meaning="what arrives of the output's error at the amplifier's input, for a swing e^(st)",
        unit="",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, "r_top": 140e3, "r_bottom": 10e3, "r_lead": 2e3, "c_lead": 1e-9},
    )


@cache
def transconductor() -> Derivation:
    """A transconductance amplifier as compensator: its current, with the divider's share, into the network."""
    return Derivation(
        "transconductor", "The transconductance amplifier",
        (
            Step("Take what arrives of the error.", f"input_share = {_SHARE}", earlier(divider_share())),
            Step("Each volt at the input drives this current into the network.", "i_net = transconductance*(input_share*v_error)",
                 assumption(GOOD_SOURCE)),
            Step("There it makes the control voltage.", "v_net = z_net*i_net", assumption(GOOD_SOURCE)),
            Step("Take the network.", _NET, earlier(network_in_corners())),
            Step("Control voltage over error is the compensator.", "compensator = v_net/v_error", definition()),
            Step("Put all in.", f"compensator = transconductance*(1 + s/(2*pi*f_first_zero))/(s*(c_zero + c_pole)"
                 f"*(1 + s/(2*pi*f_first_pole)))*{_SHARE}", substituting(), uses=(5, 3, 2, 4, 1)),
        ),
        meaning="control voltage over the output's error with a transconductance amplifier, for a swing e^(st)",
        unit="",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, "transconductance": 1e-3, "f_first_zero": 720.0, "f_first_pole": 34.6e3, "c_zero": 4.7e-9, "c_pole": 100e-12,
                 "r_top": 140e3, "r_bottom": 10e3, "r_lead": 2e3, "c_lead": 1e-9},
    )


@cache
def transconductor_integrator() -> Derivation:
    """Where the integrator of a transconductance amplifier has gain one: g_m H/(2 pi (C_z + C_p)), H the divider's share."""
    whole = transconductor()
    return Derivation(
        "transconductor_integrator", "The integrator of the transconductance amplifier",
        (
            Step("Take the compensator.", whole.equation.text, earlier(whole)),
            Step("What its integrator does shows at rest: there s times the gain stays.", "rate_rest = s*compensator", definition()),
            Step("Put it in.", f"rate_rest = s*({whole.equation.right.text})", substituting(), uses=(2, 1)),
            Step("Let the swing become slow.", "rate_rest = transconductance*(r_bottom/(r_top + r_bottom))/(c_zero + c_pole)",
                 limit("s", "0")),
            Step("As a frequency it is this.", "f_integrator = rate_rest/(2*pi)", definition()),
            Step("Put it in.", "f_integrator = transconductance*(r_bottom/(r_top + r_bottom))/(2*pi*(c_zero + c_pole))", substituting(),
                 uses=(5, 4)),
        ),
        meaning="frequency at which the integrator of a transconductance amplifier alone has gain one, error counted at the output",
        unit="Hz",
        bound=_PARTS,
        source=_BOOK,
        example={"transconductance": 1e-3, "r_top": 140e3, "r_bottom": 10e3, "c_zero": 4.7e-9, "c_pole": 100e-12},
    )


@cache
def transconductor_lead_pole() -> Derivation:
    """The pole of the lead with a transconductance amplifier: the divider limits how far it lies from the zero."""
    return Derivation(
        "transconductor_lead_pole", "The pole of the lead, transconductance amplifier",
        (
            Step("Take what arrives of the error.", f"input_share = {_SHARE}", earlier(divider_share())),
            Step("Below the bar s stands beside C, the lead's resistor and the divider's two side by side. The corner is where that has "
                 "size one.", "f_lead_pole = 1/(2*pi*(r_lead + r_top*r_bottom/(r_top + r_bottom))*c_lead)", definition()),
        ),
        meaning="pole of the lead with a transconductance amplifier",
        unit="Hz",
        bound=_PARTS,
        source=_BOOK,
        example={"r_top": 140e3, "r_bottom": 10e3, "r_lead": 2e3, "c_lead": 1e-9},
    )
