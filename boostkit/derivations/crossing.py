"""Where losses cross: the frequency and the current at which switching costs as much as conduction, and the best load."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    extremum,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations import frequency  # noqa: F401  (its letters p_edges, energy_period and p_loss occur here)

p_conduction = letter("p_conduction", r"P_{\mathrm{cond}}", "W", "losses in resistances and forward voltages", (0.01, 5.0))
p_fixed = letter("p_fixed", r"P_{\mathrm{fix}}", "W", "losses that the load does not change: control, gates, capacitances", (0.001, 0.5))
p_edges_idle = letter("p_edges_idle", r"P_{\mathrm{idle}}", "W", "loss of the edges at no load: gates, capacitances, recovered charge",
                      (0.001, 0.5))
v_edges = letter("v_edges", r"V_s", "V", "further loss of the edges per ampere of load", (0.001, 0.5))
r_losses = letter("r_losses", r"R_{\mathrm{loss}}", "Ω", "loss in resistances over the square of the load current", (0.01, 5.0),
                  open_low=True)
loss_share = letter("loss_share", r"s_{\mathrm{loss}}", "", "losses over output power", (0.01, 0.5))

AT_CROSSING = "at the crossing itself"
STEADY = "the resistances, seen from the load, do not change with the load (duty constant, ripple small)"
AS_GOOD = Bound("", "as good as the losses put in; the exact circuit knows no edges and does not judge it")


@cache
def critical_frequency() -> Derivation:
    """The frequency at which the edges lose as much as everything else: (P_cond + P_fix)/W_s."""
    return Derivation(
        "critical_frequency", "The frequency at which switching costs as much as the rest",
        (
            Step("Power is energy per period times periods per second.", "p_edges = energy_period*f_sw", definition()),
            Step("At the crossing the edges take as much as conduction and control together.",
                 "p_edges = p_conduction + p_fixed", assumption(AT_CROSSING)),
            Step("Put in what the edges take.", "energy_period*f_sw = p_conduction + p_fixed", substituting(), uses=(2, 1)),
            Step("Solve for the frequency. Far below it a slower clock saves little; far above it the efficiency drops with "
                 "every step.", "f_sw = (p_conduction + p_fixed)/energy_period", solving("f_sw")),
        ),
        meaning="switching frequency at which the loss of the edges equals all other losses",
        unit="Hz",
        bound=Bound("", "as good as the losses put in; that ripple, and with it conduction, grows at lower frequency is not counted"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 4.53",
        example={"p_conduction": 0.4, "p_fixed": 0.03, "energy_period": 2e-6},
    )


@cache
def critical_current() -> Derivation:
    """The load current at which conduction loses as much as the edges."""
    return Derivation(
        "critical_current", "The load at which conduction costs as much as switching",
        (
            Step("Resistances lose with the square of the load, forward voltages with the load itself.",
                 "p_conduction = r_losses*i_out**2 + v_rectifier*i_out", assumption(STEADY)),
            Step("Gates and capacitances lose the same at any load, overlap in proportion to it.",
                 "p_edges = p_edges_idle + v_edges*i_out", assumption("edges of constant length")),
            Step("At the crossing the two are equal.", "p_conduction = p_edges", assumption(AT_CROSSING)),
            Step("Put in both.", "r_losses*i_out**2 + v_rectifier*i_out = p_edges_idle + v_edges*i_out", substituting(),
                 uses=(3, 1, 2)),
            Step("The positive solution. Below this load the edges rule, above it conduction does.",
                 "i_out = (v_edges - v_rectifier + sqrt((v_edges - v_rectifier)**2 + 4*r_losses*p_edges_idle))/(2*r_losses)",
                 solving("i_out", "i_out > 0")),
        ),
        meaning="load current at which conduction losses equal those of the edges",
        unit="A",
        bound=AS_GOOD,
        source="derived here",
        example={"r_losses": 0.6, "v_rectifier": 0.0, "v_edges": 0.05, "p_edges_idle": 0.02},
    )


@cache
def best_load_current() -> Derivation:
    """The load current of best efficiency: where the losses that no load changes equal those that go with its square."""
    return Derivation(
        "best_load_current", "The load of best efficiency",
        (
            Step("Some losses stay at any load, some go with the load, some with its square.",
                 "p_loss = p_fixed + (v_rectifier + v_edges)*i_out + r_losses*i_out**2", assumption(STEADY)),
            Step("The output power goes with the load.", "p_out = v_out*i_out",
                 law("electric power", power="p_out", voltage="v_out", current="i_out")),
            Step("Judge the losses by what they are for.", "loss_share = p_loss/p_out", definition()),
            Step("Put in both.",
                 "loss_share = (p_fixed + (v_rectifier + v_edges)*i_out + r_losses*i_out**2)/(v_out*i_out)", substituting(),
                 uses=(3, 1, 2)),
            Step("Divide out: one part falls with the load, one stays, one grows.",
                 "loss_share = (p_fixed/i_out + v_rectifier + v_edges + r_losses*i_out)/v_out", simplifying()),
            Step("Least where the falling and the growing part are equal. Forward voltage and overlap do not move the place.",
                 "i_out = sqrt(p_fixed/r_losses)", extremum("i_out", "minimum")),
        ),
        meaning="load current at which the efficiency is best",
        unit="A",
        bound=AS_GOOD,
        source="derived here",
        example={"p_fixed": 0.05, "r_losses": 0.6},
    )
