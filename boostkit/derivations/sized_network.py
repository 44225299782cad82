"""Turned round for the designer: the resistors and capacitors that put a compensator's corners where they are wanted."""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, definition, earlier, letter, simplifying, solving, substituting
from boostkit.derivations.amplifiers import (
    op_amp_integrator,
    op_amp_lead_pole,
    op_amp_lead_zero,
    transconductor_integrator,
    transconductor_lead_pole,
)
from boostkit.derivations.compensation_parts import network_pole, network_zero

c_sum = letter("c_sum", r"C_{\mathrm{sum}}", "F", "both capacitors of the network together", (1e-10, 1e-6), open_low=True)

_EXACT = Bound("", "exact for the parts; those that can be bought put the corners a little elsewhere")
_BOOK = "derived here; a network that the trade knows well, common practice, no source"
_BEYOND = Condition("f_first_pole > f_first_zero", "the pole lies above the zero")
_LEADS = Condition("f_lead_pole > f_lead_zero", "the pole of the lead lies above its zero")
_POLE_C = "c_pole = c_sum*f_first_zero/f_first_pole"
_LEAD_ZERO, _LEAD_POLE = "f_lead_zero = 1/(2*pi*(r_top + r_lead)*c_lead)", "f_lead_pole = 1/(2*pi*r_lead*c_lead)"
_BOTH_SUMMED = "c_sum = c_zero + c_pole"


def _sized(name: str, title: str, meaning: str, unit: str, steps: tuple[Step, ...], example: dict[str, float],
           valid: tuple[Condition, ...] = ()) -> Derivation:
    return Derivation(name, title, steps, meaning=meaning, unit=unit, valid=valid, bound=_EXACT, source=_BOOK, example=example)


@cache
def op_amp_capacitance() -> Derivation:
    """Both capacitors together, from the integrator: 1/(2 pi f_i R_top)."""
    return _sized(
        "op_amp_capacitance", "The capacitance for the integrator, operational amplifier", "both capacitors of the network together", "F",
        (
            Step("Take the integrator.", "f_integrator = 1/(2*pi*r_top*(c_zero + c_pole))", earlier(op_amp_integrator())),
            Step("Both capacitors together are this.", _BOTH_SUMMED, definition()),
            Step("Read it in their sum.", "f_integrator = 1/(2*pi*r_top*c_sum)", substituting(), uses=(1, 2)),
            Step("Solve for it.", "c_sum = 1/(2*pi*r_top*f_integrator)", solving("c_sum")),
        ),
        {"r_top": 140e3, "f_integrator": 237.0})


@cache
def transconductor_capacitance() -> Derivation:
    """The same with a transconductance amplifier: g_m H/(2 pi f_i), H the divider's share."""
    whole = transconductor_integrator()
    return _sized(
        "transconductor_capacitance", "The capacitance for the integrator, transconductance amplifier",
        "both capacitors of the network together", "F",
        (
            Step("Take the integrator.", whole.equation.text, earlier(whole)),
            Step("Both capacitors together are this.", _BOTH_SUMMED, definition()),
            Step("Read it in their sum.", "f_integrator = transconductance*(r_bottom/(r_top + r_bottom))/(2*pi*c_sum)", substituting(),
                 uses=(1, 2)),
            Step("Solve for it.", "c_sum = transconductance*(r_bottom/(r_top + r_bottom))/(2*pi*f_integrator)", solving("c_sum")),
        ),
        {"transconductance": 1e-3, "r_top": 140e3, "r_bottom": 10e3, "f_integrator": 2.2e3})


@cache
def pole_capacitor() -> Derivation:
    """The capacitor beside the row: the sum times f_z/f_p."""
    return _sized(
        "pole_capacitor", "The capacitor beside the row", "capacitor of the network that makes the pole", "F",
        (
            Step("Take the zero of the network.", "f_first_zero = 1/(2*pi*r_zero*c_zero)", earlier(network_zero())),
            Step("So the resistor is this.", "r_zero = 1/(2*pi*f_first_zero*c_zero)", solving("r_zero")),
            Step("Take its pole.", "f_first_pole = (c_zero + c_pole)/(2*pi*r_zero*c_zero*c_pole)", earlier(network_pole())),
            Step("Put in the resistor.", "f_first_pole = f_first_zero*(c_zero + c_pole)/c_pole", substituting(), uses=(3, 2)),
            Step("Both capacitors together are this.", _BOTH_SUMMED, definition()),
            Step("Read it in their sum.", "f_first_pole = f_first_zero*c_sum/c_pole", substituting(), uses=(4, 5)),
            Step("Solve for the capacitor.", _POLE_C, solving("c_pole")),
        ),
        {"c_sum": 4.8e-9, "f_first_zero": 720.0, "f_first_pole": 34.6e3}, (_BEYOND,))


@cache
def zero_capacitor() -> Derivation:
    """The capacitor in the row: the rest of the sum."""
    return _sized(
        "zero_capacitor", "The capacitor in the row", "capacitor of the network in a row with the resistor", "F",
        (
            Step("Both capacitors together are this.", _BOTH_SUMMED, definition()),
            Step("So the one in the row is the rest.", "c_zero = c_sum - c_pole", solving("c_zero")),
            Step("Take the one beside it.", _POLE_C, earlier(pole_capacitor())),
            Step("Put it in.", "c_zero = c_sum*(1 - f_first_zero/f_first_pole)", substituting(), uses=(2, 3)),
        ),
        {"c_sum": 4.8e-9, "f_first_zero": 720.0, "f_first_pole": 34.6e3}, (_BEYOND,))


