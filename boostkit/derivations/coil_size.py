"""What frequency does to the size of a coil: the energy to be stored, and the volume that it asks for."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    extremum,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.frequency import GROWS_LIKE
from boostkit.derivations.stress import STRAIGHT
from boostkit.derivations.switching import inductor_ripple

ripple_share = letter("ripple_share", "r", "", "ripple of the coil current, peak to peak, over its mean", (0.1, 1.9), open_low=True)
energy_peak = letter("energy_peak", r"E_{\mathrm{pk}}", "J", "energy in the field at the peak current", (1e-6, 1e-3))
power_coil = letter("power_coil", r"P_{\mathrm{src}}", "W", "power that the source gives, V_in times the mean coil current", (1.0, 100.0))
size_reference = letter("size_reference", "V_0", "m³", "volume of the coil at the known frequency", (1e-7, 1e-4))
size = letter("size", "V", "m³", "volume of the coil", (1e-7, 1e-4))
size_ratio = letter("size_ratio", "s", "", "its length over that at the known frequency, its shape kept", (0.1, 10.0), open_low=True)
product_ratio = letter("product_ratio", "p", "", "core area times window area over that at the known frequency", (0.1, 10.0), open_low=True)
swing_ratio = letter("swing_ratio", "b", "", "flux swing over that at the known frequency", (0.1, 10.0), open_low=True)
core_ratio = letter("core_ratio", "q", "", "core loss for its volume over that at the known frequency", (0.1, 10.0))

SAME_SHAPE = "the coil keeps its shape"
SAME_STRESS = "flux density and current density stay"
FOLLOWS = "core area times window area goes with the energy to be stored"


@cache
def peak_energy() -> Derivation:
    """What the coil must store at its peak: P (1 + r/2)^2/(2 r f) times the duty. It falls as one over frequency."""
    return Derivation(
        "peak_energy", "The energy that a coil must store",
        (
            Step("Take the ripple that source, duty and coil make.", "ripple_current = v_in*duty/(inductance*f_sw)",
                 earlier(inductor_ripple())),
            Step("The inductance for it.", "inductance = v_in*duty/(ripple_current*f_sw)", solving("inductance")),
            Step("Count the ripple in means of the current.", "ripple_current = ripple_share*i_inductor_mean",
                 assumption("ripple kept to a share of the mean current")),
            Step("The peak lies half a ripple above the mean.", "i_inductor_max = i_inductor_mean + ripple_current/2",
                 assumption(STRAIGHT)),
            Step("At the peak the coil stores most.", "energy_peak = inductance*i_inductor_max**2/2", definition()),
            Step("What the source gives is its voltage times the mean current.", "power_coil = v_in*i_inductor_mean", definition()),
            Step("Put in everything: at a given share of ripple only power, duty and frequency are left.",
                 "energy_peak = power_coil*duty*(1 + ripple_share/2)**2/(2*ripple_share*f_sw)", substituting(), uses=(5, 2, 4, 3, 6)),
        ),
        meaning="energy in the field at the peak current, for a ripple that is a given share of the mean",
        unit="J",
        valid=(Condition("ripple_share <= 2", "continuous conduction: at 2 the current touches zero"),),
        bound=Bound("", "as good as ripple and mean of the coil current, which have their own bounds"),
        source="derived here",
        example={"power_coil": 11.5, "duty": 0.68, "ripple_share": 0.3, "f_sw": 150e3},
    )  # fmt: skip


@cache
def least_energy_share() -> Derivation:
    """The ripple at which the coil stores least: twice the mean, the border of continuous conduction."""
    return Derivation(
        "least_energy_share", "The ripple at which a coil stores least",
        (
            Step("Take the energy that the coil must store.",
                 "energy_peak = power_coil*duty*(1 + ripple_share/2)**2/(2*ripple_share*f_sw)", earlier(peak_energy())),
            Step("A small ripple needs much inductance, a large one a high peak. The least lies where the current just touches zero.",
                 "ripple_share = 2", extremum("ripple_share", "minimum")),
        ),
        meaning="ripple over mean current at which the energy that the coil must store is least",
        unit="",
        source="derived here",
    )  # fmt: skip


@cache
def volume_with_frequency() -> Derivation:
    """The volume of a coil against frequency at the same flux and current density: it goes as f^(-3/4), not as 1/f."""
    return Derivation(
        "volume_with_frequency", "The size of a coil against frequency",
        (
            Step("Core area times window area goes with the energy to be stored, and that with one over frequency.",
                 "product_ratio = f_reference/f_sw", assumption(f"{FOLLOWS}; {SAME_STRESS}")),
            Step("Both are areas: together they go with the fourth power of length.", "product_ratio = size_ratio**4",
                 assumption(SAME_SHAPE)),
            Step("So this is how its length goes.", "size_ratio = product_ratio**(1/4)", solving("size_ratio")),
            Step("The volume goes with the third power of length.", "size = size_reference*size_ratio**3", assumption(SAME_SHAPE)),
            Step("Put in both: ten times the frequency leaves not a tenth of the volume but nearly a fifth.",
                 "size = size_reference*(f_reference/f_sw)**(3/4)", substituting(), uses=(4, 3, 1)),
        ),
        meaning="volume of a coil at another frequency, flux density and current density kept",
        unit="m³",
        bound=Bound("", "a small coil cools better for its size and a core at high frequency bears less swing: real coils go either side"),
        source="derived here",
        example={"size_reference": 2e-6, "f_reference": 150e3, "f_sw": 300e3},
    )  # fmt: skip


@cache
def volume_where_core_heats() -> Derivation:
    """The same where core loss, not saturation, limits the swing: the power of frequency shrinks to (3/4)(1 - alpha/beta)."""
    return Derivation(
        "volume_where_core_heats", "The size of a coil whose core heats",
        (
            Step("Core loss for its volume goes with powers of frequency and swing.",
                 "core_ratio = (f_sw/f_reference)**core_alpha*swing_ratio**core_beta", assumption(GROWS_LIKE)),
            Step("Let the swing shrink like this.", "swing_ratio = (f_sw/f_reference)**(-core_alpha/core_beta)",
                 assumption("the swing shrinks so that core loss for its volume is the same at any frequency")),
            Step("Put it in.", "core_ratio = (f_sw/f_reference)**core_alpha*((f_sw/f_reference)**(-core_alpha/core_beta))**core_beta",
                 substituting(), uses=(1, 2)),
            Step("Then core loss for its volume stays.", "core_ratio = 1", simplifying()),
            Step("Less swing needs more area: the product goes with the energy, which goes with one over frequency, over the swing.",
                 "product_ratio = f_reference/f_sw/swing_ratio", assumption(f"{FOLLOWS} over the swing; current density stays")),
            Step("Together they go with the fourth power of length.", "product_ratio = size_ratio**4", assumption(SAME_SHAPE)),
            Step("So this is how its length goes.", "size_ratio = product_ratio**(1/4)", solving("size_ratio")),
            Step("The volume goes with the third power of length.", "size = size_reference*size_ratio**3", assumption(SAME_SHAPE)),
            Step("Put in all. Where alpha nears beta a higher frequency buys no size at all.",
                 "size = size_reference*(f_reference/f_sw)**(3/4*(1 - core_alpha/core_beta))", substituting(), uses=(8, 7, 5, 2)),
        ),
        meaning="volume of a coil at another frequency, where core loss for its volume limits the swing",
        unit="m³",
        valid=(Condition("core_beta > core_alpha", "swing counts for more than frequency in the core"),),
        bound=Bound("", "as good as the powers; skin and proximity effect in the wire come on top"),
        source="derived here",
        example={"size_reference": 1e-6, "f_reference": 500e3, "f_sw": 1e6, "core_alpha": 1.4, "core_beta": 2.5},
    )  # fmt: skip
