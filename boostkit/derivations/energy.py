"""Energy by the cycle: what enters the field, what is handed over, and what flows straight through."""

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
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import (
    ABOVE_SOURCE,
    BENT_BY_CAPACITOR,
    BENT_BY_LOAD,
    BENT_BY_RESISTANCE,
    BENT_LOSS,
    CLIMB,
    CONTINUOUS,
    DISCONTINUOUS,
    DROP,
    LOSS,
    LOST_LIFT,
    PATH_DROP_DRY,
    SAG,
    SMALL_DROP_DRY,
    STRAIGHT_SLOPES,
    SWING,
)
from boostkit.derivations.field import discontinuous_energy
from boostkit.derivations.switching import FLAT_OUTPUT, NEVER_DRY, NO_LOSS, output_by_times

# What losses take: from the ideal gain as a share, and in volts while the coil gives its energy away in discontinuous
# conduction (a mean over the charge of a triangle: two thirds of its peak).
LOST_GAIN = f"{LOSS} + {DROP} + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BENT_LOSS}"
LOST_VOLTAGE_DRY = f"(v_rectifier + (r_inductor + r_rectifier + r_capacitor)*{CLIMB}*2/3 + v_out*{SAG}/2)"


@cache
def energy_per_cycle() -> Derivation:
    """The energy handed to the output in one period: P_out/f_s."""
    return Derivation(
        "energy_per_cycle", "The energy handed over in one period",
        (
            Step("Power is voltage times current.", "p_out = v_out*i_out",
                 law("electric power", power="p_out", voltage="v_out", current="i_out")),
            Step("Take an output voltage that hardly moves within a period.", "ripple_voltage = 0",
                 assumption(FLAT_OUTPUT)),
            Step("The energy of one period is the power summed over the period.",
                 "energy_out = integral(v_out*i_out, t, 0, t_sw)", definition()),
            Step("The power is steady.", "energy_out = v_out*i_out*t_sw", integrating()),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("A higher frequency hands over smaller portions.", "energy_out = v_out*i_out/f_sw",
                 substituting(), uses=(4, 5)),
        ),
        meaning="energy handed to the output in one period",
        unit="J",
        bound=Bound(f"{SWING}**2/4", "good in both modes of conduction; into a resistance it errs low, by the square "
                                     "of the output ripple"),
        source="derived here",
        example={"v_out": 18.0, "i_out": 0.35, "f_sw": 150e3},
    )


@cache
def power_by_cycle() -> Derivation:
    """Power is energy per cycle times cycles per second."""
    return Derivation(
        "power_by_cycle", "Power is energy per cycle times frequency",
        (
            Step("Take the energy handed over in one period.", "energy_out = v_out*i_out/f_sw",
                 earlier(energy_per_cycle())),
            Step("Power is voltage times current.", "p_out = v_out*i_out",
                 law("electric power", power="p_out", voltage="v_out", current="i_out")),
            Step("Put the one into the other.", "energy_out = p_out/f_sw", substituting(), uses=(1, 2)),
            Step("Solve for the power.", "p_out = energy_out*f_sw", solving("p_out")),
        ),
        meaning="output power from the energy of one cycle",
        unit="W",
        bound=Bound("0*f_sw", "exact in both modes of conduction"),
        source="derived here",
        example={"energy_out": 42e-6, "f_sw": 150e3},
    )


@cache
def straight_share() -> Derivation:
    """The share of the output energy that comes straight from the source: V_in/V_out, in both modes."""
    return Derivation(
        "straight_share", "What flows straight through",
        (
            Step("Each period a charge passes through the rectifier to the output, at the output voltage.",
                 "energy_out = charge_out*v_out",
                 law("work on a charge", energy="energy_out", charge="charge_out", voltage="v_out")),
            Step("While it does so the same charge passes through the source, which lifts it by the source voltage.",
                 "energy_straight = charge_out*v_in",
                 law("work on a charge", energy="energy_straight", charge="charge_out", voltage="v_in")),
            Step("Take parts that lose nothing on the way.", "v_rectifier_on = 0", assumption(NO_LOSS)),
            Step("The share is the one over the other.", "share_straight = energy_straight/energy_out", definition()),
            Step("Put in the two energies.", "share_straight = charge_out*v_in/(charge_out*v_out)",
                 substituting(), uses=(4, 1, 2)),
            Step("The charge drops out.", "share_straight = v_in/v_out", simplifying()),
        ),
        meaning="share of the output energy that flows straight from the source, in both modes of conduction",
        unit="",
        bound=Bound(f"{SWING}**2/4", "losses do not change it, as the charge is the same; errs high, by the square of "
                                     "the output ripple"),
        source="derived here",
        example={"v_in": 6.0, "v_out": 18.0},
    )


@cache
def field_share() -> Derivation:
    """The share of the output energy that passed through the field: 1 - V_in/V_out, in both modes."""
    return Derivation(
        "field_share", "What passes through the field",
        (
            Step("What reaches the output comes straight from the source or out of the field.",
                 "energy_out = energy_straight + energy_field",
                 law("energy conservation", comes="energy_out", goes="energy_straight + energy_field")),
            Step("So the field gives the rest.", "energy_field = energy_out - energy_straight",
                 solving("energy_field")),
            Step("Its share is the one over the other.", "share_field = energy_field/energy_out", definition()),
            Step("Put in the rest.", "share_field = (energy_out - energy_straight)/energy_out",
                 substituting(), uses=(3, 2)),
            Step("The two shares add to one.", "share_field = 1 - energy_straight/energy_out", simplifying()),
            Step("The other share is the one that flows straight through.",
                 "share_straight = energy_straight/energy_out", definition()),
            Step("It is known.", "share_straight = v_in/v_out", earlier(straight_share())),
            Step("Solve for the energy that flows straight.", "energy_straight = share_straight*energy_out",
                 solving("energy_straight"), uses=6),
            Step("Put it in.", "share_field = 1 - share_straight*energy_out/energy_out", substituting(), uses=(5, 8)),
            Step("The energy drops out.", "share_field = 1 - share_straight", simplifying()),
            Step("Put in the voltages.", "share_field = 1 - v_in/v_out", substituting(), uses=(10, 7)),
        ),
        meaning="share of the output energy that passed through the field, in both modes of conduction",
        unit="",
        valid=(Condition("v_out > v_in", "the output lies above the source"),),
        bound=Bound(f"{SWING}**2/4*v_in/(v_out - v_in)",
                    "what the rectifier and the resistances burn is not counted as output energy; errs low, by the "
                    "square of the output ripple"),
        source="derived here",
        example={"v_in": 6.0, "v_out": 18.0},
    )


