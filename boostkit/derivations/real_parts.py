"""Parts with losses: the gain and the efficiency that are left, what ripple adds, and what an edge of the switch costs."""

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
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.bounds import ABOVE_SOURCE, BEND, BENT_BY_CAPACITOR, BENT_BY_LOAD, CONTINUOUS, ESR_LOSS, LOSS, SWING
from boostkit.derivations.stress import switch_rms
from boostkit.derivations.switching import FLAT_OUTPUT, NEVER_DRY, charge_balance, volt_second_balance

p_in = letter("p_in", r"P_{\mathrm{in}}", "W", "input power, mean", (0.3, 100.0))
efficiency = letter("efficiency", r"\eta", "", "efficiency: output power over input power", (0.5, 0.99))
ripple_factor_rms = letter("ripple_factor_rms", r"k_{\Delta}", "", "factor by which ripple raises an rms current", (1.0, 1.2))
v_node = letter("v_node", "v", "V", "voltage across the switch at an instant of its rise", (1.0, 60.0))
v_stated = letter("v_stated", r"V_{\mathrm{stated}}", "V", "voltage at which the capacitance of a switch is stated",
                  (5.0, 60.0), open_low=True)

SMALL_RIPPLE = "coil ripple small against its mean, so that a resistance sees the mean current"
SHORT_EDGES = "edges so short that the coil current does not change meanwhile, and its ripple small"


