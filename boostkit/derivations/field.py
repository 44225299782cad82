"""The energy in the field of the coil: how much passes through it in one period, and how much a core can hold."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    law,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import (
    ABOVE_SOURCE,
    BEND,
    CONTINUOUS,
    DISCONTINUOUS,
    PATH_DROP,
    PATH_DROP_DRY,
    SMALL_DROP,
    SMALL_DROP_DRY,
)
from boostkit.derivations.stress import RUNS_DRY, STRAIGHT, dry_peak
from boostkit.derivations.switching import inductor_ripple


@cache
def energy_swing() -> Derivation:
    """The energy that enters and leaves the field in one period: L (I_max^2 - I_min^2)/2 = L I_L times the ripple."""
    return Derivation(
        "energy_swing", "The energy that passes through the field in one period",
        (
            Step("At its highest current the coil holds most.", "energy_max = inductance*i_inductor_max**2/2",
                 law("energy stored in a magnetic field", energy="energy_max", inductance="inductance",
                     current="i_inductor_max")),
            Step("At its lowest current it holds least.", "energy_min = inductance*i_inductor_min**2/2",
                 law("energy stored in a magnetic field", energy="energy_min", inductance="inductance",
                     current="i_inductor_min")),
            Step("What enters and leaves is the difference.", "energy_swing = energy_max - energy_min", definition()),
            Step("Put in the two energies.",
                 "energy_swing = inductance*i_inductor_max**2/2 - inductance*i_inductor_min**2/2",
                 substituting(), uses=(3, 1, 2)),
            Step("A difference of squares.",
                 "energy_swing = inductance*((i_inductor_max + i_inductor_min)/2)*(i_inductor_max - i_inductor_min)",
                 simplifying()),
            Step("On straight slopes the mean lies midway.",
                 "i_inductor_mean = (i_inductor_max + i_inductor_min)/2", assumption(STRAIGHT)),
            Step("The ripple is the distance between the two.",
                 "ripple_current = i_inductor_max - i_inductor_min", definition()),
            Step("Put in mean and ripple.", "energy_swing = inductance*i_inductor_mean*ripple_current",
                 substituting(), uses=(5, 6, 7)),
        ),
        meaning="energy that enters and leaves the field of the coil in one period",
        unit="J",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "off on either side where the slopes are not straight"),
        source="derived here",
        example={"inductance": 47e-6, "i_inductor_mean": 1.2, "ripple_current": 0.5},
    )


@cache
def energy_swing_by_source() -> Derivation:
    """The same without the inductance: I_L V_in D/f_s. More inductance moves no more energy."""
    return Derivation(
        "energy_swing_by_source", "What a larger inductance changes",
        (
            Step("Take the energy that passes through the field.",
                 "energy_swing = inductance*i_inductor_mean*ripple_current", earlier(energy_swing())),
            Step("Take the ripple that source, duty and coil make.",
                 "ripple_current = v_in*duty/(inductance*f_sw)", earlier(inductor_ripple())),
            Step("Put it in.", "energy_swing = inductance*i_inductor_mean*(v_in*duty/(inductance*f_sw))",
                 substituting(), uses=(1, 2)),
            Step("The inductance drops out: a larger one has a smaller ripple and moves the same energy.",
                 "energy_swing = i_inductor_mean*v_in*duty/f_sw", simplifying()),
        ),
        meaning="energy that enters the field in one period, whatever the inductance, in continuous conduction",
        unit="J",
        valid=(CONTINUOUS, ABOVE_SOURCE, SMALL_DROP),
        bound=Bound(f"{PATH_DROP}/(1 - {PATH_DROP}) + {BEND}", "errs high as far as the ripple does"),
        source="derived here",
        example={"i_inductor_mean": 1.2, "v_in": 6.0, "duty": 0.68, "f_sw": 150e3},
    )


@cache
def discontinuous_energy() -> Derivation:
    """What enters the field in one period that starts at zero current: V_in^2 D^2/(2 L f_s^2)."""
    return Derivation(
        "discontinuous_energy", "The energy of one period that starts at zero current",
        (
            Step("Where it starts at zero, the coil current climbs to this.", "i_inductor_max = v_in*duty/(inductance*f_sw)",
                 earlier(dry_peak())),
            Step("At its highest current the coil holds most.", "energy_max = inductance*i_inductor_max**2/2",
                 law("energy stored in a magnetic field", energy="energy_max", inductance="inductance",
                     current="i_inductor_max")),
            Step("All of it has come in during this period, and all of it leaves.", "energy_swing = energy_max",
                 assumption(RUNS_DRY)),
            Step("Put in.", "energy_swing = inductance*(v_in*duty/(inductance*f_sw))**2/2",
                 substituting(), uses=(3, 2, 1)),
            Step("Less inductance carries more energy at the same duty.",
                 "energy_swing = v_in**2*duty**2/(2*inductance*f_sw**2)", simplifying()),
        ),
        meaning="energy that passes through the field in one period in discontinuous conduction",
        unit="J",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, SMALL_DROP_DRY),
        bound=Bound(f"1/(1 - {PATH_DROP_DRY})**2 - 1", "errs high, by what winding and switch take while charging"),
        source="derived here",
        example={"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3},
    )


@cache
def core_energy() -> Derivation:
    """The most energy that a coil can store: half of turns, flux density, core area and current. A core sets it."""
    return Derivation(
        "core_energy", "What a larger core changes",
        (
            Step("At the current at which the core saturates, the coil holds its most.",
                 "energy_core = inductance*i_saturation**2/2",
                 law("energy stored in a magnetic field", energy="energy_core", inductance="inductance",
                     current="i_saturation")),
            Step("There the core carries its highest flux density.",
                 "inductance*i_saturation = turns*flux_density_saturation*area_core",
                 law("flux linkage of a core", inductance="inductance", current="i_saturation", turns="turns",
                     flux_density="flux_density_saturation", area="area_core")),
            Step("So this is the inductance.",
                 "inductance = turns*flux_density_saturation*area_core/i_saturation", solving("inductance")),
            Step("Put it in.",
                 "energy_core = turns*flux_density_saturation*area_core/i_saturation*i_saturation**2/2",
                 substituting(), uses=(1, 3)),
            Step("The inductance drops out. A core of twice the area stores twice as much at the same turns and "
                 "current.", "energy_core = turns*i_saturation*flux_density_saturation*area_core/2", simplifying()),
        ),
        meaning="most energy that a coil can store before its core saturates",
        unit="J",
        bound=Bound("", "as good as the two figures of the core; a real core saturates gradually and earlier when hot"),
        source="derived here",
        example={"turns": 20.0, "i_saturation": 3.0, "flux_density_saturation": 0.3, "area_core": 40e-6},
    )
