"""A clamp or an arc takes over the coil current at a steady voltage: for how long, and what it must swallow.

An arc is the clamp that nobody chose: it burns contacts, sets fire and hurts eyes and hands. Never break the current of a
large coil by hand; leave the source side of real switchgear to those licensed to work on it.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    integrating,
    law,
    letter,
    reaching,
    simplifying,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations.kick import COIL_LAW, NO_RESISTANCE, stored_energy

v_clamp = letter("v_clamp", r"V_{\mathrm{clamp}}", "V", "voltage at which a clamp or an arc holds", (14.0, 60.0),
                 open_low=True)
charge_path = letter("charge_path", r"Q_{\mathrm{path}}", "C", "charge that passes until the current is zero", (1e-6, 1e-3))
energy_path = letter("energy_path", r"E_{\mathrm{path}}", "J", "energy that the clamp or the arc must swallow", (1e-6, 1e-2))
p_path = letter("p_path", r"P_{\mathrm{path}}", "W", "power that the clamp, the arc or the switch must swallow, mean",
                (0.01, 50.0))

ABOVE_SOURCE = Condition("v_clamp > v_in", "the clamp holds above the source: else the current never falls")

# What the loop's resistance would drop at the first current, as a share of the voltage that drives the current down.
_SHARE_SWITCH = "i_start*r_loop/(v_clamp - v_in)"
_SHARE_COIL = "i_start*r_loop/v_clamp"


@cache
def clamp_current() -> Derivation:
    """A clamp across the switch takes over: I - (V - V_in) t/L. The source still drives the loop."""
    return Derivation(
        "clamp_current", "A clamp across the switch takes over",
        (
            Step("The switch opens. The clamp lies across it, so the source is still in the loop.",
                 "v_in = v_coil + v_clamp + v_loop",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_clamp + v_loop")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "v_in = inductance*slope_coil + v_clamp", substituting(), uses=(1, 2, 3)),
            Step("The current falls only if the clamp holds above the source.",
                 "slope_coil = (v_in - v_clamp)/inductance", solving("slope_coil")),
            Step("It starts where it was when the switch opened and falls on a straight line.",
                 "i_inductor = i_start - (v_clamp - v_in)*t/inductance",
                 solving_in_time(i_inductor=("slope_coil", "i_start"))),
        ),
        meaning="coil current a time t after a clamp across the switch has taken it over, until it is zero",
        unit="A",
        valid=(ABOVE_SOURCE,),
        source="derived here",
        example={"i_start": 2.0, "v_clamp": 30.0, "v_in": 6.0, "inductance": 47e-6, "t": 2e-6},
    )


@cache
def clamp_time() -> Derivation:
    """How long the clamp across the switch works: L I/(V - V_in)."""
    return Derivation(
        "clamp_time", "How long a clamp across the switch works",
        (
            Step("Take the current through the clamp.", "i_inductor = i_start - (v_clamp - v_in)*t/inductance",
                 earlier(clamp_current())),
            Step("It is over when the current has come to zero. A clamp just above the source works for very long.",
                 "t_decay = inductance*i_start/(v_clamp - v_in)", reaching("0")),
        ),
        meaning="time for which a clamp across the switch carries the coil current",
        unit="s",
        valid=(ABOVE_SOURCE,),
        bound=Bound(f"{_SHARE_SWITCH}/2", "errs high: resistance shortens the time"),
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0, "v_clamp": 30.0, "v_in": 6.0},
    )


@cache
def clamp_across_switch() -> Derivation:
    """What a clamp across the switch must swallow: (L I^2/2) V/(V - V_in), more than the field held."""
    return Derivation(
        "clamp_across_switch", "What a clamp across the switch swallows",
        (
            Step("Take the time for which the clamp works.", "t_decay = inductance*i_start/(v_clamp - v_in)",
                 earlier(clamp_time())),
            Step("The charge that passes is the falling current added up over this time.",
                 "charge_path = integral(i_start - (v_clamp - v_in)*t/inductance, t, 0, t_decay)", definition()),
            Step("A straight line.", "charge_path = i_start*t_decay - (v_clamp - v_in)*t_decay**2/(2*inductance)",
                 integrating()),
            Step("Put in the time: half the first current, as long as it flows.",
                 "charge_path = inductance*i_start**2/(2*(v_clamp - v_in))", substituting(), uses=(3, 1)),
            Step("The clamp takes the charge at its own voltage.", "energy_path = charge_path*v_clamp",
                 law("work on a charge", energy="energy_path", charge="charge_path", voltage="v_clamp")),
            Step("The clamp gets more than the field held: the source keeps pushing while the current falls.",
                 "energy_path = inductance*i_start**2/2*v_clamp/(v_clamp - v_in)", substituting(), uses=(5, 4)),
        ),
        meaning="energy that a clamp across the switch must swallow in one opening",
        unit="J",
        valid=(ABOVE_SOURCE,),
        bound=Bound(f"2*{_SHARE_SWITCH}/3", "errs high: resistance takes a part"),
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0, "v_clamp": 30.0, "v_in": 6.0},
    )


@cache
def arc_energy() -> Derivation:
    """What an arc in the opening switch must swallow: the same as a clamp at the arc's voltage."""
    return Derivation(
        "arc_energy", "An arc is a clamp that nobody chose",
        (
            Step("Where nothing else takes over the current, the switch itself must: it draws an arc, which burns at some "
                 "voltage as long as current flows. Call it V_clamp too.",
                 "v_path = v_clamp", assumption("arc that burns at one voltage until the current has come to zero")),
            Step("Take the energy in a clamp across the switch.",
                 "energy_path = inductance*i_start**2/2*v_clamp/(v_clamp - v_in)", earlier(clamp_across_switch())),
            Step("Solve for the clamp's voltage.", "v_clamp = v_path", solving("v_clamp"), uses=1),
            Step("An arc barely above the source hardly goes out and swallows many times what the field held.",
                 "energy_path = inductance*i_start**2/2*v_path/(v_path - v_in)", substituting(), uses=(2, 3)),
        ),
        meaning="energy that an arc across the opening switch must swallow",
        unit="J",
        valid=(Condition("v_path > v_in", "the arc holds above the source: else it never goes out"),),
        bound=Bound("2*i_start*r_loop/(3*(v_path - v_in))", "errs high: resistance takes a part"),
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0, "v_path": 20.0, "v_in": 6.0},
    )


