"""Coil and switch alone: how the current builds up, and what decides the voltage when the switch opens.

A coil adds no voltage of its own. Its current cannot jump, so whatever is connected must carry it, and the voltage which
that takes decides how fast the current falls: di/dt = v/L. `r_loop` is all resistance that the current meets.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    definition,
    earlier,
    law,
    letter,
    limit,
    linearising,
    reaching,
    solving,
    solving_in_time,
    substituting,
)

i_start = letter("i_start", "I", "A", "coil current at the instant at which the switch opens", (0.5, 5.0))
slope_coil = letter("slope_coil", r"\mathrm{d}i_L/\mathrm{d}t", "A/s", "slope of the coil current at an instant",
                    (-1e6, 1e6), low=-inf)
v_coil = letter("v_coil", "v_L", "V", "voltage across the inductance at an instant", (-50.0, 50.0), low=-inf)
r_loop = letter("r_loop", r"R_{\mathrm{loop}}", "Ω", "all resistance that the coil current meets on its way round",
                (0.05, 5.0), ideal=0.0)
v_loop = letter("v_loop", r"v_{R}", "V", "voltage across that resistance", (0.01, 5.0))
i_final = letter("i_final", r"I_{\mathrm{end}}", "A", "current at which the coil settles", (1.0, 100.0))
r_path = letter("r_path", r"R_{\mathrm{path}}", "Ω", "resistance connected as a path for the coil current", (1.0, 200.0))
v_path = letter("v_path", r"v_{\mathrm{path}}", "V", "voltage across the path that the coil current takes", (1.0, 500.0))
t_decay = letter("t_decay", r"t_{\mathrm{decay}}", "s", "time until the coil current has come to zero", (1e-6, 1e-3))
energy_held = letter("energy_held", "E_L", "J", "energy in the field of the coil", (1e-6, 1e-2))

NO_RESISTANCE = "no resistance in the way of the coil current"
EXACT = Bound("0*r_loop", "exact for one inductance and one resistance")
COIL_LAW = law("inductor law", voltage="v_coil", inductance="inductance", slope="slope_coil")
LOOP_LAW = law("Ohm's law", voltage="v_loop", resistance="r_loop", current="i_inductor")


@cache
def charging() -> Derivation:
    """The current after the switch has closed: (V_in/R)(1 - exp(-R t/L))."""
    return Derivation(
        "charging", "The switch closes: the current builds up",
        (
            Step("The source drives a loop of coil and resistance; the closed switch counts as resistance.",
                 "v_in = v_coil + v_loop", law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop")),
            Step("The resistance takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("What is left across the coil sets how fast the current rises.",
                 "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "v_in = inductance*slope_coil + r_loop*i_inductor", substituting(), uses=(1, 3, 2)),
            Step("The more current flows, the slower it grows.",
                 "slope_coil = (v_in - r_loop*i_inductor)/inductance", solving("slope_coil")),
            Step("The coil lets no current jump, so it starts from zero.",
                 "i_inductor = v_in/r_loop*(1 - exp(-(r_loop*t/inductance)))",
                 solving_in_time(i_inductor=("slope_coil", "0"))),
        ),
        meaning="coil current a time t after the switch has closed",
        unit="A",
        bound=EXACT,
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.5 (read in a copied-out text), fits it",
        example={"v_in": 6.0, "r_loop": 0.06, "inductance": 47e-6, "t": 15e-6},
    )


@cache
def charging_end() -> Derivation:
    """Where the current settles if the switch stays closed: V_in/R. Nothing but resistance limits it."""
    return Derivation(
        "charging_end", "The switch stays closed",
        (
            Step("Take the growing current.", "i_inductor = v_in/r_loop*(1 - exp(-(r_loop*t/inductance)))", earlier(charging())),
            Step("Wait long: only the resistance limits the current, and the inductance has no say.",
                 "i_inductor = v_in/r_loop", limit("t", "infinity")),
            Step("Call this the final current.", "i_final = i_inductor", definition()),
            Step("With little resistance it is far more than switch, winding or battery can bear.",
                 "i_final = v_in/r_loop", substituting(), uses=(3, 2)),
        ),
        meaning="current at which a coil settles on a source",
        unit="A",
        bound=EXACT,
        source="derived here",
        example={"v_in": 6.0, "r_loop": 0.06},
    )


@cache
def charging_ramp() -> Derivation:
    """The straight ramp V_in t/L: the tangent of the growing current at its start."""
    return Derivation(
        "charging_ramp", "The start of the rise is straight",
        (
            Step("Take the growing current.", "i_inductor = v_in/r_loop*(1 - exp(-(r_loop*t/inductance)))", earlier(charging())),
            Step("As long as the resistance takes little, the current follows its tangent at the start; the resistance drops "
                 "out.", "i_inductor = v_in*t/inductance", linearising("t", "0")),
        ),
        meaning="coil current a short time t after the switch has closed",
        unit="A",
        # x/(1 - e^-x) = 1 + x/2 + x^2/12 - ...
        bound=Bound("r_loop*t/(2*inductance) + (r_loop*t/inductance)**2/12",
                    "errs high, by what the resistance takes from the source"),
        source="derived here; Rashid, Power Electronics, 4th ed., examples 2.8 and 2.9 (read in a copied-out text), fit it",
        example={"v_in": 6.0, "inductance": 47e-6, "t": 15e-6},
    )


@cache
def stored_energy() -> Derivation:
    """What the field holds: L I^2/2."""
    return Derivation(
        "stored_energy", "The energy in the field when the switch opens",
        (
            Step("The field holds this energy, and it must go somewhere.", "energy_held = inductance*i_start**2/2",
                 law("energy stored in a magnetic field", energy="energy_held", inductance="inductance", current="i_start")),
        ),
        meaning="energy in the field of the coil when the switch opens",
        unit="J",
        bound=EXACT,
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0},
    )


@cache
def decay_through_resistor() -> Derivation:
    """A resistor across the coil takes over the current: I exp(-R t/L), R counting the winding too."""
    return Derivation(
        "decay_through_resistor", "A resistor across the coil takes over",
        (
            Step("The switch opens. Coil and resistance form a loop of their own; no source drives it.",
                 "0 = v_coil + v_loop", law("Kirchhoff voltage law", rises="0", drops="v_coil + v_loop")),
            Step("The current cannot jump. It runs on through the resistance, and that decides the voltage.",
                 "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "0 = inductance*slope_coil + r_loop*i_inductor", substituting(), uses=(1, 3, 2)),
            Step("The slope is negative: the current falls, the slower the less of it is left.",
                 "slope_coil = -(r_loop*i_inductor/inductance)", solving("slope_coil")),
            Step("It starts where it was when the switch opened. It never quite reaches zero.",
                 "i_inductor = i_start*exp(-(r_loop*t/inductance))", solving_in_time(i_inductor=("slope_coil", "i_start"))),
        ),
        meaning="coil current a time t after a resistor has taken it over",
        unit="A",
        bound=EXACT,
        source="derived here",
        example={"i_start": 2.0, "r_loop": 10.0, "inductance": 47e-6, "t": 5e-6},
    )


@cache
def resistor_kick() -> Derivation:
    """The first voltage across a resistor that takes over the current: I R, whatever the source was."""
    return Derivation(
        "resistor_kick", "The voltage is what the path asks for",
        (
            Step("Take the current in the loop of coil and resistor.", "i_inductor = i_start*exp(-(r_loop*t/inductance))",
                 earlier(decay_through_resistor())),
            Step("The same current passes through the resistor.", "v_path = r_path*i_inductor",
                 law("Ohm's law", voltage="v_path", resistance="r_path", current="i_inductor")),
            Step("Put in the current.", "v_path = r_path*(i_start*exp(-(r_loop*t/inductance)))", substituting(), uses=(2, 1)),
            Step("At the first instant the whole current still flows. Neither source nor inductance enters: a larger resistance "
                 "gets a larger voltage.", "v_path = r_path*i_start", limit("t", "0")),
        ),
        meaning="voltage across a resistor at the instant at which it takes over the coil current",
        unit="V",
        bound=Bound("0*r_path", "exact while no stray capacitance and no spark takes the current instead"),
        source="derived here",
        example={"r_path": 10.0, "i_start": 2.0},
    )


@cache
def diode_current() -> Derivation:
    """A diode across the coil takes over: (I + V_F/R) exp(-R t/L) - V_F/R."""
    return Derivation(
        "diode_current", "A diode across the coil takes over",
        (
            Step("The switch opens. Coil, diode and resistance form a loop of their own.",
                 "0 = v_coil + v_rectifier + v_loop",
                 law("Kirchhoff voltage law", rises="0", drops="v_coil + v_rectifier + v_loop")),
            Step("The resistance of winding and diode takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "0 = inductance*slope_coil + v_rectifier + r_loop*i_inductor",
                 substituting(), uses=(1, 3, 2)),
            Step("Even a small current falls, for the diode keeps its forward voltage.",
                 "slope_coil = -(v_rectifier + r_loop*i_inductor)/inductance", solving("slope_coil")),
            Step("It starts where it was when the switch opened. The result holds until it has come to zero; then the diode "
                 "blocks.", "i_inductor = (i_start + v_rectifier/r_loop)*exp(-(r_loop*t/inductance)) - v_rectifier/r_loop",
                 solving_in_time(i_inductor=("slope_coil", "i_start"))),
        ),
        meaning="coil current a time t after a diode has taken it over, until it is zero",
        unit="A",
        bound=EXACT,
        source="derived here",
        example={"i_start": 2.0, "v_rectifier": 0.7, "r_loop": 0.06, "inductance": 47e-6, "t": 50e-6},
    )


@cache
def decay_through_diode() -> Derivation:
    """The time until the current through the diode is zero: (L/R) ln(1 + I R/V_F)."""
    return Derivation(
        "decay_through_diode", "How long a diode keeps the current going",
        (
            Step("Take the current through the diode.",
                 "i_inductor = (i_start + v_rectifier/r_loop)*exp(-(r_loop*t/inductance)) - v_rectifier/r_loop",
                 earlier(diode_current())),
            Step("It is over when the current has come to zero.",
                 "t_decay = inductance/r_loop*log(1 + i_start*r_loop/v_rectifier)", reaching("0")),
        ),
        meaning="time until the coil current has died out through a diode across the coil",
        unit="s",
        bound=EXACT,
        source="derived here; no published example found",
        example={"inductance": 47e-6, "r_loop": 0.06, "i_start": 2.0, "v_rectifier": 0.7},
    )


@cache
def diode_time_ideal() -> Derivation:
    """The same without resistance: L I/V_F. A low voltage takes its time."""
    return Derivation(
        "diode_time_ideal", "The same without resistance",
        (
            Step("Take the time with resistance.", "t_decay = inductance/r_loop*log(1 + i_start*r_loop/v_rectifier)",
                 earlier(decay_through_diode())),
            Step("Without resistance the current falls on a straight line, the faster the larger the voltage.",
                 "t_decay = inductance*i_start/v_rectifier", limit("r_loop", "0")),
        ),
        meaning="time until the coil current has died out through a diode, at the longest",
        unit="s",
        bound=Bound("i_start*r_loop/(2*v_rectifier)", "errs high: resistance shortens the time"),
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0, "v_rectifier": 0.7},
    )
