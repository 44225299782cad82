"""A small difference of two large powers: what a meter's error in one of them does to the losses."""

from functools import cache

from boostkit.algebra import Bound, Derivation, Step, definition, letter, simplifying, solving, substituting
from boostkit.derivations import frequency as _frequency  # noqa: F401  (the letter of all losses together)
from boostkit.derivations import real_parts as _real_parts  # noqa: F401  (the letters of input power and efficiency)

p_out_read = letter("p_out_read", r"P_{\mathrm{out,read}}", "W", "output power as the meters read it", (0.3, 100.0))
p_loss_read = letter("p_loss_read", r"P_{\mathrm{loss,read}}", "W", "losses as the meters' readings give them", (-5.0, 20.0), low=-1e9)
e_read = letter("e_read", r"e_{\mathrm{read}}", "", "share by which a power is read too high", (0.001, 0.03), low=-1.0)
times_worse = letter("times_worse", r"k_{\mathrm{loss}}", "", "how many times an error of the output power the error of the losses is",
                     (1.0, 100.0))  # fmt: skip


@cache
def error_of_losses() -> Derivation:
    """By how much an error of the output power is magnified in the losses: eta/(1 - eta)."""
    return Derivation(
        "error_of_losses", "How an error of the output power comes back in the losses",
        (
            Step("Losses are what goes in and does not come out: a difference of two powers.", "p_loss = p_in - p_out", definition()),
            Step("Efficiency is what comes out over what goes in.", "efficiency = p_out/p_in", definition()),
            Step("Turned round.", "p_out = efficiency*p_in", solving("p_out")),
            Step("Put it in. A good converter loses a small share.", "p_loss = p_in - efficiency*p_in", substituting(), uses=(1, 3)),
            Step("The meters read the output power too high by a share.", "p_out_read = p_out*(1 + e_read)", definition()),
            Step("With it the losses come out as this.", "p_loss_read = p_in - p_out_read", definition()),
            Step("Put in what was read.", "p_loss_read = p_in - efficiency*p_in*(1 + e_read)", substituting(), uses=(6, 5, 3)),
            Step("Ask how many times larger the share is by which the losses come out too low.",
                 "times_worse = (p_loss - p_loss_read)/(p_loss*e_read)", definition()),
            Step("Put in both.",
                 "times_worse = (p_in - efficiency*p_in - (p_in - efficiency*p_in*(1 + e_read)))/((p_in - efficiency*p_in)*e_read)",
                 substituting(), uses=(8, 4, 7)),
            Step("Power and error drop out. The better the converter, the worse are its losses known.",
                 "times_worse = efficiency/(1 - efficiency)", simplifying()),
        ),
        meaning="factor from the relative error of the output power to that of the losses, input power without error",
        unit="",
        bound=Bound("0", "exact"),
        source="derived here",
        example={"efficiency": 0.9},
    )
