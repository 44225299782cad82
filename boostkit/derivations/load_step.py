"""A step of the load: how far the output gives way to a loop of the first order, what the capacitor's resistance adds at once,
and where the energy of the coil goes when the load is suddenly gone.

Safety: an output that is suddenly unloaded rises, and with an open feedback it goes on rising. Keep the parts' ratings above what
is reckoned here, and treat an output above 60 V, and a charged capacitor, with the cautions that local codes and licensed practice ask.
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
    size_of_wave,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import compensation as _compensation  # noqa: F401  (enters the crossover)
from boostkit.derivations import kick as _kick  # noqa: F401  (enters the energy of the coil)
from boostkit.derivations.second_order import AT_CROSSOVER

i_step = letter("i_step", r"\Delta I_{\mathrm{out}}", "A", "step of the load current", (0.05, 2.0))
v_dip = letter("v_dip", r"\delta v", "V", "fall of the output after a step of the load, at an instant", (0.0, 1.0), low=-inf)
slope_dip = letter("slope_dip", r"s_{\delta v}", "V/s", "slope of that fall", (-1e4, 1e4), low=-inf)
i_more = letter("i_more", r"i_{\mathrm{more}}", "A", "what the regulator has added to the current that reaches the output", (0.0, 2.0),
                low=-inf)
i_missing = letter("i_missing", r"i_{\mathrm{miss}}", "A", "current that the output capacitor gives meanwhile", (0.0, 2.0), low=-inf)
firmness = letter("firmness", r"g_{\mathrm{hold}}", "A/V", "current that the regulator adds for each volt that the output has fallen",
                  (0.1, 50.0),
                  open_low=True)
loop_first = letter("loop_first", r"T_1", "", "loop gain of such a regulator into a capacitance, for a swing e^(st)", (0.1, 10.0), low=-inf)
loop_first_size = letter("loop_first_size", r"T_{1,\mathrm{abs}}", "", "size of that loop gain", (0.1, 10.0))
dip = letter("dip", r"\Delta v_{\mathrm{dip}}", "V", "deepest fall of the output after a step of the load", (0.01, 2.0))
dip_esr = letter("dip_esr", r"\Delta v_{\mathrm{step}}", "V", "fall at once, across the capacitor's series resistance", (0.001, 0.5))
v_surplus = letter("v_surplus", r"V_{\mathrm{rise}}", "V", "output voltage after the load is gone, when the coil has emptied", (14.0, 80.0))
charge_surplus = letter("charge_surplus", r"Q_{\mathrm{rise}}", "C", "charge that reaches the output capacitor meanwhile", (1e-6, 1e-3))
energy_lent = letter("energy_lent", r"E_{\mathrm{lent}}", "J", "energy that the source gives meanwhile", (1e-6, 1e-2))
energy_full = letter("energy_full", r"E_{C}", "J", "energy in the output capacitor before", (1e-4, 0.5))
energy_taken = letter("energy_taken", r"E_{\mathrm{taken}}", "J", "energy that load and losses take meanwhile", (1e-6, 1e-2))
energy_risen = letter("energy_risen", r"E_{C,\mathrm{after}}", "J", "energy in the output capacitor after", (1e-4, 0.5))

FIRST_ORDER = "a loop of the first order: the regulator adds current in proportion to the fall, at once"
STAYS_OPEN = "no load, no loss, and a switch that stays open"
_ROUGH = Bound("", "a slow integrator makes it smaller, lag in the loop and a right-half-plane zero make it larger: a start "
                   "for the exact course")


@cache
def firmness_for_crossover() -> Derivation:
    """How firmly a regulator must hold for a crossover: 2 pi f_c C amperes a volt."""
    return Derivation(
        "firmness_for_crossover", "How firmly the output is held",
        (
            Step("A swing e^(st) that is sent in as a fall of the output makes the regulator add a current. Into the capacitance alone "
                 "that current makes a slope, and the slope of such a swing is s times the swing. So this comes back round the loop.",
                 "loop_first = firmness/(s*capacitance)", assumption(FIRST_ORDER)),
            Step("A wave comes back with this size.", "loop_first_size = firmness/(2*pi*f*capacitance)", size_of_wave()),
            Step("Look at the crossover.", "f = f_crossover", assumption("a wave at the crossover")),
            Step("There the size is one.", "loop_first_size = 1", assumption(AT_CROSSOVER)),
            Step("Put both in.", "1 = firmness/(2*pi*f_crossover*capacitance)", substituting(), uses=(2, 4, 3)),
            Step("Solve for the firmness.", "firmness = 2*pi*f_crossover*capacitance", solving("firmness")),
        ),
        meaning="current that the regulator adds for each volt that the output has fallen",
        unit="A/V",
        bound=_ROUGH,
        source="derived here",
        example={"f_crossover": 2e3, "capacitance": 100e-6},
    )


@cache
def dip_course() -> Derivation:
    """The fall of the output after a step of the load: dI/g (1 - exp(-g t/C))."""
    return Derivation(
        "dip_course", "The output gives way",
        (
            Step("The load takes more at once. The capacitor gives what the regulator has not added yet.", "i_step = i_missing + i_more",
                 law("Kirchhoff current law", enter="i_step", leave="i_missing + i_more")),
            Step("What the capacitor gives makes its voltage fall.", "i_missing = capacitance*slope_dip",
                 law("capacitor law", current="i_missing", capacitance="capacitance", slope="slope_dip")),
            Step("The regulator adds the more, the further the output has fallen.", "i_more = firmness*v_dip", assumption(FIRST_ORDER)),
            Step("Put both in.", "i_step = capacitance*slope_dip + firmness*v_dip", substituting(), uses=(1, 2, 3)),
            Step("From where it stood the output falls until the regulator adds all of the step.",
                 "v_dip = i_step/firmness*(1 - exp(-(firmness*t/capacitance)))", solving_in_time(v_dip=("slope_dip", "0"))),
        ),
        meaning="fall of the output a time t after a step of the load",
        unit="V",
        bound=_ROUGH,
        source="derived here",
        example={"i_step": 0.5, "firmness": 1.26, "capacitance": 100e-6, "t": 1e-4},
    )


@cache
def step_dip() -> Derivation:
    """How far the output falls in a step of the load: dI/(2 pi f_c C)."""
    return Derivation(
        "step_dip", "How far the output gives way",
        (
            Step("Take the fall.", "v_dip = i_step/firmness*(1 - exp(-(firmness*t/capacitance)))", earlier(dip_course())),
            Step("It goes on for as long as one waits.", "v_dip = i_step/firmness", limit("t", "infinity")),
            Step("Call it the dip.", "dip = v_dip", definition()),
            Step("Take how firmly the output is held.", "firmness = 2*pi*f_crossover*capacitance", earlier(firmness_for_crossover())),
            Step("Put all in. Twice the crossover or twice the capacitance, half the dip.",
                 "dip = i_step/(2*pi*f_crossover*capacitance)", substituting(), uses=(3, 2, 4)),
        ),
        meaning="fall of the output after a step of the load, by a loop of the first order with this crossover",
        unit="V",
        bound=_ROUGH,
        source="derived here for a loop of the first order; as a rule for any loop common practice, no source",
        example={"i_step": 0.5, "f_crossover": 2e3, "capacitance": 100e-6},
    )


@cache
def capacitance_for_step() -> Derivation:
    """Turned round: the capacitance for a wanted dip."""
    return Derivation(
        "capacitance_for_step", "The capacitance for a step",
        (
            Step("Take the dip.", "dip = i_step/(2*pi*f_crossover*capacitance)", earlier(step_dip())),
            Step("Solve for the capacitance.", "capacitance = i_step/(2*pi*f_crossover*dip)", solving("capacitance")),
        ),
        meaning="output capacitance with which a step of the load makes this dip, by a loop of the first order with this crossover",
        unit="F",
        bound=_ROUGH,
        source=step_dip().source,
        example={"i_step": 0.5, "f_crossover": 2e3, "dip": 0.3},
    )


@cache
def step_dip_esr() -> Derivation:
    """What falls at once, whatever the loop: dI R_C."""
    return Derivation(
        "step_dip_esr", "What falls at once",
        (
            Step("No regulator is as fast as a step. The capacitor gives all of it at first.", "i_missing = i_step",
                 assumption("the step is far faster than the loop")),
            Step("Its series resistance takes this voltage.", "dip_esr = r_capacitor*i_missing",
                 law("Ohm's law", voltage="dip_esr", resistance="r_capacitor", current="i_missing")),
            Step("Put it in.", "dip_esr = r_capacitor*i_step", substituting(), uses=(2, 1)),
        ),
        meaning="fall of the output at once in a step of the load",
        unit="V",
        bound=Bound("", "added to the dip it errs high: the resistance's part has gone by the time the dip is deepest"),
        source="derived here",
        example={"i_step": 0.5, "r_capacitor": 0.02},
    )


@cache
def coil_surplus() -> Derivation:
    """The load is suddenly gone: V_in + sqrt((V_out - V_in)^2 + I^2 L/C)."""
    return Derivation(
        "coil_surplus", "The load is suddenly gone",
        (
            Step("The switch stays open. The coil holds this energy, and it goes to the output: there is no way back.",
                 "energy_held = inductance*i_start**2/2",
                 law("energy stored in a magnetic field", energy="energy_held", inductance="inductance", current="i_start")),
            Step("The output capacitor holds this before.", "energy_full = capacitance*v_out**2/2",
                 law("energy stored in an electric field", energy="energy_full", capacitance="capacitance", voltage="v_out")),
            Step("And this when the coil is empty.", "energy_risen = capacitance*v_surplus**2/2",
                 law("energy stored in an electric field", energy="energy_risen", capacitance="capacitance", voltage="v_surplus")),
            Step("Meanwhile this charge has reached it.", "charge_surplus = capacitance*(v_surplus - v_out)", definition()),
            Step("The same charge has passed through the source, which lifted it.", "energy_lent = charge_surplus*v_in",
                 law("work on a charge", energy="energy_lent", charge="charge_surplus", voltage="v_in")),
            Step("Take nothing out and lose nothing.", "energy_taken = 0", assumption(STAYS_OPEN)),
            Step("Then coil and source together lift the capacitor.",
                 "energy_held + energy_full + energy_lent = energy_risen + energy_taken",
                 law("energy conservation", comes="energy_held + energy_full + energy_lent", goes="energy_risen + energy_taken")),
            Step("Put all in.", "inductance*i_start**2/2 + capacitance*v_out**2/2 + capacitance*(v_surplus - v_out)*v_in = "
                 "capacitance*v_surplus**2/2", substituting(), uses=(7, 1, 2, 5, 4, 3, 6)),
            Step("Solve for the voltage.", "v_surplus = v_in + sqrt((v_out - v_in)**2 + i_start**2*inductance/capacitance)",
                 solving("v_surplus", "v_surplus > v_in")),
        ),
        meaning="output voltage after the load is gone, when the coil has emptied into the output capacitor",
        unit="V",
        valid=(Condition("v_out >= v_in", "the output lies above the source"),),
        bound=Bound("", "errs high by what a remaining load and the losses take; low by what passes until the switch stays open"),
        source="derived here",
        example={"v_in": 6.0, "v_out": 18.0, "i_start": 2.2, "inductance": 47e-6, "capacitance": 100e-6},
    )