@cache
def swallowed_power() -> Derivation:
    """What the clamp across the switch must swallow in every second: energy of one opening times openings per second."""
    return Derivation(
        "swallowed_power", "The power that the switch or its clamp must swallow",
        (
            Step("Take the energy of one opening.", "energy_path = inductance*i_start**2/2*v_clamp/(v_clamp - v_in)",
                 earlier(clamp_across_switch())),
            Step("The switch opens once a period; spread over the period the energy is this power.",
                 "p_path = energy_path/t_sw", definition()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put both in. This is heat, and the reason to hand the energy to an output instead.",
                 "p_path = inductance*i_start**2/2*v_clamp/(v_clamp - v_in)*f_sw", substituting(), uses=(2, 1, 3)),
        ),
        meaning="mean power in a clamp across the switch, the current falling to zero each period",
        unit="W",
        valid=(ABOVE_SOURCE, Condition("inductance*i_start/(v_clamp - v_in) <= t_sw",
                                       "the current is back at zero before the period ends")),
        bound=Bound(f"2*{_SHARE_SWITCH}/3", "errs high: resistance takes a part"),
        source="derived here",
        example={"inductance": 47e-6, "i_start": 2.0, "v_clamp": 30.0, "v_in": 6.0, "f_sw": 150e3},
    )


@cache
def coil_clamp_current() -> Derivation:
    """A clamp across the coil takes over: I - V t/L. The source is out of the loop."""
    return Derivation(
        "coil_clamp_current", "A clamp across the coil takes over",
        (
            Step("The switch opens. Coil and clamp form a loop of their own, without the source.",
                 "0 = v_coil + v_clamp + v_loop", law("Kirchhoff voltage law", rises="0", drops="v_coil + v_clamp + v_loop")),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("Put both into the loop.", "0 = inductance*slope_coil + v_clamp", substituting(), uses=(1, 2, 3)),
            Step("The larger the voltage, the faster the fall.", "slope_coil = -(v_clamp/inductance)", solving("slope_coil")),
            Step("It starts where it was when the switch opened and falls on a straight line.",
                 "i_inductor = i_start - v_clamp*t/inductance", solving_in_time(i_inductor=("slope_coil", "i_start"))),
        ),
        meaning="coil current a time t after a clamp across the coil has taken it over, until it is zero",
        unit="A",
        source="derived here",
        example={"i_start": 2.0, "v_clamp": 24.0, "inductance": 47e-6, "t": 2e-6},
    )


@cache
def coil_clamp_time() -> Derivation:
    """How long the clamp across the coil works: L I/V."""
    return Derivation(
        "coil_clamp_time", "How long a clamp across the coil works",
        (
            Step("Take the current through the clamp.", "i_inductor = i_start - v_clamp*t/inductance",
                 earlier(coil_clamp_current())),
            Step("It is over when the current has come to zero.", "t_decay = inductance*i_start/v_clamp", reaching("0")),
        ),
        meaning="time for which a clamp across the coil carries its current",
        unit="s",
        bound=Bound(f"{_SHARE_COIL}/2", "errs high: resistance shortens the time"),
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.9 (read in a copied-out text), fits it",
        example={"inductance": 47e-6, "i_start": 2.0, "v_clamp": 24.0},
    )


@cache
def clamp_across_coil() -> Derivation:
    """What a clamp across the coil must swallow: what the field held, L I^2/2, whatever its voltage."""
    return Derivation(
        "clamp_across_coil", "What a clamp across the coil swallows",
        (
            Step("Take the energy in the field.", "energy_held = inductance*i_start**2/2", earlier(stored_energy())),
            Step("Take a loop without resistance.", "v_loop = 0", assumption(NO_RESISTANCE)),
            Step("The source is not in the loop and gives nothing; resistance takes nothing. So the clamp gets what the field "
                 "held.", "energy_held = energy_path", law("energy conservation", comes="energy_held", goes="energy_path")),
            Step("Put in the field.", "inductance*i_start**2/2 = energy_path", substituting(), uses=(3, 1)),
            Step("The voltage of the clamp decides how long it takes, not how much it gets.",
                 "energy_path = inductance*i_start**2/2", simplifying()),
        ),
        meaning="energy that a clamp across the coil must swallow in one opening",
        unit="J",
        bound=Bound("2*i_start*r_loop/(3*v_clamp)", "errs high: resistance takes a part"),
        source="derived here; Rashid, Power Electronics, 4th ed., example 2.9 (read in a copied-out text), fits it",
        example={"inductance": 47e-6, "i_start": 2.0},
    )
