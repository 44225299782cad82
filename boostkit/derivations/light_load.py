"""When the current runs dry: gain, times and currents of discontinuous conduction."""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    integrating,
    law,
    letter,
    limit,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import (
    ABOVE_SOURCE,
    BENT_BY_RESISTANCE,
    DISCONTINUOUS,
    LOST_LIFT,
    PATH_DROP_DRY,
    SAG,
    SMALL_DROP_DRY,
    STRAIGHT_SLOPES,
    SWING,
)
from boostkit.derivations.energy import LOST_VOLTAGE_DRY, discontinuous_power, power_by_cycle
from boostkit.derivations.stress import STRAIGHT, dry_peak
from boostkit.derivations.switching import AT_BORDER, conduction_border, output_by_times

gain_above = letter("gain_above", "M_0", "", "what the gain keeps above its straight part at very light load", (0.1, 1.0))

DRY = (DISCONTINUOUS, ABOVE_SOURCE, SMALL_DROP_DRY, STRAIGHT_SLOPES)

# What losses take from the product M (M - 1), which is D²/K without them. Its square root is the duty, and the gain
# follows it with (M - 1)/(2 M - 1).
_LOST_PRODUCT = (f"((1 + {LOST_VOLTAGE_DRY}*(1 + {BENT_BY_RESISTANCE})/(v_out - v_in))*(1 + {SWING}**2/4)"
                 f"/(1 - {PATH_DROP_DRY})**2 - 1)")
LOST_GAIN_DRY = f"(v_out - v_in)/(2*v_out - v_in)*{_LOST_PRODUCT}"
# What the near-linear form leaves out, as a share of the gain without loss.
BEND_OF_GAIN = "1/(4*duty/sqrt(k_load) + 8*duty**2/k_load)"


@cache
def gain_by_times() -> Derivation:
    """The gain from the conduction times, idle or not: (D + D_2)/D_2."""
    return Derivation(
        "gain_by_times", "The gain where the coil may idle",
        (
            Step("The conduction times set the output voltage.", "v_out = v_in*(duty + duty_rectifier)/duty_rectifier",
                 earlier(output_by_times())),
            Step("The gain is output over source.", "gain = v_out/v_in", definition()),
            Step("Put in the output voltage.", "gain = v_in*(duty + duty_rectifier)/duty_rectifier/v_in",
                 substituting(), uses=(2, 1)),
            Step("The shorter the coil needs to give, the higher the output.",
                 "gain = (duty + duty_rectifier)/duty_rectifier", simplifying()),
        ),
        meaning="voltage gain from the times in which switch and rectifier conduct, in both modes of conduction",
        unit="",
        valid=(ABOVE_SOURCE, STRAIGHT_SLOPES),
        bound=Bound(f"{LOST_LIFT}*(1 + {BENT_BY_RESISTANCE}/6)*v_in/v_out",
                    "errs high, by what all the parts in the path take"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"duty": 0.25, "duty_rectifier": 0.5},
    )


@cache
def dry_load_current() -> Derivation:
    """The load current that the rectifier's triangles bring: I_max D_2/2."""
    fall = "i_inductor_max - i_inductor_max*t/(duty_rectifier*t_sw)"
    return Derivation(
        "dry_load_current", "The load current as a triangle of charge",
        (
            Step("The rectifier carries the coil current from its highest value down to zero, along a straight line.",
                 f"i_inductor = {fall}", assumption(STRAIGHT)),
            Step("It is zero for the rest of the period: the mean counts the triangle only.",
                 f"i_rectifier_mean = integral({fall}, t, 0, duty_rectifier*t_sw)/t_sw", definition()),
            Step("Half of height times length.", "i_rectifier_mean = i_inductor_max*duty_rectifier/2", integrating()),
            Step("In steady state the output capacitor ends each period with the charge it began with.",
                 "i_rectifier_mean*t_sw + (-i_out)*t_sw = 0",
                 law("steady state, charge returns", first="i_rectifier_mean", first_time="t_sw", second="-i_out",
                     second_time="t_sw")),
            Step("So the load draws the mean of what arrives.", "i_out = i_rectifier_mean", solving("i_out")),
            Step("Put in the triangle.", "i_out = i_inductor_max*duty_rectifier/2", substituting(), uses=(5, 3)),
        ),
        meaning="load current in discontinuous conduction",
        unit="A",
        valid=(DISCONTINUOUS, ABOVE_SOURCE, STRAIGHT_SLOPES),
        bound=Bound(f"({BENT_BY_RESISTANCE} + v_out*{SAG}/(v_out - v_in))/6",
                    "off on either side where the slope is not straight"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"i_inductor_max": 12.0, "duty_rectifier": 0.5},
    )


