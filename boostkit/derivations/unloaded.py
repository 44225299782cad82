"""No load at all: why an output at fixed duty climbs without end, and how fast."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    differentiating,
    earlier,
    law,
    letter,
    limit,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import CLIMB, PATH_DROP_DRY, SMALL_DROP_DRY
from boostkit.derivations.field import discontinuous_energy
from boostkit.derivations.switching import NO_LOSS

cycles = letter("cycles", "n", "", "number of switching periods", (1.0, 1000.0))
v_before = letter("v_before", r"V_{\mathrm{before}}", "V", "output voltage before these periods", (14.0, 30.0))
v_after = letter("v_after", r"V_{\mathrm{after}}", "V", "output voltage after these periods", (30.0, 90.0))
v_climb = letter("v_climb", r"\Delta V_1", "V", "climb of the unloaded output in one period", (0.001, 10.0))
energy_before = letter("energy_before", r"E_{\mathrm{before}}", "J", "energy in the output capacitor before these periods",
                       (1e-6, 1e-2))
energy_after = letter("energy_after", r"E_{\mathrm{after}}", "J", "energy in the output capacitor after these periods",
                      (1e-6, 1e-1))
energy_coil = letter("energy_coil", r"E_{\mathrm{coil}}", "J", "energy that the coil hands over in these periods",
                     (1e-6, 1e-1))

STEP = "(v_in*duty/f_sw)**2/(inductance*capacitance)"           # by which one period raises (V - V_in)²
# Losses leave at least this part of it: they take volts on the way, a mean over the charge, and most where V is lowest.
_TAKEN = f"(v_rectifier + (r_inductor + r_rectifier + r_capacitor)*{CLIMB}*2/3)"
LEFT = f"((1 - {PATH_DROP_DRY})**2/(1 + {_TAKEN}/(v_before - v_in)))"
_AT_LEAST = f"sqrt((v_before - v_in)**2 + cycles*{STEP}*{LEFT})"
STARTS_DRY = Condition("v_before*duty_off >= v_in", "every period begins at zero current, the first included")


@cache
def cycles_to_voltage() -> Derivation:
    """After how many periods an unloaded output reaches a voltage that something cannot stand."""
    return Derivation(
        "cycles_to_voltage", "How long an unloaded output takes to a given voltage",
        (
            Step("Take away the load: what passes the rectifier stays on the capacitor.", "i_out = 0",
                 assumption("no load: nothing leaves the output")),
            Step("Over n periods its mean current raises its voltage along a mean slope.",
                 "charge_out/(cycles*t_sw) = capacitance*((v_after - v_before)/(cycles*t_sw))",
                 law("capacitor law", current="charge_out/(cycles*t_sw)", capacitance="capacitance",
                     slope="(v_after - v_before)/(cycles*t_sw)")),
            Step("The time drops out.", "charge_out = capacitance*(v_after - v_before)", simplifying()),
            Step("The same charge passes through the source, which lifts it by its voltage.",
                 "energy_straight = charge_out*v_in",
                 law("work on a charge", energy="energy_straight", charge="charge_out", voltage="v_in")),
            Step("Each period the coil takes this much into its field, whatever the output.",
                 "energy_swing = v_in**2*duty**2/(2*inductance*f_sw**2)", earlier(discontinuous_energy())),
            Step("In n periods it hands over n times as much.", "energy_coil = cycles*energy_swing", assumption(NO_LOSS)),
            Step("The capacitor held this before.", "energy_before = capacitance*v_before**2/2",
                 law("energy stored in an electric field", energy="energy_before", capacitance="capacitance",
                     voltage="v_before")),
            Step("It holds this after.", "energy_after = capacitance*v_after**2/2",
                 law("energy stored in an electric field", energy="energy_after", capacitance="capacitance",
                     voltage="v_after")),
            Step("Nothing is lost and nothing leaves.", "energy_before + energy_coil + energy_straight = energy_after",
                 law("energy conservation", comes="energy_before + energy_coil + energy_straight", goes="energy_after")),
            Step("Put in the energies.",
                 "capacitance*v_before**2/2 + cycles*v_in**2*duty**2/(2*inductance*f_sw**2)"
                 " + capacitance*(v_after - v_before)*v_in = capacitance*v_after**2/2",
                 substituting(), uses=(9, 7, 6, 5, 4, 3, 8)),
            Step("Gather: each period raises the square of the lift over the source by the same amount.",
                 "(v_after - v_in)**2 - (v_before - v_in)**2 = cycles*(v_in*duty/f_sw)**2/(inductance*capacitance)",
                 simplifying()),
            Step("Solve for the number of periods. Any voltage is reached, if only one waits.",
                 "cycles = inductance*capacitance*((v_after - v_in)**2 - (v_before - v_in)**2)/(v_in*duty/f_sw)**2",
                 solving("cycles")),
        ),
        meaning="number of periods at fixed duty after which an unloaded output reaches a given voltage",
        unit="",
        valid=(STARTS_DRY, SMALL_DROP_DRY),
        bound=Bound(f"1 - {LEFT}", "exact without loss; with losses errs low, for they slow the climb"),
        source="derived here",
        example={"inductance": 47e-6, "capacitance": 100e-6, "v_after": 60.0, "v_in": 6.0, "v_before": 18.0, "duty": 0.3,
                 "f_sw": 150e3},
    )


@cache
def unloaded_climb() -> Derivation:
    """Where an unloaded output stands after n periods at fixed duty: V_in + sqrt((V - V_in)^2 + n (V_in D/f_s)^2/(L C))."""
    return Derivation(
        "unloaded_climb", "The climb of an unloaded output",
        (
            Step("Take the number of periods to a given voltage.",
                 "cycles = inductance*capacitance*((v_after - v_in)**2 - (v_before - v_in)**2)/(v_in*duty/f_sw)**2",
                 earlier(cycles_to_voltage())),
            Step("Solve for the voltage above the source. It grows ever slower and has no end: only a load, a loss or a "
                 "part that breaks stops it.",
                 "v_after = v_in + sqrt((v_before - v_in)**2 + cycles*(v_in*duty/f_sw)**2/(inductance*capacitance))",
                 solving("v_after", "v_after > v_in")),
        ),
        meaning="output voltage after n periods at fixed duty without a load",
        unit="V",
        valid=(STARTS_DRY, SMALL_DROP_DRY),
        bound=Bound(f"cycles*{STEP}*(1 - {LEFT})/(2*{_AT_LEAST}*(v_in + {_AT_LEAST}))",
                    "exact without loss; with losses errs high"),
        source="derived here",
        example={"v_in": 6.0, "v_before": 18.0, "cycles": 1000.0, "duty": 0.3, "f_sw": 150e3, "inductance": 47e-6,
                 "capacitance": 100e-6},
    )


@cache
def climb_per_cycle() -> Derivation:
    """How fast it climbs: (V_in D/f_s)^2/(2 L C (V - V_in)) in one period."""
    return Derivation(
        "climb_per_cycle", "The climb of one period without a load",
        (
            Step("Take the climb of an unloaded output.",
                 "v_after = v_in + sqrt((v_before - v_in)**2 + cycles*(v_in*duty/f_sw)**2/(inductance*capacitance))",
                 earlier(unloaded_climb())),
            Step("Where a single period changes little, its climb is the slope over the number of periods.",
                 "v_climb = derivative(v_in + sqrt((v_before - v_in)**2 + "
                 "cycles*(v_in*duty/f_sw)**2/(inductance*capacitance)), cycles)",
                 assumption("climb of one period small against the lift over the source")),
            Step("Carry it out.",
                 "v_climb = (v_in*duty/f_sw)**2/(inductance*capacitance)"
                 "/(2*sqrt((v_before - v_in)**2 + cycles*(v_in*duty/f_sw)**2/(inductance*capacitance)))",
                 differentiating()),
            Step("Count from here. Twice the lift over the source halves the climb, and nothing makes it zero.",
                 "v_climb = (v_in*duty/f_sw)**2/(2*inductance*capacitance*(v_before - v_in))", limit("cycles", "0")),
        ),
        meaning="climb of the output in one period without a load",
        unit="V",
        valid=(STARTS_DRY, SMALL_DROP_DRY),
        bound=Bound(f"(1 + {STEP}/(4*(v_before - v_in)**2))/{LEFT} - 1",
                    "errs high: the climb slows already within the period, and losses take their part"),
        source="derived here",
        example={"v_in": 6.0, "duty": 0.3, "f_sw": 150e3, "inductance": 47e-6, "capacitance": 100e-6, "v_before": 18.0},
    )
