"""Open feedback: the regulator sees no output and drives to its current limit. How fast the output climbs, and to what.

Safety: the output passes what its capacitors bear within a fraction of a millisecond; they vent or burst, and it passes 60 V
where it can kill. A cut-off with a path of its own stops it; a clamp alone must swallow the whole power of the source.
"""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, assumption, definition, earlier, law, letter, solving, substituting
from boostkit.derivations import unloaded as _unloaded  # noqa: F401  (the letters of a capacitor before and after)
from boostkit.derivations.switching import NO_LOSS

i_limit = letter("i_limit", r"I_{\mathrm{lim}}", "A", "current at which the controller opens the switch, each period", (2.0, 20.0))
t_runaway = letter("t_runaway", r"t_{\mathrm{run}}", "s", "time in which a runaway output has climbed to a voltage", (1e-5, 1e-1),
                   open_low=True)
p_runaway = letter("p_runaway", r"P_{\mathrm{run}}", "W", "most power that a converter at its current limit takes from the source",
                   (5.0, 200.0))
energy_runaway = letter("energy_runaway", r"E_{\mathrm{run}}", "J", "energy that it takes meanwhile", (1e-3, 10.0))
v_runaway = letter("v_runaway", r"V_{\mathrm{run}}", "V", "output voltage at which a runaway ends", (20.0, 500.0))
t_react = letter("t_react", r"t_{\mathrm{react}}", "s", "time that a cut-off takes from seeing to acting", (1e-7, 1e-3))
v_margin = letter("v_margin", r"\Delta V_{\mathrm{react}}", "V", "climb of a runaway output while the cut-off reacts", (0.01, 20.0))

AT_LIMIT = "the coil current stays at its limit all the while: the most that can flow"
_SAFE = Bound("", "on the safe side: the mean of the coil current lies below its limit by half the ripple and more, and losses take a part")


@cache
def runaway_power() -> Derivation:
    """What it takes from the source at the most: V_in I_lim."""
    return Derivation(
        "runaway_power", "The most that can go in",
        (
            Step("The current limit opens the switch each period; the mean current cannot pass it.",
                 "i_inductor_mean = i_limit", assumption(AT_LIMIT)),
            Step("All of it comes from the source.", "p_runaway = v_in*i_inductor_mean",
                 law("electric power", power="p_runaway", voltage="v_in", current="i_inductor_mean")),
            Step("Put it in: this is what a clamp at the output would have to swallow for good.", "p_runaway = v_in*i_limit",
                 substituting(), uses=(2, 1)),
        ),
        meaning="most power that a converter without feedback takes from the source",
        unit="W",
        bound=_SAFE,
        source="derived here",
        example={"v_in": 7.2, "i_limit": 6.0},
    )


@cache
def runaway_time() -> Derivation:
    """How long the output takes at least: C (V_after^2 - V_before^2)/(2 V_in I_lim), without load."""
    return Derivation(
        "runaway_time", "How long there is before something breaks",
        (
            Step("Take the most that can go in.", "p_runaway = v_in*i_limit", earlier(runaway_power())),
            Step("In this time it brings this energy.", "energy_runaway = p_runaway*t_runaway", definition()),
            Step("The capacitor held this before.", "energy_before = capacitance*v_before**2/2",
                 law("energy stored in an electric field", energy="energy_before", capacitance="capacitance", voltage="v_before")),
            Step("And holds this after.", "energy_after = capacitance*v_after**2/2",
                 law("energy stored in an electric field", energy="energy_after", capacitance="capacitance", voltage="v_after")),
            Step("Nothing leaves the output, nothing is lost.", "energy_before + energy_runaway = energy_after",
                 law("energy conservation", comes="energy_before + energy_runaway", goes="energy_after")),
            Step("Take away the load.", "i_out = 0", assumption("no load: nothing leaves the output")),
            Step("Put all in.", "capacitance*v_before**2/2 + v_in*i_limit*t_runaway = capacitance*v_after**2/2", substituting(),
                 uses=(5, 2, 1, 3, 4)),
            Step("Solve for the time.", "t_runaway = capacitance*(v_after**2 - v_before**2)/(2*v_in*i_limit)", solving("t_runaway")),
        ),
        meaning="least time in which an output without feedback and without load climbs to a voltage",
        unit="s",
        valid=(Condition("v_after > v_before", "it climbs"),),
        bound=_SAFE,
        source="derived here",
        example={"capacitance": 100e-6, "v_after": 25.0, "v_before": 18.0, "v_in": 7.2, "i_limit": 6.0},
    )


@cache
def runaway_end() -> Derivation:
    """To what it climbs into a resistor: sqrt(V_in I_lim R). Without a load there is no such end."""
    return Derivation(
        "runaway_end", "Where the climb ends",
        (
            Step("Take the most that can go in.", "p_runaway = v_in*i_limit", earlier(runaway_power())),
            Step("The climb ends where the load takes all of it.", "p_out = p_runaway", assumption(NO_LOSS)),
            Step("A resistor takes this current.", "v_runaway = r_load*i_out",
                 law("Ohm's law", voltage="v_runaway", resistance="r_load", current="i_out")),
            Step("So the current is this.", "i_out = v_runaway/r_load", solving("i_out")),
            Step("And this power.", "p_out = v_runaway*i_out", law("electric power", power="p_out", voltage="v_runaway", current="i_out")),
            Step("Put the current in.", "p_out = v_runaway**2/r_load", substituting(), uses=(5, 4)),
            Step("Set the two equal.", "v_runaway**2/r_load = v_in*i_limit", substituting(), uses=(2, 6, 1)),
            Step("Solve for the voltage. The lighter the load, the higher; without load nothing but a part that breaks ends it.",
                 "v_runaway = sqrt(v_in*i_limit*r_load)", solving("v_runaway")),
        ),
        meaning="highest output voltage to which a converter without feedback drives a resistor",
        unit="V",
        bound=_SAFE,
        source="derived here",
        example={"v_in": 7.2, "i_limit": 6.0, "r_load": 900.0},
    )


@cache
def react_margin() -> Derivation:
    """What it climbs while a cut-off reacts: V_in I_lim t/(C V), near the voltage V at which the cut-off sees it."""
    return Derivation(
        "react_margin", "A cut-off is never at once",
        (
            Step("Take the most that can go in.", "p_runaway = v_in*i_limit", earlier(runaway_power())),
            Step("It reaches the capacitor as this current, at the voltage at which the cut-off sees it.",
                 "p_runaway = v_before*i_rectifier_mean",
                 law("electric power", power="p_runaway", voltage="v_before", current="i_rectifier_mean")),
            Step("So the current is this.", "i_rectifier_mean = p_runaway/v_before", solving("i_rectifier_mean")),
            Step("The capacitor climbs by it until the cut-off acts.", "i_rectifier_mean = capacitance*(v_margin/t_react)",
                 law("capacitor law", current="i_rectifier_mean", capacitance="capacitance", slope="v_margin/t_react")),
            Step("Put the first two in.", "v_in*i_limit/v_before = capacitance*(v_margin/t_react)", substituting(), uses=(4, 3, 1)),
            Step("Solve for the climb. The coil's energy comes on top.", "v_margin = v_in*i_limit*t_react/(capacitance*v_before)",
                 solving("v_margin")),
        ),
        meaning="climb of an output without feedback and load while a cut-off reacts",
        unit="V",
        bound=_SAFE,
        source="derived here",
        example={"v_in": 7.2, "i_limit": 6.0, "t_react": 2e-6, "capacitance": 100e-6, "v_before": 22.0},
    )
