"""A rectifier that does not stop at once: what its stored charge costs, and a dead time through a body diode."""

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
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.stress import STRAIGHT
from boostkit.derivations.switching import FLAT_OUTPUT, NEVER_DRY, volt_second_balance

q_recovery = letter("q_recovery", "Q_r", "C", "charge that the rectifier gives back before it blocks", (1e-9, 1e-6))
t_recovery = letter("t_recovery", r"t_{\mathrm{rr}}", "s", "time from the zero of its current until the rectifier blocks", (5e-9, 1e-7))
charge_edge = letter("charge_edge", r"Q_{\mathrm{edge}}", "C", "charge through the switch while the rectifier gives back its own",
                     (1e-9, 1e-6))
charge_over = letter("charge_over", r"Q_{\mathrm{over}}", "C", "charge that reaches the output in one period", (1e-7, 1e-5))
energy_recovery = letter("energy_recovery", r"E_{\mathrm{rr}}", "J", "energy lost in the switch in one recovery of the rectifier",
                         (1e-8, 1e-4))
p_recovery = letter("p_recovery", r"P_{\mathrm{rr}}", "W", "power lost in recovery of the rectifier", (0.001, 10.0))
t_dead = letter("t_dead", r"t_{\mathrm{dead}}", "s", "dead time: after one switch opens, before the other closes", (5e-9, 2e-7))
v_body = letter("v_body", r"V_{\mathrm{body}}", "V", "forward voltage of a body diode", (0.5, 1.2))
energy_dead = letter("energy_dead", r"E_{\mathrm{dead}}", "J", "energy lost in the body diode in the dead times of one period",
                     (1e-9, 1e-6))
p_dead = letter("p_dead", r"P_{\mathrm{dead}}", "W", "power lost in the body diode in the dead times", (0.001, 1.0))

HELD_UP = "the switch node stays at the output voltage until the rectifier blocks"
EXTRA = Bound("", "as good as the recovery charge, which grows with current, slope and temperature; the exact circuit's "
                  "rectifier blocks at once and does not judge it")
STOPS_IN_TIME = Condition("duty_off >= 2*t_recovery*f_sw", "recovery takes at most half of the time in which the switch is open")


@cache
def recovery_loss() -> Derivation:
    """Power lost in the switch while the rectifier recovers: V_out (Q_r + I t_rr) f_s."""
    return Derivation(
        "recovery_loss", "What a slow rectifier costs the switch",
        (
            Step("The switch closes at the lowest current of the coil. From the instant at which it carries all of that, until "
                 "the rectifier blocks, it also takes the charge that runs back through the rectifier.",
                 "charge_edge = i_inductor_min*t_recovery + q_recovery", definition()),
            Step("Let the output voltage stay across the switch to the end.", "v_switch_peak = v_out", assumption(HELD_UP)),
            Step("All of this charge falls through that voltage.", "energy_recovery = v_switch_peak*charge_edge",
                 law("work on a charge", energy="energy_recovery", charge="charge_edge", voltage="v_switch_peak")),
            Step("Once a cycle; power is energy per cycle times cycles per second.", "p_recovery = energy_recovery*f_sw",
                 definition()),
            Step("Put in energy and charge. It heats the switch, not the rectifier.",
                 "p_recovery = v_out*(i_inductor_min*t_recovery + q_recovery)*f_sw", substituting(), uses=(4, 3, 2, 1)),
        ),
        meaning="power lost in the switch while the rectifier recovers, in continuous conduction; it comes on top of the overlap, "
                "in which the current of the switch first climbs to that of the coil",
        unit="W",
        bound=EXTRA,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 4.3, eq. 4.32-4.37",
        example={"v_out": 18.0, "i_inductor_min": 1.2, "t_recovery": 30e-9, "q_recovery": 30e-9, "f_sw": 150e3},
    )


