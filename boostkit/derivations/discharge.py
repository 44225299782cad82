"""A charged capacitor: what it does to a coil, and how it empties through a resistor.

Safety: an output capacitor stays charged after the source is gone. Discharge it through a resistor made for it, wait the
time that is reckoned here, and measure before you touch; local codes and licensed practice come first.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    earlier,
    law,
    letter,
    reaching,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations.kick import COIL_LAW, NO_RESISTANCE

v_charged = letter("v_charged", "V_0", "V", "voltage to which a capacitor has been charged", (70.0, 400.0))
i_exchange = letter("i_exchange", r"I_{\mathrm{exchange}}", "A", "highest current when a capacitor empties into a coil",
                    (1.0, 200.0))
t_exchange = letter("t_exchange", r"t_{\mathrm{exchange}}", "s", "time until that current is back at zero", (1e-6, 1e-3))
r_bleed = letter("r_bleed", r"R_{\mathrm{bleed}}", "Ω", "resistor through which a capacitor empties", (10.0, 1e5), open_low=True)
v_left = letter("v_left", "v_C", "V", "voltage that is left across a capacitor at an instant", (1.0, 400.0), low=-inf)
i_bleed = letter("i_bleed", r"i_{\mathrm{bleed}}", "A", "current out of the capacitor at an instant", (0.01, 10.0), low=-inf)
slope_left = letter("slope_left", r"\mathrm{d}v_C/\mathrm{d}t", "V/s", "slope of that voltage", (-1e6, 1e6), low=-inf)
v_safe = letter("v_safe", r"V_{\mathrm{safe}}", "V", "voltage below which a capacitor may be touched", (40.0, 60.0),
                open_low=True)
t_safe = letter("t_safe", r"t_{\mathrm{safe}}", "s", "time until a capacitor has fallen to that voltage", (1e-5, 10.0))
energy_charged = letter("energy_charged", "E_C", "J", "energy in a charged capacitor", (1e-4, 10.0))

_EMPTIES = Bound("0*r_bleed", "exact for one capacitance and one resistor; a real capacitor can regain some voltage afterwards")

ABOVE_SAFE = Condition("v_charged > v_safe", "it starts above the voltage that may be touched")


@cache
def charged_energy() -> Derivation:
    """What a charged capacitor holds, and a resistor turns into heat: C V^2/2."""
    return Derivation(
        "charged_energy", "The energy in a charged capacitor",
        (
            Step("The field between the plates holds this energy.", "energy_charged = capacitance*v_charged**2/2",
                 law("energy stored in an electric field", energy="energy_charged", capacitance="capacitance",
                     voltage="v_charged")),
        ),
        meaning="energy in a charged capacitor",
        unit="J",
        bound=_EMPTIES,
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.4 (read in a copied-out text), fits it",
        example={"capacitance": 100e-6, "v_charged": 100.0},
    )


@cache
def exchange() -> Derivation:
    """A capacitor empties into a coil: the current is V sqrt(C/L) sin(t/sqrt(L C))."""
    return Derivation(
        "exchange", "A charged capacitor is connected to a coil",
        (
            Step("Coil, capacitor and resistance form a loop; the capacitor drives it.", "v_left = v_coil + v_loop",
                 law("Kirchhoff voltage law", rises="v_left", drops="v_coil + v_loop")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "v_left = inductance*slope_coil", substituting(), uses=(1, 2, 3)),
            Step("The coil current leaves the capacitor, whose voltage falls.", "-i_inductor = capacitance*slope_left",
                 law("capacitor law", current="-i_inductor", capacitance="capacitance", slope="slope_left")),
            Step("No current flows at first, and the capacitor is full. The current swings up and back.",
                 "i_inductor = v_charged*sqrt(capacitance/inductance)*sin(t/sqrt(inductance*capacitance))",
                 solving_in_time(i_inductor=("slope_coil", "0"), v_left=("slope_left", "v_charged")), uses=(4, 5)),
        ),
        meaning="coil current a time t after a charged capacitor has been connected to the coil",
        unit="A",
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.6 (read in a copied-out text), fits it",
        example={"v_charged": 220.0, "capacitance": 20e-6, "inductance": 80e-6, "t": 10e-6},
    )


@cache
def exchange_peak() -> Derivation:
    """The highest current: V sqrt(C/L)."""
    return Derivation(
        "exchange_peak", "All the energy has changed places",
        (
            Step("Take the energy in the capacitor.", "energy_charged = capacitance*v_charged**2/2", earlier(charged_energy())),
            Step("At the highest current it is all in the field of the coil.", "energy_held = inductance*i_exchange**2/2",
                 law("energy stored in a magnetic field", energy="energy_held", inductance="inductance", current="i_exchange")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("Then nothing is lost on the way.", "energy_charged = energy_held",
                 law("energy conservation", comes="energy_charged", goes="energy_held")),
            Step("Put in both.", "capacitance*v_charged**2/2 = inductance*i_exchange**2/2", substituting(), uses=(4, 1, 2)),
            Step("Solve for the current.", "i_exchange = v_charged*sqrt(capacitance/inductance)", solving("i_exchange")),
        ),
        meaning="highest current when a charged capacitor empties into a coil",
        unit="A",
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.6 (read in a copied-out text), fits it",
        example={"v_charged": 220.0, "capacitance": 20e-6, "inductance": 80e-6},
    )


@cache
def exchange_time() -> Derivation:
    """When the current is back at zero, the voltage reversed: pi sqrt(L C)."""
    return Derivation(
        "exchange_time", "Half a swing",
        (
            Step("Take the current.",
                 "i_inductor = v_charged*sqrt(capacitance/inductance)*sin(t/sqrt(inductance*capacitance))", earlier(exchange())),
            Step("After half a turn it is back at zero; the capacitor is charged the other way round.",
                 "t_exchange = pi*sqrt(inductance*capacitance)", reaching("0")),
        ),
        meaning="time until the current of such an exchange is back at zero",
        unit="s",
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.6 (read in a copied-out text), fits it",
        example={"inductance": 80e-6, "capacitance": 20e-6},
    )


@cache
def capacitor_discharge() -> Derivation:
    """A capacitor empties through a resistor: V_0 exp(-t/(R C))."""
    return Derivation(
        "capacitor_discharge", "A capacitor empties through a resistor",
        (
            Step("The capacitor drives its current through the resistor.", "v_left = r_bleed*i_bleed",
                 law("Ohm's law", voltage="v_left", resistance="r_bleed", current="i_bleed")),
            Step("So the current is this.", "i_bleed = v_left/r_bleed", solving("i_bleed")),
            Step("The current leaves the capacitor and sets how fast its voltage falls.", "-i_bleed = capacitance*slope_left",
                 law("capacitor law", current="-i_bleed", capacitance="capacitance", slope="slope_left")),
            Step("Put in the current.", "-v_left/r_bleed = capacitance*slope_left", substituting(), uses=(3, 2)),
            Step("The less is left, the slower it goes.", "slope_left = -(v_left/(r_bleed*capacitance))", solving("slope_left")),
            Step("It starts where it was charged to. It never quite reaches zero.",
                 "v_left = v_charged*exp(-(t/(r_bleed*capacitance)))", solving_in_time(v_left=("slope_left", "v_charged"))),
        ),
        meaning="voltage across a capacitor a time t after it began to empty through a resistor",
        unit="V",
        bound=_EMPTIES,
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.4 (read in a copied-out text), fits it",
        example={"v_charged": 100.0, "r_bleed": 10e3, "capacitance": 100e-6, "t": 0.5},
    )


@cache
def safe_time() -> Derivation:
    """How long to wait until a capacitor has fallen to a voltage that may be touched: R C ln(V_0/V_safe)."""
    return Derivation(
        "safe_time", "The output capacitor stays charged: how long to wait",
        (
            Step("Take the voltage that is left.", "v_left = v_charged*exp(-(t/(r_bleed*capacitance)))",
                 earlier(capacitor_discharge())),
            Step("It has fallen far enough when it has come to the voltage that may be touched. Then measure, all the same.",
                 "t_safe = r_bleed*capacitance*log(v_charged/v_safe)", reaching("v_safe")),
        ),
        meaning="time for a capacitor to fall to a voltage that may be touched, through its discharge resistor; without a "
                "resistor there is no telling",
        unit="s",
        valid=(ABOVE_SAFE,),
        bound=_EMPTIES,
        source="derived here; 60 V is the limit for ripple-free DC in dry places, IEC 60364-4-41 and IEC 61140",
        example={"r_bleed": 10e3, "capacitance": 100e-6, "v_charged": 100.0, "v_safe": 60.0},
    )