@cache
def zero_resistor() -> Derivation:
    """The resistor in the row: 1/(2 pi f_z C_z)."""
    return _sized(
        "zero_resistor", "The resistor in the row", "resistor of the network", "Ω",
        (
            Step("Take the zero of the network.", "f_first_zero = 1/(2*pi*r_zero*c_zero)", earlier(network_zero())),
            Step("Solve for the resistor.", "r_zero = 1/(2*pi*f_first_zero*c_zero)", solving("r_zero")),
        ),
        {"f_first_zero": 720.0, "c_zero": 4.7e-9})


@cache
def op_amp_lead_capacitor() -> Derivation:
    """The capacitor of the lead: (1/f_z - 1/f_p)/(2 pi R_top)."""
    return _sized(
        "op_amp_lead_capacitor", "The capacitor of the lead, operational amplifier", "capacitor of the lead", "F",
        (
            Step("Take the pole of the lead.", _LEAD_POLE, earlier(op_amp_lead_pole())),
            Step("So its resistor is this.", "r_lead = 1/(2*pi*f_lead_pole*c_lead)", solving("r_lead")),
            Step("Take the zero of the lead.", _LEAD_ZERO, earlier(op_amp_lead_zero())),
            Step("Put in the resistor.", "f_lead_zero = 1/(2*pi*(r_top + 1/(2*pi*f_lead_pole*c_lead))*c_lead)", substituting(),
                 uses=(3, 2)),
            Step("Solve for the capacitor.", "c_lead = (1/f_lead_zero - 1/f_lead_pole)/(2*pi*r_top)", solving("c_lead")),
        ),
        {"r_top": 140e3, "f_lead_zero": 1.1e3, "f_lead_pole": 80e3}, (_LEADS,))


@cache
def op_amp_lead_resistor() -> Derivation:
    """The resistor of the lead: 1/(2 pi f_p C_l)."""
    return _sized(
        "op_amp_lead_resistor", "The resistor of the lead, operational amplifier", "resistor of the lead", "Ω",
        (
            Step("Take the pole of the lead.", _LEAD_POLE, earlier(op_amp_lead_pole())),
            Step("Solve for the resistor.", "r_lead = 1/(2*pi*f_lead_pole*c_lead)", solving("r_lead")),
        ),
        {"f_lead_pole": 80e3, "c_lead": 1e-9})


@cache
def transconductor_lead_capacitor() -> Derivation:
    """The capacitor of the lead with a transconductance amplifier."""
    pole = "f_lead_pole = 1/(2*pi*(r_lead + r_top*r_bottom/(r_top + r_bottom))*c_lead)"
    return _sized(
        "transconductor_lead_capacitor", "The capacitor of the lead, transconductance amplifier", "capacitor of the lead", "F",
        (
            Step("Take the zero of the lead: it is the same with either amplifier.", _LEAD_ZERO, earlier(op_amp_lead_zero())),
            Step("So its resistor is this.", "r_lead = 1/(2*pi*f_lead_zero*c_lead) - r_top", solving("r_lead")),
            Step("Take the pole of the lead.", pole, earlier(transconductor_lead_pole())),
            Step("Put in the resistor.",
                 "f_lead_pole = 1/(2*pi*(1/(2*pi*f_lead_zero*c_lead) - r_top + r_top*r_bottom/(r_top + r_bottom))*c_lead)",
                 substituting(), uses=(3, 2)),
            Step("Solve for the capacitor.", "c_lead = (1/f_lead_zero - 1/f_lead_pole)*(r_top + r_bottom)/(2*pi*r_top**2)",
                 solving("c_lead")),
        ),
        {"r_top": 140e3, "r_bottom": 10e3, "f_lead_zero": 1.1e3, "f_lead_pole": 14e3}, (_LEADS,))


@cache
def transconductor_lead_resistor() -> Derivation:
    """The resistor of the lead with a transconductance amplifier; below zero where the divider allows no such pole."""
    return _sized(
        "transconductor_lead_resistor", "The resistor of the lead, transconductance amplifier", "resistor of the lead; where it comes "
        "out below zero, the divider allows no pole so far above the zero", "Ω",
        (
            Step("Take the zero of the lead.", _LEAD_ZERO, earlier(op_amp_lead_zero())),
            Step("Solve for the resistor.", "r_lead = 1/(2*pi*f_lead_zero*c_lead) - r_top", solving("r_lead")),
            Step("Take its capacitor.", "c_lead = (1/f_lead_zero - 1/f_lead_pole)*(r_top + r_bottom)/(2*pi*r_top**2)",
                 earlier(transconductor_lead_capacitor())),
            Step("Put it in.", "r_lead = r_top**2*f_lead_pole/((r_top + r_bottom)*(f_lead_pole - f_lead_zero)) - r_top", substituting(),
                 uses=(2, 3)),
            Step("With the top resistor taken out it reads like this.",
                 "r_lead = r_top*(r_top*f_lead_pole/((r_top + r_bottom)*(f_lead_pole - f_lead_zero)) - 1)", simplifying()),
        ),
        {"r_top": 140e3, "r_bottom": 10e3, "f_lead_zero": 1.1e3, "f_lead_pole": 14e3}, (_LEADS,))