@cache
def coil_current_with_recovery() -> Derivation:
    """The mean coil current that load and recovery ask for: the charge that runs back must be brought again."""
    return Derivation(
        "coil_current_with_recovery", "The coil current where the rectifier recovers slowly",
        (
            Step("The node is up for the open share of the period. For the last bit of it, the recovery time, the rectifier "
                 "carries nothing to the output, and it takes its charge back from there.",
                 "charge_over = i_inductor_mean*(duty_off*t_sw - t_recovery) - q_recovery", definition()),
            Step("Let the coil carry its mean current all the while.", "i_inductor = i_inductor_mean",
                 assumption("coil ripple small against its mean")),
            Step("And let it never reach zero.", "duty_rectifier = duty_off", assumption(NEVER_DRY)),
            Step("Spread over the period, this is the mean current of the rectifier.", "i_rectifier_mean = charge_over/t_sw",
                 definition()),
            Step("In steady state the output capacitor ends each period with the charge it began with: the load takes what the "
                 "rectifier brings.", "i_rectifier_mean*t_sw + (-i_out)*t_sw = 0",
                 law("steady state, charge returns", first="i_rectifier_mean", first_time="t_sw", second="-i_out",
                     second_time="t_sw")),
            Step("Put in the charge.", "i_inductor_mean*(duty_off*t_sw - t_recovery) - q_recovery - i_out*t_sw = 0",
                 substituting(), uses=(5, 4, 1)),
            Step("Solve for the coil current.", "i_inductor_mean = (i_out*t_sw + q_recovery)/(duty_off*t_sw - t_recovery)",
                 solving("i_inductor_mean")),
            Step("The period is one over the frequency.", "t_sw = 1/f_sw", definition()),
            Step("The recovered charge counts as load, and the recovery time is lost to the rectifier.",
                 "i_inductor_mean = (i_out + q_recovery*f_sw)/(duty_off - t_recovery*f_sw)", substituting(), uses=(7, 8)),
        ),
        meaning="mean coil current in continuous conduction with recovery; D' is the share of the period in which the switch node "
                "is up",
        unit="A",
        valid=(STOPS_IN_TIME,),
        bound=EXTRA,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 4.3, eq. 4.32-4.37",
        example={"i_out": 0.6, "q_recovery": 30e-9, "t_recovery": 30e-9, "f_sw": 150e3, "duty": 0.68},
    )