@cache
def rectifier_share() -> Derivation:
    """The share of the period in which the rectifier conducts: K M/D."""
    return Derivation(
        "rectifier_share", "How long the rectifier conducts in discontinuous conduction",
        (
            Step("The load current is a triangle of charge.", "i_out = i_inductor_max*duty_rectifier/2",
                 earlier(dry_load_current())),
            Step("Its height follows from source, duty and coil.", "i_inductor_max = v_in*duty/(inductance*f_sw)",
                 earlier(dry_peak())),
            Step("Resistance of the load.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("It sets the load current.", "i_out = v_out/r_load", solving("i_out")),
            Step("Put the two currents in.", "v_out/r_load = v_in*duty/(inductance*f_sw)*duty_rectifier/2",
                 substituting(), uses=(1, 4, 2)),
            Step("Solve for the share.", "duty_rectifier = 2*inductance*f_sw/r_load*v_out/(v_in*duty)",
                 solving("duty_rectifier")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("Coil, load and clock make up the load number K.", "k_load = 2*inductance/(r_load*t_sw)", definition()),
            Step("The gain is output over source.", "gain = v_out/v_in", definition()),
            Step("Read in K and M: a lighter load ends conduction earlier.", "duty_rectifier = k_load*gain/duty",
                 substituting(), uses=(6, 8, 7, 9)),
        ),
        meaning="share of the period in which the rectifier conducts, in discontinuous conduction",
        unit="",
        valid=DRY,
        bound=Bound(f"{PATH_DROP_DRY} + ({BENT_BY_RESISTANCE} + v_out*{SAG}/(v_out - v_in))/6",
                    "errs low, as the peak is in truth lower; off on either side where slopes are bent"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., table 5.2",
        example={"k_load": 1 / 12, "gain": 1.5, "duty": 0.25},
    )


@cache
def discontinuous_gain() -> Derivation:
    """The gain in discontinuous conduction: (1 + sqrt(1 + 4 D^2/K))/2. Now the load has a say."""
    return Derivation(
        "discontinuous_gain", "The gain in discontinuous conduction",
        (
            Step("Take the gain from the conduction times.", "gain = (duty + duty_rectifier)/duty_rectifier",
                 earlier(gain_by_times())),
            Step("The rectifier conducts for this share.", "duty_rectifier = k_load*gain/duty", earlier(rectifier_share())),
            Step("Put it in: the gain now stands on both sides.", "gain = (duty + k_load*gain/duty)/(k_load*gain/duty)",
                 substituting(), uses=(1, 2)),
            Step("Clear the fractions: a quadratic for the gain.", "gain**2 - gain - duty**2/k_load = 0", simplifying()),
            Step("One root is negative. The physical one lies above one, as the output does above the source.",
                 "gain = (1 + sqrt(1 + 4*duty**2/k_load))/2", solving("gain", "gain > 1")),
        ),
        meaning="voltage gain in discontinuous conduction, all parts without loss",
        unit="",
        valid=DRY,
        bound=Bound(LOST_GAIN_DRY, "errs high, by what all the parts in the path take"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 5.52",
        example={"duty": 0.25, "k_load": 1 / 12},
    )


@cache
def near_linear_gain() -> Derivation:
    """At light load the gain is nearly a straight line in the duty: 1/2 + D/sqrt(K)."""
    return Derivation(
        "near_linear_gain", "The nearly straight gain of a light load",
        (
            Step("Take the gain in discontinuous conduction.", "gain = (1 + sqrt(1 + 4*duty**2/k_load))/2",
                 earlier(discontinuous_gain())),
            Step("For a light load the root is nearly 2 D/sqrt(K). Look at what lies above half of that.",
                 "gain_above = gain - duty/sqrt(k_load)", definition()),
            Step("Put in the gain.", "gain_above = (1 + sqrt(1 + 4*duty**2/k_load))/2 - duty/sqrt(k_load)",
                 substituting(), uses=(2, 1)),
            Step("The lighter the load, the nearer it comes to one half.", "gain_above = 1/2", limit("k_load", "0")),
            Step("Solve the definition for the gain.", "gain = gain_above + duty/sqrt(k_load)", solving("gain"), uses=2),
            Step("Put in the half: a straight line in the duty.", "gain = 1/2 + duty/sqrt(k_load)",
                 substituting(), uses=(5, 4)),
        ),
        meaning="voltage gain in discontinuous conduction at light load, as a straight line in the duty",
        unit="",
        valid=DRY,
        bound=Bound(f"{BEND_OF_GAIN} + (1 + {BEND_OF_GAIN})*{LOST_GAIN_DRY}",
                    "without loss errs low, by less than the first term; losses pull the other way"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 5.54",
        example={"duty": 0.25, "k_load": 0.05},
    )


@cache
def duty_for_gain() -> Derivation:
    """The duty that a wanted gain needs in discontinuous conduction: sqrt(K M (M - 1))."""
    return Derivation(
        "duty_for_gain", "The duty for a gain in discontinuous conduction",
        (
            Step("Take the gain from the conduction times.", "gain = (duty + duty_rectifier)/duty_rectifier",
                 earlier(gain_by_times())),
            Step("The rectifier conducts for this share.", "duty_rectifier = k_load*gain/duty", earlier(rectifier_share())),
            Step("Put it in.", "gain = (duty + k_load*gain/duty)/(k_load*gain/duty)", substituting(), uses=(1, 2)),
            Step("Solve for the duty. It shrinks with the load, towards nothing.", "duty = sqrt(k_load*gain*(gain - 1))",
                 solving("duty")),
        ),
        meaning="duty that gives this gain in discontinuous conduction, all parts without loss",
        unit="",
        valid=DRY,
        bound=Bound(f"{_LOST_PRODUCT}/2", "errs low, by what all the parts in the path take"),
        source="derived here",
        example={"k_load": 1 / 12, "gain": 1.5},
    )


@cache
def gains_meet() -> Derivation:
    """On the border the gain of discontinuous conduction is that of continuous conduction: 1/D'."""
    return Derivation(
        "gains_meet", "Both gains meet at the border",
        (
            Step("Take the gain in discontinuous conduction.", "gain = (1 + sqrt(1 + 4*duty**2/k_load))/2",
                 earlier(discontinuous_gain())),
            Step("Go to the border.", "k_load = k_critical", assumption(AT_BORDER)),
            Step("There the load number is this.", "k_critical = duty*duty_off**2", earlier(conduction_border())),
            Step("Call the share of the period in which the switch is open D'.", "duty_off = 1 - duty", definition()),
            Step("Solve for the duty.", "duty = 1 - duty_off", solving("duty")),
            Step("Put all in.", "gain = (1 + sqrt(1 + 4*(1 - duty_off)/duty_off**2))/2", substituting(), uses=(1, 2, 3, 5)),
            Step("Under the root stands a square, that of (2 - D')/D': the two modes join without a step.",
                 "gain = 1/duty_off", simplifying()),
        ),
        meaning="voltage gain on the border of continuous conduction, all parts without loss",
        unit="",
        bound=Bound("", "a statement about the border alone; either gain errs there by its own bound"),
        source="derived here; same statement in Erickson & Maksimovic, 3rd ed., sec. 5.3",
        example={"duty": 0.4},
    )


@cache
def cycle_energy() -> Derivation:
    """The energy handed to the output in one period that starts at zero: never nothing, however high the output."""
    return Derivation(
        "cycle_energy", "What one period hands over in discontinuous conduction",
        (
            Step("Take the output power.", "p_out = v_in**2*duty**2/(2*inductance*f_sw)*v_out/(v_out - v_in)",
                 earlier(discontinuous_power())),
            Step("Power is energy per cycle times frequency.", "p_out = energy_out*f_sw", earlier(power_by_cycle())),
            Step("Solve for the energy.", "energy_out = p_out/f_sw", solving("energy_out")),
            Step("Put in the power.",
                 "energy_out = v_in**2*duty**2/(2*inductance*f_sw)*v_out/(v_out - v_in)/f_sw", substituting(), uses=(3, 1)),
            Step("A higher output takes less of the source straight through, but what the field gives stays.",
                 "energy_out = v_in**2*duty**2/(2*inductance*f_sw**2)*v_out/(v_out - v_in)", simplifying()),
        ),
        meaning="energy handed to the output in one period in discontinuous conduction",
        unit="J",
        valid=discontinuous_power().valid,
        bound=discontinuous_power().bound,
        source="derived here",
        example={"v_in": 24.0, "duty": 0.25, "inductance": 5e-6, "f_sw": 100e3, "v_out": 36.0},
    )
