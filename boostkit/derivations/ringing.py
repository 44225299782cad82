"""Coil and stray capacitance: where the kick peaks, and how the switch node rings.

Safety: a coil and a small stray capacitance make hundreds of volts out of a battery, more than a switch or a finger bears.
Give the current a path before you open the switch; local codes and licensed practice come first.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    letter,
    limit,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations.kick import COIL_LAW, LOOP_LAW, NO_RESISTANCE, stored_energy

c_stray = letter("c_stray", r"C_{\mathrm{stray}}", "F", "stray capacitance across the switch: switch, winding and wiring",
                 (1e-10, 2e-9), open_low=True)
v_kick = letter("v_kick", r"V_{\mathrm{kick}}", "V", "highest voltage across the switch after it has opened", (20.0, 2000.0))
v_switch = letter("v_switch", "v_S", "V", "voltage across the switch at an instant", (-100.0, 500.0), low=-inf)
slope_switch = letter("slope_switch", r"\mathrm{d}v_S/\mathrm{d}t", "V/s", "slope of the voltage across the switch",
                      (-1e9, 1e9), low=-inf)
charge_stray = letter("charge_stray", r"Q_{\mathrm{stray}}", "C", "charge in the stray capacitance at the highest voltage",
                      (1e-9, 1e-6))
energy_source = letter("energy_source", r"E_{\mathrm{source}}", "J", "energy that the source gives meanwhile", (1e-8, 1e-5))
energy_stray = letter("energy_stray", r"E_{\mathrm{stray}}", "J", "energy in the stray capacitance at the highest voltage",
                      (1e-7, 1e-3))
omega_ring = letter("omega_ring", r"\omega_{\mathrm{ring}}", "1/s", "angle per second of the ringing", (1e6, 1e8),
                    open_low=True)
rate_fade = letter("rate_fade", r"\alpha_{\mathrm{fade}}", "1/s", "share by which the ringing fades in a second", (1e2, 1e6))
t_ring = letter("t_ring", r"T_{\mathrm{ring}}", "s", "period of the ringing", (1e-7, 1e-5))
f_ring = letter("f_ring", r"f_{\mathrm{ring}}", "Hz", "frequency of the ringing", (1e5, 1e7))
z_ring = letter("z_ring", r"Z_{\mathrm{ring}}", "Ω", "characteristic impedance: volts of kick for each ampere", (50.0, 2000.0))
q_ring = letter("q_ring", r"Q_{\mathrm{ring}}", "", "quality of the ringing: characteristic impedance over resistance",
                (5.0, 500.0), open_low=True)
share_left = letter("share_left", r"s_{\mathrm{left}}", "", "share of the swing that is left one period later", (0.5, 1.0))

# zeta = R/(2 Z): how strongly the loop's resistance damps the ringing. With it the swing above the source, U, is
# U sqrt(1 - 2 zeta V_in I Z/U^2) exp(-zeta angle/sqrt(1 - zeta^2)). The share of the peak that is lost stays below
# what half a turn alone would take of the swing (tried over all angles and zeta up to 1/2).
_DAMPING = "(r_loop/2*sqrt(c_stray/inductance))"
_LOST_SWING = f"exp(pi*{_DAMPING}/sqrt(1 - {_DAMPING}**2)) - 1"
RINGS = Condition(f"{_DAMPING} <= 1/2", "so little resistance that the loop rings")


@cache
def kick_into_capacitance() -> Derivation:
    """The peak across the switch when only its stray capacitance takes the current: V_in + sqrt(V_in^2 + I^2 L/C)."""
    return Derivation(
        "kick_into_capacitance", "Nothing is connected: the stray capacitance takes the current",
        (
            Step("Take the energy in the field when the switch opens.", "energy_held = inductance*i_start**2/2",
                 earlier(stored_energy())),
            Step("The voltage rises until the current is zero and the field is empty. All is in the capacitance then.",
                 "energy_stray = c_stray*v_kick**2/2",
                 law("energy stored in an electric field", energy="energy_stray", capacitance="c_stray", voltage="v_kick")),
            Step("Capacitance is charge per volt; it was empty while the switch was closed.",
                 "charge_stray = c_stray*v_kick", definition()),
            Step("The same charge has passed through the source, which lifted it: this counts too.",
                 "energy_source = charge_stray*v_in",
                 law("work on a charge", energy="energy_source", charge="charge_stray", voltage="v_in")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("Then field and source together fill the capacitance.", "energy_held + energy_source = energy_stray",
                 law("energy conservation", comes="energy_held + energy_source", goes="energy_stray")),
            Step("Put in all three.", "inductance*i_start**2/2 + c_stray*v_kick*v_in = c_stray*v_kick**2/2",
                 substituting(), uses=(6, 1, 4, 3, 2)),
            Step("Solve for the voltage. The smaller the capacitance, the higher it goes.",
                 "v_kick = v_in + sqrt(v_in**2 + i_start**2*inductance/c_stray)", solving("v_kick")),
        ),
        meaning="highest voltage across a switch that opens into stray capacitance alone",
        unit="V",
        valid=(RINGS,),
        bound=Bound(_LOST_SWING, "errs high, by what the resistance takes on the way"),
        source="derived here",
        example={"v_in": 6.0, "i_start": 2.0, "inductance": 47e-6, "c_stray": 200e-12},
    )


@cache
def kick_limit() -> Derivation:
    """The same for a large current, where the source counts for nothing: I sqrt(L/C)."""
    return Derivation(
        "kick_limit", "The kick of a large current",
        (
            Step("Take the highest voltage.", "v_kick = v_in + sqrt(v_in**2 + i_start**2*inductance/c_stray)",
                 earlier(kick_into_capacitance())),
            Step("Where the current is large the source voltage is small against the rest.",
                 "v_kick = i_start*sqrt(inductance/c_stray)", limit("v_in", "0")),
        ),
        meaning="highest voltage across a switch that opens a large current into stray capacitance",
        unit="V",
        valid=(RINGS,),
        bound=Bound(f"v_in/(i_start*sqrt(inductance/c_stray)) + {_LOST_SWING}",
                    "errs low by what the source adds, high by what the resistance takes"),
        source="derived here; the dual of Rashid, Power Electronics, 4th ed., example 2.6",
        example={"i_start": 2.0, "inductance": 47e-6, "c_stray": 200e-12},
    )


@cache
def ring_impedance() -> Derivation:
    """How many volts each ampere makes: Z = sqrt(L/C)."""
    return Derivation(
        "ring_impedance", "The characteristic impedance of coil and capacitance",
        (
            Step("Take the kick of a large current.", "v_kick = i_start*sqrt(inductance/c_stray)", earlier(kick_limit())),
            Step("Each ampere makes this many volts; call it the characteristic impedance.", "z_ring = v_kick/i_start",
                 definition()),
            Step("It depends on coil and capacitance alone.", "z_ring = sqrt(inductance/c_stray)", substituting(), uses=(2, 1)),
        ),
        meaning="characteristic impedance of coil and stray capacitance",
        unit="Ω",
        bound=Bound("0*inductance", "exact, being a property of the two parts"),
        source="derived here",
        example={"inductance": 47e-6, "c_stray": 200e-12},
    )


@cache
def ringing() -> Derivation:
    """The voltage across the switch, ringing without loss: V_in (1 - cos wt) + I sqrt(L/C) sin wt."""
    return Derivation(
        "ringing", "The switch node rings",
        (
            Step("The switch is open: source, coil and stray capacitance form a loop.", "v_in = v_coil + v_switch + v_loop",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_switch + v_loop")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "v_in = inductance*slope_coil + v_switch", substituting(), uses=(1, 2, 3)),
            Step("The coil current charges the capacitance and so lifts the voltage that brakes it.",
                 "i_inductor = c_stray*slope_switch",
                 law("capacitor law", current="i_inductor", capacitance="c_stray", slope="slope_switch")),
            Step("Call the angle per second of the swing this.", "omega_ring = 1/sqrt(inductance*c_stray)", definition()),
            Step("At first the whole current flows and there is no voltage. The voltage swings about that of the source.",
                 "v_switch = v_in*(1 - cos(omega_ring*t)) + i_start*sqrt(inductance/c_stray)*sin(omega_ring*t)",
                 solving_in_time(v_switch=("slope_switch", "0"), i_inductor=("slope_coil", "i_start")), uses=(4, 5, 6)),
        ),
        meaning="voltage across the switch a time t after it has opened into stray capacitance alone",
        unit="V",
        source="derived here",
        example={"v_in": 6.0, "i_start": 2.0, "inductance": 47e-6, "c_stray": 200e-12, "omega_ring": 1.031e7, "t": 1e-7},
    )


@cache
def ringing_frequency() -> Derivation:
    """How often the switch node swings in a second: 1/(2 pi sqrt(L C))."""
    return Derivation(
        "ringing_frequency", "The frequency of the ringing",
        (
            Step("Call the angle per second of the swing this.", "omega_ring = 1/sqrt(inductance*c_stray)", definition()),
            Step("In the ringing voltage the angle grows by this much each second.",
                 "v_switch = v_in*(1 - cos(omega_ring*t)) + i_start*sqrt(inductance/c_stray)*sin(omega_ring*t)",
                 earlier(ringing())),
            Step("A period is the time of a full turn.", "t_ring = 2*pi/omega_ring", definition()),
            Step("The frequency is the number of periods in a second.", "f_ring = 1/t_ring", definition()),
            Step("Put in period and angle.", "f_ring = 1/(2*pi*sqrt(inductance*c_stray))", substituting(), uses=(4, 3, 1)),
        ),
        meaning="frequency at which coil and stray capacitance ring",
        unit="Hz",
        valid=(RINGS,),
        bound=Bound(f"1/sqrt(1 - {_DAMPING}**2) - 1", "errs high: resistance slows the ringing, by its square"),
        source="derived here",
        example={"inductance": 47e-6, "c_stray": 200e-12},
    )


@cache
def fading_ring() -> Derivation:
    """The same with resistance, from the source voltage on: it fades with exp(-R t/(2 L))."""
    return Derivation(
        "fading_ring", "The ringing fades",
        (
            Step("Source, coil, resistance and stray capacitance form a loop.", "v_in = v_coil + v_switch + v_loop",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_switch + v_loop")),
            Step("The resistance takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "v_in = inductance*slope_coil + v_switch + r_loop*i_inductor",
                 substituting(), uses=(1, 2, 3)),
            Step("The coil current charges the capacitance.", "i_inductor = c_stray*slope_switch",
                 law("capacitor law", current="i_inductor", capacitance="c_stray", slope="slope_switch")),
            Step("Call the rate of fading this.", "rate_fade = r_loop/(2*inductance)", definition()),
            Step("And the angle per second this, a little slower than without resistance.",
                 "omega_ring = sqrt(1/(inductance*c_stray) - rate_fade**2)", definition()),
            Step("Look from an instant at which the voltage passes that of the source with current I. From there on it swings "
                 "about the source, each time by less.",
                 "v_switch = v_in + i_start/(omega_ring*c_stray)*exp(-(rate_fade*t))*sin(omega_ring*t)",
                 solving_in_time(v_switch=("slope_switch", "v_in"), i_inductor=("slope_coil", "i_start")), uses=(4, 5, 7, 6)),
        ),
        meaning="voltage across the switch a time t after it has passed the source voltage with current I",
        unit="V",
        source="derived here",
        example={"v_in": 6.0, "i_start": 2.0, "c_stray": 200e-12, "omega_ring": 1.031e7, "rate_fade": 1e5, "t": 1e-7},
    )


@cache
def ring_quality() -> Derivation:
    """How well it rings: Q = sqrt(L/C)/R."""
    return Derivation(
        "ring_quality", "The quality of the ringing",
        (
            Step("Take the characteristic impedance.", "z_ring = sqrt(inductance/c_stray)", earlier(ring_impedance())),
            Step("Call its ratio to the resistance in the loop the quality Q.", "q_ring = z_ring/r_loop", definition()),
            Step("A low resistance makes a long ringing.", "q_ring = sqrt(inductance/c_stray)/r_loop", substituting(), uses=(2, 1)),
        ),
        meaning="quality of the ringing of coil and stray capacitance, resistance in the loop",
        unit="",
        bound=Bound("0*r_loop", "exact, being a property of the three parts"),
        source="derived here; standard definition for a series resonant circuit, from memory",
        example={"inductance": 47e-6, "c_stray": 200e-12, "r_loop": 5.0},
    )


@cache
def ring_decay() -> Derivation:
    """What is left of the swing one period later: exp(-pi/Q)."""
    return Derivation(
        "ring_decay", "How fast the ringing fades",
        (
            Step("Call the rate of fading this.", "rate_fade = r_loop/(2*inductance)", definition()),
            Step("A period is one over the frequency.", "t_ring = 1/f_ring", definition()),
            Step("One period later the swing is smaller by this factor; the sine is the same again.",
                 "share_left = exp(-(rate_fade*t_ring))", definition()),
            Step("Take the frequency of the ringing; resistance hardly changes it.",
                 "f_ring = 1/(2*pi*sqrt(inductance*c_stray))", earlier(ringing_frequency())),
            Step("Put all in.", "share_left = exp(-(pi*r_loop*sqrt(inductance*c_stray)/inductance))",
                 substituting(), uses=(3, 1, 2, 4)),
            Step("Take the quality of the ringing.", "q_ring = sqrt(inductance/c_stray)/r_loop", earlier(ring_quality())),
            Step("Solve it for the resistance.", "r_loop = sqrt(inductance/c_stray)/q_ring", solving("r_loop")),
            Step("Read in Q, inductance and capacitance drop out.", "share_left = exp(-(pi/q_ring))",
                 substituting(), uses=(5, 7)),
        ),
        meaning="swing of the ringing one period later, as a share",
        unit="",
        valid=(Condition("q_ring >= 1", "so little resistance that the loop rings"),),
        bound=Bound("exp(pi/q_ring*(1/sqrt(1 - 1/(4*q_ring**2)) - 1)) - 1",
                    "errs high: resistance stretches the period a little"),
        source="derived here",
        example={"q_ring": 50.0},
    )