@cache
def gain_with_recovery() -> Derivation:
    """The gain with a lossy winding and a slow rectifier."""
    return Derivation(
        "gain_with_recovery", "The gain where the rectifier recovers slowly",
        (
            Step("Over a period the volt-seconds across the coil cancel.",
                 "v_inductor_on*duty + v_inductor_off*duty_rectifier = 0", earlier(volt_second_balance())),
            Step("The node is up until the rectifier blocks; count this whole time as the open share.",
                 "duty_rectifier = duty_off", assumption(HELD_UP)),
            Step("Let the output hardly move within a period.", "ripple_voltage = 0", assumption(FLAT_OUTPUT)),
            Step("Node down: source, winding and coil form a loop.", "v_in = v_winding + v_inductor_on",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_winding + v_inductor_on")),
            Step("Solve for the voltage of the coil.", "v_inductor_on = v_in - v_winding", solving("v_inductor_on")),
            Step("Node up: the output is in the loop as well.", "v_in = v_winding + v_inductor_off + v_out",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_winding + v_inductor_off + v_out")),
            Step("Solve for the voltage of the coil.", "v_inductor_off = v_in - v_winding - v_out", solving("v_inductor_off")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("So much is left for the closed one.", "duty = 1 - duty_off", solving("duty")),
            Step("Put the voltages and the shares into the balance.",
                 "(v_in - v_winding)*(1 - duty_off) + (v_in - v_winding - v_out)*duty_off = 0", substituting(),
                 uses=(1, 5, 7, 2, 9)),
            Step("The winding takes its share of the source; slow recovery does not enter here.",
                 "v_in - v_winding - duty_off*v_out = 0", simplifying()),
            Step("The winding is a resistance.", "v_winding = r_inductor*i_inductor_mean",
                 law("Ohm's law", voltage="v_winding", resistance="r_inductor", current="i_inductor_mean")),
            Step("It carries what load and recovery ask for.",
                 "i_inductor_mean = (i_out + q_recovery*f_sw)/(duty_off - t_recovery*f_sw)",
                 earlier(coil_current_with_recovery())),
            Step("The load is a resistance.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("It sets the load current.", "i_out = v_out/r_load", solving("i_out")),
            Step("Put these in: recovery costs gain through the resistance of the winding.",
                 "v_in - r_inductor*(v_out/r_load + q_recovery*f_sw)/(duty_off - t_recovery*f_sw) - duty_off*v_out = 0",
                 substituting(), uses=(11, 12, 13, 15)),
            Step("Solve for the output voltage.",
                 "v_out = (v_in - r_inductor*q_recovery*f_sw/(duty_off - t_recovery*f_sw))"
                 "/(duty_off + r_inductor/((duty_off - t_recovery*f_sw)*r_load))", solving("v_out")),
        ),
        meaning="output voltage in continuous conduction with recovery, the winding the only resistance; D' is the share of the "
                "period in which the switch node is up",
        unit="V",
        valid=(STOPS_IN_TIME,),
        bound=EXTRA,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 4.3, eq. 4.32-4.37",
        example={"v_in": 24.0, "r_load": 15.0, "r_inductor": 0.15, "q_recovery": 1e-6, "t_recovery": 50e-9, "f_sw": 100e3,
                 "duty": 0.5},
    )


@cache
def efficiency_with_recovery() -> Derivation:
    """The efficiency with a slow rectifier, at the output voltage of `gain_with_recovery`."""
    return Derivation(
        "efficiency_with_recovery", "The efficiency where the rectifier recovers slowly",
        (
            Step("The source gives the coil current at its own voltage.", "p_in = v_in*i_inductor_mean",
                 law("electric power", power="p_in", voltage="v_in", current="i_inductor_mean")),
            Step("The load takes its current at the output voltage.", "p_out = v_out*i_out",
                 law("electric power", power="p_out", voltage="v_out", current="i_out")),
            Step("Efficiency is what comes out over what goes in.", "efficiency = p_out/p_in", definition()),
            Step("The coil carries what load and recovery ask for.",
                 "i_inductor_mean = (i_out + q_recovery*f_sw)/(duty_off - t_recovery*f_sw)",
                 earlier(coil_current_with_recovery())),
            Step("Put in powers and current.",
                 "efficiency = v_out*i_out/(v_in*((i_out + q_recovery*f_sw)/(duty_off - t_recovery*f_sw)))",
                 substituting(), uses=(3, 1, 2, 4)),
            Step("Three factors: what the winding leaves, what the recovery time leaves, what the recovered charge leaves. The "
                 "last one is worst at light load.",
                 "efficiency = duty_off*v_out/v_in*(1 - t_recovery*f_sw/duty_off)*(i_out/(i_out + q_recovery*f_sw))",
                 simplifying()),
        ),
        meaning="efficiency in continuous conduction with recovery, from the output voltage that it leaves",
        unit="",
        valid=(STOPS_IN_TIME,),
        bound=EXTRA,
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 4.3, eq. 4.32-4.37",
        example={"v_in": 24.0, "v_out": 46.08, "i_out": 3.072, "q_recovery": 1e-6, "t_recovery": 50e-9, "f_sw": 100e3, "duty": 0.5},
    )


@cache
def dead_time_loss() -> Derivation:
    """Power lost in the body diode of a second switch: 2 V_body I_L t_dead f_s."""
    return Derivation(
        "dead_time_loss", "What the dead time costs",
        (
            Step("The body diode carries the coil current twice a period: at its highest, before the second switch closes, and at "
                 "its lowest, after it has opened. The charge falls through the forward voltage of the diode.",
                 "energy_dead = v_body*(i_inductor_max*t_dead + i_inductor_min*t_dead)",
                 law("work on a charge", energy="energy_dead", charge="i_inductor_max*t_dead + i_inductor_min*t_dead",
                     voltage="v_body")),
            Step("On straight slopes the mean lies midway.", "i_inductor_mean = (i_inductor_max + i_inductor_min)/2",
                 assumption(STRAIGHT)),
            Step("Solve for the highest current.", "i_inductor_max = 2*i_inductor_mean - i_inductor_min",
                 solving("i_inductor_max")),
            Step("Dead times short against the period, and a current that does not turn.", "i_inductor = i_inductor_mean",
                 assumption("dead times so short that the coil current does not change meanwhile, and it never turns")),
            Step("Power is energy per cycle times cycles per second.", "p_dead = energy_dead*f_sw", definition()),
            Step("Put in energy and current.",
                 "p_dead = v_body*((2*i_inductor_mean - i_inductor_min)*t_dead + i_inductor_min*t_dead)*f_sw",
                 substituting(), uses=(5, 1, 3)),
            Step("The ripple drops out. The channel carries nothing meanwhile, so a good part of this would be lost anyway.",
                 "p_dead = 2*v_body*i_inductor_mean*t_dead*f_sw", simplifying()),
        ),
        meaning="power lost in the body diode of a second switch in both dead times, current always forward",
        unit="W",
        bound=Bound("", "errs high, by about the share that the current falls in one dead time; what the body diode leaves to "
                        "recover comes on top"),
        source="derived here; common practice, no source",
        example={"v_body": 0.8, "i_inductor_mean": 1.9, "t_dead": 40e-9, "f_sw": 150e3},
    )
