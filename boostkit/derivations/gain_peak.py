"""The ceiling of the gain: where it lies, how high it is, what it costs, and what lies beyond it."""

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
    law,
    letter,
    limit,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import BENT_BY_CAPACITOR, BENT_BY_LOAD, BENT_LOSS, CONTINUOUS, DROP, LOSS
from boostkit.derivations.real_parts import efficiency_with_losses, real_gain
from boostkit.derivations.switching import charge_balance

gain_peak = letter("gain_peak", r"M_{\mathrm{max}}", "", "largest voltage gain that any duty gives", (1.1, 20.0))
p_winding = letter("p_winding", r"P_{R_L}", "W", "power lost in the winding", (0.001, 100.0))

WINDING_ONLY = "the winding is the only part with loss"
NOT_JUDGED = Bound("", "as good as the gain with losses, which the exact circuit judges; ripple small, and edges not counted")
LOW_LOSS = Condition("4*r_inductor <= r_load", "the largest gain lies above one")


@cache
def winding_gain() -> Derivation:
    """The gain with a lossy winding alone: the shortest formula that has a ceiling."""
    return Derivation(
        "winding_gain", "The gain with the loss of the winding alone",
        (
            Step("Take the gain with losses.",
                 "v_out/v_in = 1/duty_off*(1 - duty_off*v_rectifier/v_in)"
                 "/(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))", earlier(real_gain())),
            Step("Take a switch without resistance.", "r_switch = 0", assumption(WINDING_ONLY)),
            Step("And a rectifier without resistance.", "r_rectifier = 0", assumption(WINDING_ONLY)),
            Step("And without a forward voltage.", "v_rectifier = 0", assumption(WINDING_ONLY)),
            Step("Put these in.", "v_out/v_in = 1/duty_off/(1 + r_inductor/(duty_off**2*r_load))", substituting(),
                 uses=(1, 2, 3, 4)),
            Step("Call the ratio the gain.", "gain = v_out/v_in", definition()),
            Step("Cleared of fractions: as D' falls, the first term below the line falls and the second one grows.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", substituting(), uses=(6, 5)),
        ),
        meaning="voltage gain in continuous conduction, the winding the only part with loss",
        unit="",
        valid=(CONTINUOUS,),
        bound=Bound(f"(1 + {LOSS})/((1 - {DROP})*(1 + r_inductor/(duty_off**2*r_load))) - 1"
                    f" + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BENT_LOSS}", "errs high, by what all parts but the winding take"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 3.14 and 3.18",
        example={"duty": 0.6, "r_inductor": 0.1, "r_load": 20.0},
    )


@cache
def peak_duty() -> Derivation:
    """The duty beyond which the gain falls again: D' = sqrt(R_L/R)."""
    return Derivation(
        "peak_duty", "The duty of the largest gain",
        (
            Step("Take the gain with the loss of the winding alone.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", earlier(winding_gain())),
            Step("Where the two terms below the line are equal, their sum is least and the gain largest.",
                 "duty_off = sqrt(r_inductor/r_load)", extremum("duty_off", "maximum")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("Put it in.", "1 - duty = sqrt(r_inductor/r_load)", substituting(), uses=(2, 3)),
            Step("The duty of the largest gain. No controller should ever go beyond it: there more duty gives less "
                 "output.", "duty = 1 - sqrt(r_inductor/r_load)", solving("duty")),
        ),
        meaning="duty of the largest gain, the winding the only part with loss",
        unit="",
        bound=NOT_JUDGED,
        source="derived here; for fig. 3.9 in Erickson & Maksimovic, 3rd ed., sec. 3.2",
        example={"r_inductor": 0.1, "r_load": 20.0},
    )


@cache
def peak_gain() -> Derivation:
    """The largest gain that any duty gives: sqrt(R/R_L)/2."""
    return Derivation(
        "peak_gain", "The largest gain",
        (
            Step("Take the gain with the loss of the winding alone.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", earlier(winding_gain())),
            Step("Take the duty of the largest gain.", "duty = 1 - sqrt(r_inductor/r_load)", earlier(peak_duty())),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("So the switch is open for this share.", "duty_off = sqrt(r_inductor/r_load)", substituting(), uses=(3, 2)),
            Step("Put it in.", "gain = 1/(sqrt(r_inductor/r_load) + r_inductor/(sqrt(r_inductor/r_load)*r_load))",
                 substituting(), uses=(1, 4)),
            Step("Call the gain there the largest gain.", "gain_peak = gain", definition()),
            Step("The two terms are equal. A quarter of the resistance gives twice the ceiling.",
                 "gain_peak = sqrt(r_load/r_inductor)/2", substituting(), uses=(6, 5)),
        ),
        meaning="largest voltage gain that any duty gives, the winding the only part with loss",
        unit="",
        bound=NOT_JUDGED,
        valid=(LOW_LOSS,),
        source="derived here; for fig. 3.9 in Erickson & Maksimovic, 3rd ed., sec. 3.2",
        example={"r_inductor": 0.1, "r_load": 20.0},
    )


@cache
def efficiency_at_peak() -> Derivation:
    """At the largest gain half of the input power heats the winding."""
    return Derivation(
        "efficiency_at_peak", "The efficiency at the largest gain",
        (
            Step("Take the efficiency with losses.",
                 "efficiency = (1 - duty_off*v_rectifier/v_in)"
                 "/(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))",
                 earlier(efficiency_with_losses())),
            Step("Take a switch without resistance.", "r_switch = 0", assumption(WINDING_ONLY)),
            Step("And a rectifier without resistance.", "r_rectifier = 0", assumption(WINDING_ONLY)),
            Step("And without a forward voltage.", "v_rectifier = 0", assumption(WINDING_ONLY)),
            Step("Put these in.", "efficiency = 1/(1 + r_inductor/(duty_off**2*r_load))", substituting(),
                 uses=(1, 2, 3, 4)),
            Step("Take the duty of the largest gain.", "duty = 1 - sqrt(r_inductor/r_load)", earlier(peak_duty())),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("So the switch is open for this share.", "duty_off = sqrt(r_inductor/r_load)", substituting(), uses=(7, 6)),
            Step("Winding and load take the same power, whatever the resistances: the ceiling is out of reach in practice.",
                 "efficiency = 1/2", substituting(), uses=(5, 8)),
        ),
        meaning="efficiency at the duty of the largest gain, the winding the only part with loss",
        unit="",
        bound=NOT_JUDGED,
        source="derived here from eq. 3.23 in Erickson & Maksimovic, 3rd ed.",
    )


@cache
def needed_resistance() -> Derivation:
    """The resistance of the winding above which a wanted gain cannot be had at all: R/(4 M^2)."""
    return Derivation(
        "needed_resistance", "The resistance that a gain allows",
        (
            Step("Take the gain with the loss of the winding alone.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", earlier(winding_gain())),
            Step("Solve for the resistance with which a duty just gives this gain.",
                 "r_inductor = r_load*(duty_off/gain - duty_off**2)", solving("r_inductor")),
            Step("It is zero at the ideal duty, and at full duty; halfway between the duty allows the most.",
                 "duty_off = 1/(2*gain)", extremum("duty_off", "maximum")),
            Step("Put it in. Twice the gain needs a quarter of the resistance; and this is the limit, where half of the "
                 "power is lost.", "r_inductor = r_load/(4*gain**2)", substituting(), uses=(2, 3)),
        ),
        meaning="largest resistance of the winding with which a gain can be reached at all",
        unit="Ω",
        bound=NOT_JUDGED,
        source="derived here; for gain 5 in Erickson & Maksimovic, 3rd ed., sec. 3.2",
        example={"r_load": 20.0, "gain": 5.0},
    )


@cache
def gain_at_full_duty() -> Derivation:
    """Beyond the peak the gain falls to nothing as the switch hardly opens any more."""
    return Derivation(
        "gain_at_full_duty", "The gain where the switch hardly opens",
        (
            Step("Take the gain with the loss of the winding alone.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", earlier(winding_gain())),
            Step("Let the switch open for a shorter and shorter share: the coil fills up and hands nothing over.",
                 "gain = 0", limit("duty_off", "0")),
        ),
        meaning="voltage gain where the duty tends to one, with any resistance in the winding",
        unit="",
        bound=NOT_JUDGED,
        source="derived here; same limit in Erickson & Maksimovic, 3rd ed., sec. 3.2",
    )


@cache
def loss_at_full_duty() -> Derivation:
    """With the switch closed for good, the winding alone limits the current: V_in^2/R_L of heat."""
    return Derivation(
        "loss_at_full_duty", "The heat where the switch hardly opens",
        (
            Step("The coil carries more than the load.", "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("The load is a resistance.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("It sets the load current.", "i_out = v_out/r_load", solving("i_out")),
            Step("Take the gain with the loss of the winding alone.",
                 "gain = 1/(duty_off + r_inductor/(duty_off*r_load))", earlier(winding_gain())),
            Step("The gain is the ratio of the voltages.", "gain = v_out/v_in", definition()),
            Step("Put it in.", "v_out/v_in = 1/(duty_off + r_inductor/(duty_off*r_load))", substituting(), uses=(4, 5)),
            Step("Solve for the output voltage.", "v_out = v_in/(duty_off + r_inductor/(duty_off*r_load))", solving("v_out")),
            Step("Put voltage and load into the current of the coil.",
                 "i_inductor_mean = v_in/(duty_off + r_inductor/(duty_off*r_load))/r_load/duty_off",
                 substituting(), uses=(1, 3, 7)),
            Step("Cleared of fractions: the load appears to the source as D'² R behind the winding.",
                 "i_inductor_mean = v_in/(duty_off**2*r_load + r_inductor)", simplifying()),
            Step("The current drops a voltage across the winding.", "v_winding = r_inductor*i_inductor_mean",
                 law("Ohm's law", voltage="v_winding", resistance="r_inductor", current="i_inductor_mean")),
            Step("Voltage times current is what heats it.", "p_winding = v_winding*i_inductor_mean",
                 law("electric power", power="p_winding", voltage="v_winding", current="i_inductor_mean")),
            Step("Put in voltage and current.", "p_winding = r_inductor*(v_in/(duty_off**2*r_load + r_inductor))**2",
                 substituting(), uses=(11, 10, 9)),
            Step("Let the switch open for a shorter and shorter share: the winding lies straight across the source. At "
                 "this current winding, switch and source can burn; a real supply needs a fuse and a limit of the duty.",
                 "p_winding = v_in**2/r_inductor", limit("duty_off", "0")),
        ),
        meaning="heat in the winding where the duty tends to one",
        unit="W",
        bound=NOT_JUDGED,
        source="derived here; same limit in Erickson & Maksimovic, 3rd ed., sec. 3.2",
        example={"v_in": 6.0, "r_inductor": 0.1},
    )
