"""The duty that a wanted output needs where the parts have losses, in either mode of conduction."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
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
from boostkit.derivations.light_load import dry_load_current
from boostkit.derivations.real_parts import real_gain
from boostkit.derivations.stress import RUNS_DRY

STRAIGHT_DRY = "coil current on straight slopes, so that a resistance takes, over each of them, what the mean current makes it take"
WITHIN_REACH = Condition(
    "(v_in - (r_rectifier - r_switch)*i_out)**2 - 4*(v_out + v_rectifier)*(r_inductor + r_switch)*i_out >= 0",
    "the source can bring this power through the resistances at all")  # fmt: skip

@cache
def duty_off_with_losses() -> Derivation:
    """The open share of the period that a wanted output needs, parts with losses: the upper root of a quadratic."""
    return Derivation(
        "duty_off_with_losses", "The duty for an output, parts with losses",
        (
            Step("Take the gain with the losses of winding, switch and rectifier.",
                 "v_out/v_in = 1/duty_off*(1 - duty_off*v_rectifier/v_in)"
                 "/(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))", earlier(real_gain())),
            Step("The load is a resistance.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("Its output and its current are what is asked for.", "r_load = v_out/i_out", solving("r_load")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("So much is left for the closed one.", "duty = 1 - duty_off", solving("duty")),
            Step("Put both in: only the open share is unknown.",
                 "v_out/v_in = 1/duty_off*(1 - duty_off*v_rectifier/v_in)"
                 "/(1 + (r_inductor + (1 - duty_off)*r_switch + duty_off*r_rectifier)/(duty_off**2*(v_out/i_out)))",
                 substituting(), uses=(1, 3, 5)),
            Step("Clear the fractions: a quadratic.",
                 "(v_out + v_rectifier)*duty_off**2 - (v_in - (r_rectifier - r_switch)*i_out)*duty_off "
                 "+ (r_inductor + r_switch)*i_out = 0", simplifying()),
            Step("Two open shares give this output. The larger one is of use: it needs the smaller current.",
                 "duty_off = (v_in - (r_rectifier - r_switch)*i_out + sqrt((v_in - (r_rectifier - r_switch)*i_out)**2 "
                 "- 4*(v_out + v_rectifier)*(r_inductor + r_switch)*i_out))/(2*(v_out + v_rectifier))",
                 solving("duty_off", "2*(v_out + v_rectifier)*duty_off >= v_in - (r_rectifier - r_switch)*i_out")),
        ),
        meaning="open share of the period that gives this output at this load current, continuous conduction, parts with losses",
        unit="",
        valid=(WITHIN_REACH,),
        bound=Bound("", "errs as the gain with losses does, from which it follows; near the peak of the gain a little error of the "
                        "gain is a large one of the duty"),
        source="derived here from the gain with losses",
        example={"v_in": 6.0, "v_out": 18.0, "i_out": 0.6, "v_rectifier": 0.4, "r_inductor": 0.04, "r_switch": 0.02,
                 "r_rectifier": 0.02},
    )  # fmt: skip


@cache
def dry_peak_for_load() -> Derivation:
    """The peak of the coil current that a load asks for in discontinuous conduction, resistance in the way down included."""
    return Derivation(
        "dry_peak_for_load", "The peak current for a load in discontinuous conduction",
        (
            Step("The load draws the mean of the rectifier's triangles.", "i_out = i_inductor_max*duty_rectifier/2",
                 earlier(dry_load_current())),
            Step("So much of the period the rectifier conducts.", "duty_rectifier = 2*i_out/i_inductor_max", solving("duty_rectifier")),
            Step("While the current falls, output and rectifier work against the source, and winding and rectifier take, in the mean, "
                 "what half of the peak makes them take.",
                 "v_inductor_off = v_in - v_out - v_rectifier - (r_inductor + r_rectifier)*i_inductor_max/2", assumption(STRAIGHT_DRY)),
            Step("The voltage across the coil sets how fast its current falls, from the peak to nothing.",
                 "v_inductor_off = inductance*(-i_inductor_max/(duty_rectifier*t_sw))",
                 law("inductor law", voltage="v_inductor_off", inductance="inductance",
                     slope="-i_inductor_max/(duty_rectifier*t_sw)")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put in voltage, share and period.",
                 "v_in - v_out - v_rectifier - (r_inductor + r_rectifier)*i_inductor_max/2 "
                 "= inductance*(-i_inductor_max/(2*i_out/i_inductor_max*(1/f_sw)))", substituting(), uses=(4, 3, 2, 5)),
            Step("Clear the fractions: a quadratic.",
                 "inductance*f_sw*i_inductor_max**2 - i_out*(r_inductor + r_rectifier)*i_inductor_max "
                 "- 2*i_out*(v_out + v_rectifier - v_in) = 0", simplifying()),
            Step("Its positive root. Without resistance the energy of the peak, a period each, is what the load needs beyond what "
                 "flows straight through.",
                 "i_inductor_max = (i_out*(r_inductor + r_rectifier) + sqrt(i_out**2*(r_inductor + r_rectifier)**2 "
                 "+ 8*inductance*f_sw*i_out*(v_out + v_rectifier - v_in)))/(2*inductance*f_sw)",
                 solving("i_inductor_max", "i_inductor_max >= 0")),
        ),
        meaning="highest coil current for a load current and output voltage in discontinuous conduction, parts with losses",
        unit="A",
        valid=(Condition("v_out + v_rectifier > v_in", "the output lies above the source"),),
        bound=Bound("", "first order in the resistances: off on either side where the slopes are bent or the output sags in a period"),
        source="derived here; without losses the same as Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"v_in": 6.0, "v_out": 18.0, "i_out": 0.02, "v_rectifier": 0.4, "r_inductor": 0.04, "r_rectifier": 0.02,
                 "inductance": 47e-6, "f_sw": 150e3},
    )  # fmt: skip


@cache
def dry_duty_with_losses() -> Derivation:
    """The duty that lifts the coil current from nothing to this peak, resistance in the way up included."""
    return Derivation(
        "dry_duty_with_losses", "The duty for a peak current in discontinuous conduction",
        (
            Step("While the current climbs, winding and switch take from the source, in the mean, what half of the peak makes them take.",
                 "v_inductor_on = v_in - (r_inductor + r_switch)*i_inductor_max/2", assumption(STRAIGHT_DRY)),
            Step("Take a coil whose current starts each period at zero.", "i_inductor_min = 0", assumption(RUNS_DRY)),
            Step("The voltage across the coil sets how fast its current climbs.",
                 "v_inductor_on = inductance*((i_inductor_max - i_inductor_min)/(duty*t_sw))",
                 law("inductor law", voltage="v_inductor_on", inductance="inductance",
                     slope="(i_inductor_max - i_inductor_min)/(duty*t_sw)")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Put these in.",
                 "v_in - (r_inductor + r_switch)*i_inductor_max/2 = inductance*(i_inductor_max/(duty*(1/f_sw)))",
                 substituting(), uses=(3, 1, 2, 4)),
            Step("Solve for the duty.",
                 "duty = inductance*f_sw*i_inductor_max/(v_in - (r_inductor + r_switch)*i_inductor_max/2)", solving("duty")),
        ),
        meaning="duty that gives this peak of the coil current in discontinuous conduction, parts with losses",
        unit="",
        valid=(Condition("v_in > (r_inductor + r_switch)*i_inductor_max", "the source can drive this current through the resistances"),),
        bound=Bound("", "first order in the resistances: off on either side where the slope is bent"),
        source="derived here; without losses the same as Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"v_in": 6.0, "i_inductor_max": 0.3, "r_inductor": 0.04, "r_switch": 0.02, "inductance": 47e-6, "f_sw": 150e3},
    )  # fmt: skip