@cache
def field_share_by_duty() -> Derivation:
    """The same share from the conduction times: D/(D + D_2), in both modes."""
    return Derivation(
        "field_share_by_duty", "The share through the field, from the conduction times",
        (
            Step("Take the share that passes through the field.", "share_field = 1 - v_in/v_out",
                 earlier(field_share())),
            Step("The conduction times set the output voltage.", "v_out = v_in*(duty + duty_rectifier)/duty_rectifier",
                 earlier(output_by_times())),
            Step("Put it into the share.", "share_field = 1 - v_in/(v_in*(duty + duty_rectifier)/duty_rectifier)",
                 substituting(), uses=(1, 2)),
            Step("Of all the time in which the coil works, it is the part in which it loads.",
                 "share_field = duty/(duty + duty_rectifier)", simplifying()),
        ),
        meaning="share of the output energy that passed through the field; D_2 is the share of the period in which the "
                "rectifier conducts",
        unit="",
        valid=(ABOVE_SOURCE, STRAIGHT_SLOPES,
               Condition(f"2*{LOST_LIFT} <= duty/duty_rectifier", "losses take at most half of what the coil lifts")),
        bound=Bound(f"{LOST_LIFT}*(1 + {BENT_BY_RESISTANCE}/6)/((1 + duty/duty_rectifier)*(duty/duty_rectifier - {LOST_LIFT}))",
                    "errs high: losses lengthen the loading against the giving"),
        source="derived here",
        example={"duty": 0.25, "duty_rectifier": 0.5},
    )


@cache
def field_share_continuous() -> Derivation:
    """In continuous conduction and without loss the share is the duty itself."""
    return Derivation(
        "field_share_continuous", "The share through the field in continuous conduction",
        (
            Step("Take the share from the conduction times.", "share_field = duty/(duty + duty_rectifier)",
                 earlier(field_share_by_duty())),
            Step("Let the coil carry current all through the open time.", "duty_rectifier = duty_off",
                 assumption(NEVER_DRY)),
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Put both in: coil loading and coil giving fill the period.", "share_field = duty",
                 substituting(), uses=(1, 2, 3)),
        ),
        meaning="share of the output energy that passed through the field in continuous conduction",
        unit="",
        valid=(CONTINUOUS, ABOVE_SOURCE,
               Condition(f"duty*(1 - {DROP}) >= 2*duty_off*({LOST_GAIN})", "losses take at most half of the lift")),
        bound=Bound(f"duty_off*({LOST_GAIN})/(duty*(1 - {DROP}) - duty_off*({LOST_GAIN}))",
                    "errs high, as the ideal gain does"),
        source="derived here",
        example={"duty": 0.6},
    )


@cache
def discontinuous_power() -> Derivation:
    """The output power that this energy carries: V_in^2 D^2/(2 L f_s) times V_out/(V_out - V_in)."""
    return Derivation(
        "discontinuous_power", "The output power in discontinuous conduction",
        (
            Step("Take the energy that passes through the field.",
                 "energy_swing = v_in**2*duty**2/(2*inductance*f_sw**2)", earlier(discontinuous_energy())),
            Step("The share of the field is the one over the other.", "share_field = energy_field/energy_out",
                 definition()),
            Step("It is known from the voltages.", "share_field = 1 - v_in/v_out", earlier(field_share())),
            Step("Without loss everything that entered the field goes to the output.",
                 "energy_field = energy_swing", assumption(NO_LOSS)),
            Step("Put shares and energies together.",
                 "1 - v_in/v_out = v_in**2*duty**2/(2*inductance*f_sw**2)/energy_out",
                 substituting(), uses=(2, 3, 4, 1)),
            Step("Take power as energy per cycle times frequency.", "p_out = energy_out*f_sw",
                 earlier(power_by_cycle())),
            Step("Solve for the energy handed over.", "energy_out = p_out/f_sw", solving("energy_out")),
            Step("Put it in.", "1 - v_in/v_out = v_in**2*duty**2/(2*inductance*f_sw**2)/(p_out/f_sw)",
                 substituting(), uses=(5, 7)),
            Step("Solve for the power.",
                 "p_out = v_in**2*duty**2/(2*inductance*f_sw)*v_out/(v_out - v_in)", solving("p_out")),
        ),
        meaning="output power in discontinuous conduction at a given output voltage",
        unit="W",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, SMALL_DROP_DRY, STRAIGHT_SLOPES),
        bound=Bound(f"(1 + {LOST_VOLTAGE_DRY}*(1 + {BENT_BY_RESISTANCE})/(v_out - v_in))/(1 - {PATH_DROP_DRY})**2 - 1",
                    "errs high, by what all the parts in the path take"),
        source="derived here; the operating point of Erickson & Maksimovic, 3rd ed., eq. 15.61-15.64, fits it",
        example={"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3, "v_out": 36.0},
    )
