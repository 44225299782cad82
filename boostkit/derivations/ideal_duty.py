"""The ideal gain turned round: the duty that an output voltage asks for."""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, definition, earlier, solving, substituting
from boostkit.derivations.bounds import CONTINUOUS
from boostkit.derivations.switching import ideal_gain


@cache
def duty_for_voltage() -> Derivation:
    """The duty that brings an output voltage without any loss: D = 1 - V_in/V_out."""
    return Derivation(
        "duty_for_voltage", "The duty for an output voltage",
        (
            Step("Take the gain of the ideal converter.", "v_out/v_in = 1/duty_off", earlier(ideal_gain())),
            Step("The switch is open for the rest of the period.", "duty_off = 1 - duty", definition()),
            Step("Put it in.", "v_out/v_in = 1/(1 - duty)", substituting(), uses=(1, 2)),
            Step("Solve for the duty.", "duty = 1 - v_in/v_out", solving("duty")),
        ),
        meaning="duty in continuous conduction, all parts without loss",
        unit="",
        valid=(CONTINUOUS, Condition("v_out > v_in", "the output lies above the source")),
        bound=Bound("", "errs low: the losses ask for a little more"),
        source="derived here; Erickson & Maksimovic, 3rd ed., eq. 2.35, turned round",
        example={"v_in": 6.0, "v_out": 18.0},
    )
