"""What switch, rectifier and output capacitor must bear in continuous conduction: peak, mean and rms."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    averaging,
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
    BEND,
    CLIMB,
    CONTINUOUS,
    CURRENT_CLOSED,
    CURRENT_HIGHEST,
    DISCONTINUOUS,
    PATH_DROP,
    PATH_DROP_DRY,
    SAG,
    SMALL_DROP,
    SMALL_DROP_DRY,
)
from boostkit.derivations.switching import NO_LOSS, STEADY_LOAD, charge_balance, inductor_ripple

STRAIGHT = "coil current on straight slopes"
RUNS_DRY = "coil current starts each period at zero"
# By what share of the output the reverse voltage of the rectifier differs from the mean output.
_OFF_BLOCKING = f"r_switch*{CURRENT_CLOSED}/v_out + r_capacitor/r_load + {SAG}/2"


@cache
def peak_current() -> Derivation:
    """The highest current of coil, switch and rectifier: I_L plus half the ripple."""
    return Derivation(
        "peak_current", "The highest coil current",
        (
            Step("While the switch is closed the coil current climbs from its lowest value on a straight line.",
                 "i_inductor = i_inductor_min + ripple_current*t/(duty*t_sw)", assumption(STRAIGHT)),
            Step("Its mean over that time. The way down runs between the same two currents and has the same mean.",
                 "i_inductor_mean = mean(i_inductor_min + ripple_current*t/(duty*t_sw), t, 0, duty*t_sw)",
                 definition()),
            Step("The mean of a straight line lies midway.",
                 "i_inductor_mean = i_inductor_min + ripple_current/2", averaging()),
            Step("So the lowest current lies half a ripple below the mean.",
                 "i_inductor_min = i_inductor_mean - ripple_current/2", solving("i_inductor_min")),
            Step("The highest current lies a whole ripple above the lowest.",
                 "i_inductor_max = i_inductor_min + ripple_current", definition()),
            Step("Put in the lowest current.",
                 "i_inductor_max = i_inductor_mean - ripple_current/2 + ripple_current", substituting(), uses=(5, 4)),
            Step("The highest current lies half a ripple above the mean.",
                 "i_inductor_max = i_inductor_mean + ripple_current/2", simplifying()),
            Step("The mean follows from the load.", "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("The ripple follows from source, duty and coil.",
                 "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("Put in both.", "i_inductor_max = i_out/duty_off + v_in*duty/(2*inductance*f_sw)",
                 substituting(), uses=(7, 8, 9)),
        ),
        meaning="highest current of coil, switch and rectifier in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE, SMALL_DROP),
        bound=Bound(f"{CLIMB}/2*{PATH_DROP}/(1 - {PATH_DROP})/{CURRENT_HIGHEST} + {BEND}",
                    "errs high as far as the ripple does"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 2.3",
        example={"i_out": 0.5, "duty": 2 / 3, "v_in": 5.0, "inductance": 150e-6, "f_sw": 25e3},
    )


@cache
def dry_peak() -> Derivation:
    """The highest coil current where each period starts at zero: V_in D/(L f_s)."""
    return Derivation(
        "dry_peak", "The highest coil current in discontinuous conduction",
        (
            Step("Take a coil whose current starts each period at zero.", "i_inductor_min = 0", assumption(RUNS_DRY)),
            Step("The ripple is the distance from the lowest to the highest current.",
                 "ripple_current = i_inductor_max - i_inductor_min", definition()),
            Step("Source, duty and coil set it, in both modes.", "ripple_current = v_in*duty/(inductance*f_sw)",
                 earlier(inductor_ripple())),
            Step("Solve for the highest current.", "i_inductor_max = ripple_current + i_inductor_min",
                 solving("i_inductor_max"), uses=2),
            Step("The highest current is the whole climb. The load does not occur.",
                 "i_inductor_max = v_in*duty/(inductance*f_sw)", substituting(), uses=(4, 1, 3)),
        ),
        meaning="highest current of coil, switch and rectifier in discontinuous conduction",
        unit="A",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, SMALL_DROP_DRY),
        bound=Bound(f"{PATH_DROP_DRY}/(1 - {PATH_DROP_DRY})", "errs high, by what winding and switch take from the source"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3},
    )


@cache
def switch_voltage() -> Derivation:
    """What the open switch must hold off: V_out."""
    return Derivation(
        "switch_voltage", "The voltage across the open switch",
        (
            Step("Switch open, rectifier conducting: switch, rectifier and output form a loop.",
                 "v_switch_peak = v_rectifier_on + v_out",
                 law("Kirchhoff voltage law", rises="v_switch_peak", drops="v_rectifier_on + v_out")),
            Step("Take a rectifier that drops nothing when it conducts.", "v_rectifier_on = 0", assumption(NO_LOSS)),
            Step("The open switch holds off the output voltage.", "v_switch_peak = v_out", substituting(), uses=(1, 2)),
        ),
        meaning="voltage across the open switch, without ringing and without the drop of the rectifier",
        unit="V",
        bound=Bound(f"(v_rectifier + (r_rectifier + r_capacitor)*{CURRENT_HIGHEST})/v_out + {SAG}/2",
                    "good in both modes of conduction; errs low, by the drop of the rectifier and half the ripple; "
                    "ringing comes on top and is not in the exact circuit either"),
        source="derived here",
        example={"v_out": 18.0},
    )


@cache
def rectifier_voltage() -> Derivation:
    """What the blocking rectifier must hold off: V_out."""
    return Derivation(
        "rectifier_voltage", "The voltage across the blocking rectifier",
        (
            Step("Switch closed: output, rectifier and switch form a loop.",
                 "v_out = v_rectifier_peak + v_switch_on",
                 law("Kirchhoff voltage law", rises="v_out", drops="v_rectifier_peak + v_switch_on")),
            Step("Take a switch that drops nothing when closed.", "v_switch_on = 0", assumption(NO_LOSS)),
            Step("Put in.", "v_out = v_rectifier_peak", substituting(), uses=(1, 2)),
            Step("The rectifier holds off the output voltage.", "v_rectifier_peak = v_out",
                 solving("v_rectifier_peak")),
        ),
        meaning="reverse voltage across the rectifier while the switch is closed, without ringing",
        unit="V",
        valid=(Condition(f"2*({_OFF_BLOCKING}) <= 1", "the switch takes, and the output swings by, at most half of the output"),),
        bound=Bound(f"({_OFF_BLOCKING})/(1 - ({_OFF_BLOCKING}))",
                    "good in both modes of conduction; off on either side, by half the ripple and the drop of the "
                    "switch; ringing comes on top and is not in the exact circuit either"),
        source="derived here",
        example={"v_out": 18.0},
    )


@cache
def switch_mean() -> Derivation:
    """The mean current of the switch: D I_out/D'."""
    climb = "i_inductor_mean - ripple_current/2 + ripple_current*t/(duty*t_sw)"
    return Derivation(
        "switch_mean", "The mean current of the switch",
        (
            Step("While it is closed the switch carries the coil current, a straight line through its mean.",
                 f"i_inductor = {climb}", assumption(STRAIGHT)),
            Step("The mean over the whole period counts the closed time only.",
                 f"i_switch_mean = integral({climb}, t, 0, duty*t_sw)/t_sw", definition()),
            Step("The ripple cancels.", "i_switch_mean = duty*i_inductor_mean", integrating()),
            Step("The mean coil current follows from the load.",
                 "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("Put it in.", "i_switch_mean = duty*i_out/duty_off", substituting(), uses=(3, 4)),
        ),
        meaning="mean current of the switch in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "off on either side where the slopes are not straight"),
        source="derived here",
        example={"duty": 0.6, "i_out": 0.5},
    )


@cache
def switch_rms() -> Derivation:
    """The rms current of the switch, ripple included: what heats its resistance."""
    climb = "i_inductor_mean - ripple_current/2 + ripple_current*t/(duty*t_sw)"
    return Derivation(
        "switch_rms", "The rms current of the switch",
        (
            Step("While it is closed the switch carries the coil current, a straight line through its mean.",
                 f"i_inductor = {climb}", assumption(STRAIGHT)),
            Step("The square of the rms current is the mean of the squared current.",
                 f"i_switch_rms = sqrt(integral(({climb})**2, t, 0, duty*t_sw)/t_sw)", definition()),
            Step("Ripple adds a twelfth of its square.",
                 "i_switch_rms = sqrt(duty*(i_inductor_mean**2 + ripple_current**2/12))", integrating()),
        ),
        meaning="rms current of the switch in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "off on either side where the slopes are not straight"),
        source="derived here; same values in Erickson & Maksimovic, 3rd ed., table 3.1",
        example={"duty": 0.6, "i_inductor_mean": 1.5, "ripple_current": 0.5},
    )


@cache
def rectifier_mean() -> Derivation:
    """The mean current of the rectifier is the load current."""
    fall = "i_inductor_mean + ripple_current/2 - ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "rectifier_mean", "The mean current of the rectifier",
        (
            Step("While the switch is open the rectifier carries the coil current, a straight line down through its "
                 "mean.", f"i_inductor = {fall}", assumption(STRAIGHT)),
            Step("The mean over the whole period counts the open time only.",
                 f"i_rectifier_mean = integral({fall}, t, 0, duty_off*t_sw)/t_sw", definition()),
            Step("The ripple cancels.", "i_rectifier_mean = duty_off*i_inductor_mean", integrating()),
            Step("The mean coil current follows from the load.",
                 "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("Put it in.", "i_rectifier_mean = duty_off*(i_out/duty_off)", substituting(), uses=(3, 4)),
            Step("All that reaches the load goes through the rectifier, and nothing else does.",
                 "i_rectifier_mean = i_out", simplifying()),
        ),
        meaning="mean current of the rectifier",
        unit="A",
        bound=Bound("0*i_out", "exact in both modes of conduction"),
        source="derived here",
        example={"i_out": 0.5},
    )


@cache
def rectifier_rms() -> Derivation:
    """The rms current of the rectifier, ripple included."""
    fall = "i_inductor_mean + ripple_current/2 - ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "rectifier_rms", "The rms current of the rectifier",
        (
            Step("While the switch is open the rectifier carries the coil current, a straight line down through its "
                 "mean.", f"i_inductor = {fall}", assumption(STRAIGHT)),
            Step("The square of the rms current is the mean of the squared current.",
                 f"i_rectifier_rms = sqrt(integral(({fall})**2, t, 0, duty_off*t_sw)/t_sw)", definition()),
            Step("Ripple adds a twelfth of its square.",
                 "i_rectifier_rms = sqrt(duty_off*(i_inductor_mean**2 + ripple_current**2/12))", integrating()),
        ),
        meaning="rms current of the rectifier in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "off on either side where the slopes are not straight"),
        source="derived here, as for the switch",
        example={"duty": 0.6, "i_inductor_mean": 1.5, "ripple_current": 0.5},
    )


