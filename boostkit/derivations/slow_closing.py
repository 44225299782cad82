"""A switch in the source lead that closes slowly: the only thing that softens the inrush, and the heat that it takes for that.

Safety: a switch that is too small for this heat fails closed, and then nothing softens the next inrush. See `inrush`.
"""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, assumption, definition, law, letter, solving, substituting

c_empty = letter("c_empty", r"C_{\mathrm{empty}}", "F", "all capacitance that the source fills, empty, as marked", (1e-5, 1e-2),
                 open_low=True)
t_gate = letter("t_gate", r"t_{\mathrm{gate}}", "s", "time in which a switch in the source lead closes", (1e-4, 1e-1), open_low=True)
i_even = letter("i_even", r"I_{\mathrm{even}}", "A", "current that fills the capacitors while their voltage climbs evenly", (0.1, 10.0))
i_gate = letter("i_gate", r"I_{\mathrm{gate}}", "A", "highest current while a switch in the source lead closes", (0.2, 20.0), open_low=True)
charge_empty = letter("charge_empty", r"Q_{\mathrm{empty}}", "C", "charge that fills the capacitors", (1e-5, 1e-1))
energy_pushed = letter("energy_pushed", r"E_{\mathrm{push,C}}", "J", "energy that the source gives for it", (1e-4, 1.0))
energy_brimful = letter("energy_brimful", r"E_{\mathrm{full,C}}", "J", "energy in the capacitors when they are full", (1e-4, 1.0))
energy_slow = letter("energy_slow", r"E_{\mathrm{slow}}", "J", "energy that a slowly closing switch turns into heat", (1e-4, 1.0))

_TWICE = "without loss, coil and capacitor swing about the even current: from nothing to twice it"


@cache
def closing_time() -> Derivation:
    """How slowly it must close: 2 C V/I, I being the most that may flow."""
    return Derivation(
        "closing_time", "Slow enough for the source",
        (
            Step("While the voltage climbs evenly, the capacitors take this.", "i_even = c_empty*(v_in/t_gate)",
                 law("capacitor law", current="i_even", capacitance="c_empty", slope="v_in/t_gate")),
            Step("The coil's current begins at zero, and so it swings.", "i_gate = 2*i_even", assumption(_TWICE)),
            Step("Put the first in.", "i_gate = 2*c_empty*v_in/t_gate", substituting(), uses=(2, 1)),
            Step("Solve for the time.", "t_gate = 2*c_empty*v_in/i_gate", solving("t_gate")),
        ),
        meaning="least time in which a switch in the source lead closes evenly",
        unit="s",
        valid=(Condition("i_gate > 0", "some current must flow"),),
        bound=Bound("", "on the safe side: resistance and rectifier take their part; without load, and the voltage climbing evenly"),
        source="derived here",
        example={"c_empty": 300e-6, "v_in": 7.2, "i_gate": 2.5},
    )


@cache
def closing_energy() -> Derivation:
    """What it turns into heat: C V^2/2, as much as the capacitors store, however slowly it closes."""
    return Derivation(
        "closing_energy", "What softening the inrush costs",
        (
            Step("This charge fills the capacitors.", "charge_empty = c_empty*v_in", definition()),
            Step("The source lifts it by its whole voltage.", "energy_pushed = charge_empty*v_in",
                 law("work on a charge", energy="energy_pushed", charge="charge_empty", voltage="v_in")),
            Step("The capacitors hold this in the end.", "energy_brimful = c_empty*v_in**2/2",
                 law("energy stored in an electric field", energy="energy_brimful", capacitance="c_empty", voltage="v_in")),
            Step("The switch takes the rest: it closes so slowly that no other resistance counts.",
                 "energy_pushed = energy_brimful + energy_slow",
                 law("energy conservation", comes="energy_pushed", goes="energy_brimful + energy_slow")),
            Step("Put all in.", "c_empty*v_in**2 = c_empty*v_in**2/2 + energy_slow", substituting(), uses=(4, 2, 1, 3)),
            Step("Solve for it. The time is not in it: a switch that closes more slowly spreads the same heat.",
                 "energy_slow = c_empty*v_in**2/2", solving("energy_slow")),
        ),
        meaning="energy that a slowly closing switch in the source lead turns into heat, without load",
        unit="J",
        bound=Bound("", "on the safe side: rectifier and resistances take a part of it; a load that draws meanwhile adds its own"),
        source="derived here",
        example={"c_empty": 300e-6, "v_in": 7.2},
    )