@cache
def real_gain() -> Derivation:
    """The gain with the losses of winding, switch and rectifier."""
    return Derivation(
        "real_gain", "The gain of a boost converter with losses",
        (
            Step("Over a period the volt-seconds across the coil cancel.",
                 "v_inductor_on*duty + v_inductor_off*duty_rectifier = 0", earlier(volt_second_balance())),
            Step("Let the coil carry current all through the open time.", "duty_rectifier = duty_off",
                 assumption(NEVER_DRY)),
            Step("The mean coil current follows from the load; losses do not enter, for charge is not lost.",
                 "i_inductor_mean = i_out/duty_off", earlier(charge_balance())),
            Step("The winding is a resistance that carries, nearly, the mean current.",
                 "v_winding = r_inductor*i_inductor_mean", assumption(SMALL_RIPPLE)),
            Step("So is the closed switch.", "v_switch_on = r_switch*i_inductor_mean", assumption(SMALL_RIPPLE)),
            Step("The conducting rectifier is a fixed voltage and a resistance.",
                 "v_rectifier_on = v_rectifier + r_rectifier*i_inductor_mean", assumption(SMALL_RIPPLE)),
            Step("Let the output hardly move within a period.", "ripple_voltage = 0", assumption(FLAT_OUTPUT)),
            Step("Switch closed: source, winding, coil and switch form a loop.",
                 "v_in = v_winding + v_inductor_on + v_switch_on",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_winding + v_inductor_on + v_switch_on")),
            Step("The drops are missing across the coil.", "v_inductor_on = v_in - v_winding - v_switch_on",
                 solving("v_inductor_on")),
            Step("Switch open: source, winding, coil, rectifier and output form a loop.",
                 "v_in = v_winding + v_inductor_off + v_rectifier_on + v_out",
                 law("Kirchhoff voltage law", rises="v_in",
                     drops="v_winding + v_inductor_off + v_rectifier_on + v_out")),
            Step("The drops are missing here too.", "v_inductor_off = v_in - v_winding - v_rectifier_on - v_out",
                 solving("v_inductor_off")),
            Step("Put the voltages into the balance.",
                 "(v_in - v_winding - v_switch_on)*duty + (v_in - v_winding - v_rectifier_on - v_out)*duty_off = 0",
                 substituting(), uses=(1, 2, 9, 11)),
            Step("Solve for the output voltage.",
                 "v_out = ((v_in - v_winding)*(duty + duty_off) - duty*v_switch_on - duty_off*v_rectifier_on)/duty_off",
                 solving("v_out")),
            Step("The two shares make up the whole period.", "duty_off = 1 - duty", definition()),
            Step("Without the drops this is the ideal gain.",
                 "v_out = (v_in - v_winding - duty*v_switch_on - duty_off*v_rectifier_on)/duty_off",
                 substituting(), uses=(13, 14)),
            Step("The load is a resistance.", "v_out = r_load*i_out",
                 law("Ohm's law", voltage="v_out", resistance="r_load", current="i_out")),
            Step("It sets the load current.", "i_out = v_out/r_load", solving("i_out")),
            Step("Put in drops and currents: the output now stands on both sides.",
                 "v_out = (v_in - duty_off*v_rectifier - "
                 "(r_inductor + duty*r_switch + duty_off*r_rectifier)*v_out/(duty_off*r_load))/duty_off",
                 substituting(), uses=(15, 4, 5, 6, 3, 17)),
            Step("Solve for the output voltage.",
                 "v_out = (v_in - duty_off*v_rectifier)/duty_off"
                 "/(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))", solving("v_out")),
            Step("The ideal gain, less the forward voltage, less a share that grows without limit as D' shrinks.",
                 "v_out/v_in = 1/duty_off*(1 - duty_off*v_rectifier/v_in)"
                 "/(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))", simplifying()),
        ),
        meaning="voltage gain in continuous conduction with losses of winding, switch and rectifier",
        unit="",
        valid=(CONTINUOUS,),
        bound=Bound(f"{ESR_LOSS} + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BEND}*{LOSS}",
                    "errs high, by what the series resistance of the output capacitor takes"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 3.30-3.35",
        example={"duty": 0.6, "v_rectifier": 0.5, "v_in": 10.0, "r_inductor": 0.1, "r_switch": 0.05,
                 "r_rectifier": 0.02, "r_load": 20.0},
    )


@cache
def efficiency_with_losses() -> Derivation:
    """The efficiency with the losses of winding, switch and rectifier: D' times the gain that is left."""
    left = "(1 + (r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load))"
    return Derivation(
        "efficiency_with_losses", "The efficiency of a boost converter with losses",
        (
            Step("The source gives the coil current at its own voltage.", "p_in = v_in*i_inductor_mean",
                 law("electric power", power="p_in", voltage="v_in", current="i_inductor_mean")),
            Step("The load takes its current at the output voltage, which hardly moves within a period.",
                 "p_out = v_out*i_out", law("electric power", power="p_out", voltage="v_out", current="i_out")),
            Step("Efficiency is what comes out over what goes in.", "efficiency = p_out/p_in", definition()),
            Step("The coil carries more current than the load.", "i_inductor_mean = i_out/duty_off",
                 earlier(charge_balance())),
            Step("Put in both powers and the current.", "efficiency = v_out*i_out/(v_in*(i_out/duty_off))",
                 substituting(), uses=(3, 1, 2, 4)),
            Step("The load current drops out: the efficiency is the gain over the ideal gain.",
                 "efficiency = duty_off*(v_out/v_in)", simplifying()),
            Step("Take the gain with losses.",
                 f"v_out/v_in = 1/duty_off*(1 - duty_off*v_rectifier/v_in)/{left}", earlier(real_gain())),
            Step("Solve it for the output voltage.",
                 f"v_out = v_in/duty_off*(1 - duty_off*v_rectifier/v_in)/{left}", solving("v_out")),
            Step("Put it in. The ideal gain drops out, and what the parts take stays.",
                 f"efficiency = (1 - duty_off*v_rectifier/v_in)/{left}", substituting(), uses=(6, 8)),
        ),
        meaning="efficiency in continuous conduction, the resistances and the forward voltage counted, the edges not",
        unit="",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(f"({ESR_LOSS} + {BENT_BY_CAPACITOR} + {BENT_BY_LOAD} + {BEND}*{LOSS} + {SWING}**2/4)*(1 + {BEND}) + {BEND}",
                    "errs high, by the series resistance of the output capacitor and by what ripple adds to rms currents"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 3.35; with the winding alone eq. 3.23",
        example={"duty": 0.6, "v_rectifier": 0.5, "v_in": 10.0, "r_inductor": 0.1, "r_switch": 0.05,
                 "r_rectifier": 0.02, "r_load": 20.0},
    )


@cache
def ripple_factor() -> Derivation:
    """By how much ripple raises an rms current over that of its mean; its square is the factor on a resistance's loss."""
    return Derivation(
        "ripple_factor", "What ripple adds to an rms current",
        (
            Step("Take the rms current of the switch.",
                 "i_switch_rms = sqrt(duty*(i_inductor_mean**2 + ripple_current**2/12))", earlier(switch_rms())),
            Step("Measure it by what it would be without ripple.",
                 "ripple_factor_rms = i_switch_rms/(i_inductor_mean*sqrt(duty))", definition()),
            Step("Put it in.", "ripple_factor_rms = sqrt(duty*(i_inductor_mean**2 + ripple_current**2/12))"
                 "/(i_inductor_mean*sqrt(duty))", substituting(), uses=(2, 1)),
            Step("The duty drops out: the factor is the same for coil, switch and rectifier. A ripple as large as the mean, "
                 "peak to peak, raises the loss by a twelfth.",
                 "ripple_factor_rms = sqrt(1 + (ripple_current/i_inductor_mean)**2/12)", simplifying()),
        ),
        meaning="factor by which ripple raises the rms current of coil, switch and rectifier in continuous conduction",
        unit="",
        valid=(CONTINUOUS, ABOVE_SOURCE),
        bound=Bound(BEND, "off on either side where the slopes are not straight"),
        source="derived here; same values in Erickson & Maksimovic, 3rd ed., table 3.1 (there with the peak ripple, half of this)",
        example={"i_inductor_mean": 1.5, "ripple_current": 3.0},
    )


@cache
def overlap_loss() -> Derivation:
    """Power lost while the switch carries voltage and current at once: V I (t_r + t_f) f_s / 2."""
    return Derivation(
        "overlap_loss", "Loss at the edges of the switch",
        (
            Step("Closing: the current climbs on a straight line, and the output voltage stays until it has climbed.",
                 "p_closing = v_out*(i_inductor_mean*t/t_rise)",
                 law("electric power", power="p_closing", voltage="v_out", current="i_inductor_mean*t/t_rise")),
            Step("Take edges that are short.", "i_inductor = i_inductor_mean", assumption(SHORT_EDGES)),
            Step("The energy of one closing.",
                 "energy_closing = integral(v_out*(i_inductor_mean*t/t_rise), t, 0, t_rise)", definition()),
            Step("A triangle: half of height times length.", "energy_closing = v_out*i_inductor_mean*t_rise/2",
                 integrating()),
            Step("Opening: the output voltage is there at once, and the current falls on a straight line.",
                 "p_opening = v_out*(i_inductor_mean*(1 - t/t_fall))",
                 law("electric power", power="p_opening", voltage="v_out",
                     current="i_inductor_mean*(1 - t/t_fall)")),
            Step("The energy of one opening.",
                 "energy_opening = integral(v_out*(i_inductor_mean*(1 - t/t_fall)), t, 0, t_fall)", definition()),
            Step("Again a triangle.", "energy_opening = v_out*i_inductor_mean*t_fall/2", integrating()),
            Step("Power is energy per cycle times cycles per second.",
                 "p_overlap = (energy_closing + energy_opening)*f_sw", definition()),
            Step("Put in the two energies.",
                 "p_overlap = (v_out*i_inductor_mean*t_rise/2 + v_out*i_inductor_mean*t_fall/2)*f_sw",
                 substituting(), uses=(8, 4, 7)),
            Step("Gather.", "p_overlap = v_out*i_inductor_mean*(t_rise + t_fall)*f_sw/2", simplifying()),
        ),
        meaning="power lost in the switch at its edges, each a straight line",
        unit="W",
        bound=Bound("", "first order: real edges are neither straight nor independent of the current; "
                        "the exact circuit switches at once and does not judge it"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 4.5-4.6",
        example={"v_out": 18.0, "i_inductor_mean": 1.2, "t_rise": 20e-9, "t_fall": 20e-9, "f_sw": 150e3},
    )


@cache
def capacitance_loss() -> Derivation:
    """Power lost when the switch discharges its own capacitance: C V^2 f_s / 2."""
    return Derivation(
        "capacitance_loss", "Loss of the capacitance across the switch",
        (
            Step("While the switch is open, the capacitance across it holds the output voltage.",
                 "energy_charge = c_switch*v_out**2/2",
                 law("energy stored in an electric field", energy="energy_charge", capacitance="c_switch",
                     voltage="v_out")),
            Step("Each closing burns this energy in the switch; power is energy per cycle times cycles per second.",
                 "p_charge = energy_charge*f_sw", definition()),
            Step("Put in the energy.", "p_charge = c_switch*v_out**2/2*f_sw", substituting(), uses=(2, 1)),
        ),
        meaning="power lost in discharging a constant capacitance across the switch",
        unit="W",
        bound=Bound("", "for a capacitance that falls with voltage use its energy at V_out; with its value at V_out "
                        "put in here, the loss comes out too low, by a quarter where it goes as 1/√v"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 4.41-4.44",
        example={"c_switch": 200e-12, "v_out": 18.0, "f_sw": 150e3},
    )


@cache
def falling_capacitance_loss() -> Derivation:
    """The same for a capacitance that falls with the square root of the voltage: 2 C(V) V^2 f_s / 3."""
    return Derivation(
        "falling_capacitance_loss", "Loss of a capacitance that falls with voltage",
        (
            Step("Take a capacitance that falls with the root of the voltage, and is stated at one voltage. A small "
                 "rise of the voltage moves a charge of capacitance times rise, and costs voltage times charge. Add "
                 "these up to the output voltage.",
                 "energy_charge = c_switch*integral(v_node*sqrt(v_stated/v_node), v_node, 0, v_out)",
                 assumption("capacitance across the switch that falls with the square root of its voltage")),
            Step("Most of the charge goes in at low voltage, where it costs little.",
                 "energy_charge = 2/3*c_switch*sqrt(v_stated)*v_out*sqrt(v_out)", integrating()),
            Step("Each closing burns this energy in the switch; power is energy per cycle times cycles per second.",
                 "p_charge = energy_charge*f_sw", definition()),
            Step("Put in the energy. Stated at V_out, the capacitance costs four thirds of what a constant one of this "
                 "value would; stated far below, it costs less.",
                 "p_charge = 2/3*c_switch*sqrt(v_stated/v_out)*v_out**2*f_sw", substituting(), uses=(3, 2)),
        ),
        meaning="power lost in discharging a capacitance across the switch that falls with the root of its voltage",
        unit="W",
        bound=Bound("", "as good as the root law, which real junctions follow only roughly near 0 V; the exact circuit "
                        "has no such capacitance"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., eq. 4.41-4.44",
        example={"c_switch": 200e-12, "v_stated": 15.0, "v_out": 18.0, "f_sw": 150e3},
    )


@cache
def gate_loss() -> Derivation:
    """Power taken by the gate: Q V f_s."""
    return Derivation(
        "gate_loss", "Power taken by the gate",
        (
            Step("The driver moves the gate charge through its own voltage.", "energy_gate = q_gate*v_drive",
                 law("work on a charge", energy="energy_gate", charge="q_gate", voltage="v_drive")),
            Step("Once a cycle; power is energy per cycle times cycles per second.",
                 "p_gate = energy_gate*f_sw", definition()),
            Step("Put in the energy. No resistor in the gate's path changes it.", "p_gate = q_gate*v_drive*f_sw",
                 substituting(), uses=(2, 1)),
        ),
        meaning="power that the gate takes from its driver",
        unit="W",
        bound=Bound("", "as good as the gate charge at this drive voltage; the exact circuit has no gate"),
        source="derived here; same form in Erickson & Maksimovic, 3rd ed., sec. 4.6.1",
        example={"q_gate": 10e-9, "v_drive": 6.0, "f_sw": 150e3},
    )
