"""How fast to switch: what falls with frequency at a given coil, what rises, and where their sum is least."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    averaging,
    definition,
    differentiating,
    earlier,
    extremum,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.stress import STRAIGHT
from boostkit.derivations.switching import inductor_ripple

ripple_square = letter("ripple_square", r"I_{r,\mathrm{ms}}", "A²", "mean square of the coil's ripple about its mean current", (1e-3, 1.0))
r_ripple = letter("r_ripple", r"R_{\mathrm{ac}}", "Ω", "resistance of the winding for the ripple", (0.01, 1.0))
p_ripple = letter("p_ripple", r"P_r", "W", "heat of the ripple in the winding", (0.001, 1.0))
ripple_reference = letter("ripple_reference", r"\Delta i_0", "A", "ripple at which the core loss is known", (0.05, 3.0), open_low=True)
p_ripple_reference = letter("p_ripple_reference", r"P_{r0}", "W", "heat of the ripple at the known frequency", (0.001, 1.0))
p_steady = letter("p_steady", r"P_{\mathrm{con}}", "W", "losses that frequency leaves alone: conduction, control", (0.05, 5.0))
energy_period = letter("energy_period", r"W_s", "J", "energy that the edges cost in one period", (1e-8, 1e-5), open_low=True)
p_edges = letter("p_edges", r"P_s", "W", "loss of the edges: overlap, capacitance, gate, recovery", (0.001, 5.0))
p_loss = letter("p_loss", r"P_{\mathrm{loss}}", "W", "all losses together", (0.1, 10.0))
slope_loss = letter("slope_loss", r"P_{\mathrm{loss}}'", "J", "growth of all losses with frequency", (-1e-5, 1e-5), low=float("-inf"))
falling = letter("falling", "n", "", "power of frequency with which the falling losses fall", (0.5, 2.5), open_low=True)
p_falling = letter("p_falling", r"P_{\mathrm{fall}}", "W", "losses that fall with frequency", (0.001, 1.0))
p_falling_reference = letter("p_falling_reference", r"P_{\mathrm{fall0}}", "W", "the same at the known frequency", (0.001, 1.0))
p_allowed = letter("p_allowed", r"P_{\mathrm{max}}", "W", "losses that are allowed", (6.0, 10.0))

SAME_COIL = "core, turns and gap stay, and so does the inductance"
GROWS_LIKE = "core loss goes with powers of frequency and swing, over the range for which they were measured"
FALLS_AS_ONE = "the falling losses go with one power of frequency"


@cache
def ripple_heat() -> Derivation:
    """What the ripple heats in the winding: R_ac (V_in D/(L f_s))^2/12."""
    return Derivation(
        "ripple_heat", "The heat of the ripple at a given coil",
        (
            Step("While the switch is closed the current runs on a straight line, from half a ripple below its mean to half a ripple "
                 "above. The mean square of this part stands here; the way down has the same.",
                 "ripple_square = mean((ripple_current*(t/(duty*t_sw) - 1/2))**2, t, 0, duty*t_sw)", assumption(STRAIGHT)),
            Step("Carry it out: a twelfth of the square of the ripple.", "ripple_square = ripple_current**2/12", averaging()),
            Step("The winding turns it into heat, with the resistance that it has for the ripple.", "p_ripple = r_ripple*ripple_square",
                 definition()),
            Step("Source, duty and coil set the ripple.", "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("Put in both: at a given coil it falls with the square of frequency, as long as the resistance stays. (Where the "
                 "resistance grows with the square of frequency, as in thin layers, nothing falls.)",
                 "p_ripple = r_ripple*(v_in*duty/(inductance*f_sw))**2/12", substituting(), uses=(3, 2, 4)),
        ),
        meaning="heat that the ripple of the coil current makes in the winding",
        unit="W",
        bound=Bound("", "as good as the ripple formula; errs high where a winding of high resistance bends the slopes; the resistance "
                    "for the ripple is that for its first harmonic"),
        source="derived here; the mean square of a triangle as in Erickson & Maksimovic, 3rd ed., appendix A",
        example={"r_ripple": 0.15, "v_in": 6.0, "duty": 0.68, "inductance": 47e-6, "f_sw": 150e3},
    )  # fmt: skip


@cache
def core_at_given_turns() -> Derivation:
    """Core loss against frequency at given core and turns: it goes as f^(alpha - beta), and falls as long as beta is larger."""
    return Derivation(
        "core_at_given_turns", "Core loss at given core and turns",
        (
            Step("Core loss grows with powers of frequency and swing. At given turns the swing of flux goes with the ripple.",
                 "p_core = p_core_reference*(f_sw/f_reference)**core_alpha*(ripple_current/ripple_reference)**core_beta",
                 assumption(GROWS_LIKE)),
            Step("The coil, the voltages and so the duty stay: a higher frequency leaves less time to climb.",
                 "ripple_current = ripple_reference*f_reference/f_sw", assumption(SAME_COIL)),
            Step("Put it in.",
                 "p_core = p_core_reference*(f_sw/f_reference)**core_alpha*(ripple_reference*f_reference/f_sw/ripple_reference)**core_beta",
                 substituting(), uses=(1, 2)),
            Step("Together: one power of frequency. It falls as long as swing counts for more than frequency.",
                 "p_core = p_core_reference*(f_sw/f_reference)**(core_alpha - core_beta)", simplifying()),
        ),
        meaning="core loss at another frequency, at given core, turns and voltages, in continuous conduction",
        unit="W",
        bound=Bound("", "as good as the powers, which hold for a decade or so of frequency"),
        source="derived here; powers after C. P. Steinmetz (1892), as in Erickson & Maksimovic, 3rd ed., sec. 10.3.1 (from memory)",
        example={"p_core_reference": 0.04, "f_sw": 300e3, "f_reference": 150e3, "core_alpha": 1.4, "core_beta": 2.5},
    )  # fmt: skip


@cache
def least_loss_balance() -> Derivation:
    """The frequency of least loss is where the edges cost what falls, each falling loss times its power of frequency."""
    return Derivation(
        "least_loss_balance", "What balances at the frequency of least loss",
        (
            Step("At a given coil conduction stays, the heat of the ripple falls with the square of frequency, core loss with its own "
                 "power, and the edges cost so much in every period.",
                 "p_loss = p_steady + p_ripple_reference*(f_reference/f_sw)**2"
                 " + p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha) + energy_period*f_sw", assumption(SAME_COIL)),
            Step("How all losses grow with frequency.",
                 "slope_loss = derivative(p_steady + p_ripple_reference*(f_reference/f_sw)**2"
                 " + p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha) + energy_period*f_sw, f_sw)", definition()),
            Step("Carry out the derivative.",
                 "slope_loss = energy_period - 2*p_ripple_reference*(f_reference/f_sw)**2/f_sw"
                 " - (core_beta - core_alpha)*p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha)/f_sw", differentiating()),
            Step("Where the sum is least, its slope is zero. The slope rises from below zero to above, so there is one such place.",
                 "slope_loss = 0", assumption("frequency of least loss")),
            Step("Put it in.",
                 "0 = energy_period - 2*p_ripple_reference*(f_reference/f_sw)**2/f_sw"
                 " - (core_beta - core_alpha)*p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha)/f_sw",
                 substituting(), uses=(3, 4)),
            Step("So this is what one period of edges costs there.",
                 "energy_period = 2*p_ripple_reference*(f_reference/f_sw)**2/f_sw"
                 " + (core_beta - core_alpha)*p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha)/f_sw",
                 solving("energy_period")),
            Step("The heat of the ripple at that frequency.", "p_ripple = p_ripple_reference*(f_reference/f_sw)**2", definition()),
            Step("Core loss at that frequency.", "p_core = p_core_reference*(f_reference/f_sw)**(core_beta - core_alpha)", definition()),
            Step("The loss of the edges.", "p_edges = energy_period*f_sw", definition()),
            Step("Put in all three. Conduction has dropped out: it does not say where the least loss lies, only how high.",
                 "p_edges = 2*p_ripple + (core_beta - core_alpha)*p_core", substituting(), uses=(9, 6, 7, 8)),
        ),
        meaning="loss of the edges at the frequency of least loss, at given core and turns",
        unit="W",
        valid=(Condition("core_beta > core_alpha", "swing counts for more than frequency in the core"),),
        bound=Bound("", "follows from the four terms alone; where the winding's resistance for the ripple grows with frequency, its heat "
                    "falls less than by the square"),
        source="derived here",
        example={"p_ripple": 0.01, "core_beta": 2.5, "core_alpha": 1.4, "p_core": 0.04},
    )  # fmt: skip


@cache
def least_loss_frequency() -> Derivation:
    """The frequency of least loss in closed form, where what falls goes with one power: f = f_0 (n P_fall,0/(W_s f_0))^(1/(n+1))."""
    return Derivation(
        "least_loss_frequency", "The frequency of least loss",
        (
            Step("Let what falls go with one power of frequency: 2 where the heat of the ripple rules, beta less alpha where core "
                 "loss does.",
                 "p_loss = p_steady + p_falling_reference*(f_reference/f_sw)**falling + energy_period*f_sw", assumption(FALLS_AS_ONE)),
            Step("The lowest point of the sum.",
                 "f_sw = f_reference*(falling*p_falling_reference/(energy_period*f_reference))**(1/(falling + 1))",
                 extremum("f_sw", "minimum")),
        ),
        meaning="switching frequency at which all losses together are least, at given core and turns",
        unit="Hz",
        bound=Bound("", "as good as one power of frequency; a sum of several lies between what the smallest and the largest power give"),
        source="derived here",
        example={"f_reference": 150e3, "falling": 1.1, "p_falling_reference": 0.05, "energy_period": 6e-7},
    )  # fmt: skip


@cache
def edges_at_least_loss() -> Derivation:
    """At the frequency of least loss the edges cost n times what falls: twice, where the heat of the ripple rules."""
    return Derivation(
        "edges_at_least_loss", "How the losses share at the frequency of least loss",
        (
            Step("Take the frequency of least loss.",
                 "f_sw = f_reference*(falling*p_falling_reference/(energy_period*f_reference))**(1/(falling + 1))",
                 earlier(least_loss_frequency())),
            Step("What falls, there.", "p_falling = p_falling_reference*(f_reference/f_sw)**falling", assumption(FALLS_AS_ONE)),
            Step("The loss of the edges, there.", "p_edges = energy_period*f_sw", definition()),
            Step("Put in the frequency: not equal shares, but in the ratio of the powers.", "p_edges = falling*p_falling",
                 substituting(), uses=(3, 1, 2)),
        ),
        meaning="loss of the edges at the frequency of least loss",
        unit="W",
        source="derived here",
        bound=Bound("", "as good as one power of frequency"),
        example={"falling": 2.0, "p_falling": 0.05},
    )  # fmt: skip


@cache
def frequency_for_loss() -> Derivation:
    """The highest frequency that a loss allows: beyond it, smaller parts cost more than is allowed."""
    return Derivation(
        "frequency_for_loss", "The highest frequency that a loss allows",
        (
            Step("Let the coil follow the frequency, so that its own losses stay with conduction. The edges come on top, and together they "
                 "take all that is allowed.", "p_allowed = p_steady + energy_period*f_sw",
                 assumption("losses of the coil stay as it follows the frequency")),
            Step("Solve for the frequency. Size falls with frequency, so the least size at this loss lies here.",
                 "f_sw = (p_allowed - p_steady)/energy_period", solving("f_sw")),
        ),
        meaning="highest switching frequency at which losses stay within what is allowed, the coil's own kept",
        unit="Hz",
        valid=(Condition("p_allowed > p_steady", "more is allowed than conduction alone takes"),),
        bound=Bound("", "the coil's own losses do not quite stay: see the sweep of complete designs"),
        source="derived here; where twice the steady losses are allowed, the same as Erickson & Maksimovic, 3rd ed., eq. 4.53",
        example={"p_allowed": 1.47, "p_steady": 0.9, "energy_period": 1.2e-6},
    )  # fmt: skip