@cache
def capacitor_rms() -> Derivation:
    """The rms current of the output capacitor: what heats its series resistance."""
    fall = "i_inductor_mean + ripple_current/2 - ripple_current*t/(duty_off*t_sw)"
    return Derivation(
        "capacitor_rms", "The rms current of the output capacitor",
        (
            Step("Switch closed: the capacitor alone feeds the load.", "i_capacitor_on = -i_out",
                 assumption(STEADY_LOAD)),
            Step("Switch open: the coil current arrives, a straight line down through its mean.",
                 f"i_inductor = {fall}", assumption(STRAIGHT)),
            Step("The load takes its part and the capacitor the rest. Square, and take the mean over the period.",
                 f"i_capacitor_rms = sqrt((integral(i_out**2, t, 0, duty*t_sw) + "
                 f"integral(({fall} - i_out)**2, t, 0, duty_off*t_sw))/t_sw)", definition()),
            Step("Carry the two integrals out.",
                 "i_capacitor_rms = sqrt(duty*i_out**2 + duty_off*((i_inductor_mean - i_out)**2 + "
                 "ripple_current**2/12))", integrating()),
            Step("The mean coil current follows from the load.",
                 "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("Put it in.",
                 "i_capacitor_rms = sqrt(duty*i_out**2 + duty_off*((i_out/duty_off - i_out)**2 + "
                 "ripple_current**2/12))", substituting(), uses=(4, 5)),
        ),
        meaning="rms current of the output capacitor in continuous conduction",
        unit="A",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(f"{BEND} + r_capacitor/r_load + duty*{SAG}/5",
                    "errs high where the load takes part in the ripple; off on either side where slopes are bent"),
        source="derived here by direct integration",
        example={"i_out": 0.5, "duty": 0.6, "ripple_current": 0.5},
    )


def switch_stress() -> tuple[Derivation, ...]:
    """What the switch must bear: voltage, peak, mean and rms current."""
    return switch_voltage(), peak_current(), switch_mean(), switch_rms()


def rectifier_stress() -> tuple[Derivation, ...]:
    """What the rectifier must bear: reverse voltage, peak, mean and rms current."""
    return rectifier_voltage(), peak_current(), rectifier_mean(), rectifier_rms()


