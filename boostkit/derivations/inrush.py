"""Switch-on: the inrush through coil and rectifier into the empty output capacitor, which no duty can prevent.

Safety: the contact that closes a source onto an empty capacitor sparks and can weld; a large source drives hundreds of
amperes. Switch on through a switch or a connector made for it, with a fuse at the source, and keep hands off while it closes.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    law,
    letter,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import second_order as _second_order  # noqa: F401  (the letters of the swing of coil and capacitor)
from boostkit.derivations import unloaded as _unloaded  # noqa: F401  (the letters of a capacitor before and after)
from boostkit.derivations.kick import COIL_LAW, LOOP_LAW, NO_RESISTANCE

v_push = letter("v_push", r"V_{\mathrm{push}}", "V", "source voltage less the forward voltage of the rectifier: what drives the inrush",
                (3.0, 11.0), defined_as="v_in - v_rectifier")
v_full = letter("v_full", r"V_{\mathrm{full}}", "V", "voltage of the output capacitor when the swing is over", (5.0, 60.0))
i_inrush = letter("i_inrush", r"I_{\mathrm{inrush}}", "A", "highest current at switch-on", (1.0, 200.0))
charge_fill = letter("charge_fill", r"Q_{\mathrm{fill}}", "C", "charge that passes into the output capacitor", (1e-5, 1e-2))
energy_push = letter("energy_push", r"E_{\mathrm{push}}", "J", "energy that the source gives meanwhile, less what the rectifier takes",
                     (1e-5, 1e-1))
v_floor = letter("v_floor", r"V_{\mathrm{floor}}", "V", "output voltage while the switch never closes", (2.0, 12.0))
slope_more = letter("slope_more", r"\Delta m", "A/s", "what switching adds to the mean slope of the coil current", (1e4, 1e6))
slope_idle = letter("slope_idle", r"m_{\mathrm{idle}}", "A/s", "slope of the coil current while the switch stays open", (-1e6, 1e6),
                    low=-inf)

UNLOADED = "the load takes nothing meanwhile"
MOVES = "sqrt(1/(inductance*capacitance) - rate_lifted**2)"
SWINGS = Condition("r_loop/2*sqrt(capacitance/inductance) < 1", "so little resistance that the current swings")
LEFT_OUT = "what a load takes, and a coil that saturates, are left out: a saturating coil lets far more current through"


@cache
def output_floor() -> Derivation:
    """Where the output rests while the switch never closes: V_in - V_F - R I_out. The converter cannot switch its load off."""
    return Derivation(
        "output_floor", "The path that is always there",
        (
            Step("The switch stays open. Source, coil, rectifier and output form a loop all the same.",
                 "v_in = v_coil + v_loop + v_rectifier + v_floor",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_rectifier + v_floor")),
            Step("Once the current is steady the coil has no voltage.", "v_coil = 0", assumption("the current has become steady")),
            Step("The current is that of the load.", "v_loop = r_loop*i_out",
                 law("Ohm's law", voltage="v_loop", resistance="r_loop", current="i_out")),
            Step("Put both in.", "v_in = r_loop*i_out + v_rectifier + v_floor", substituting(), uses=(1, 2, 3)),
            Step("No duty stands in it: only a switch of its own, in the source lead or in the load, can take this voltage away.",
                 "v_floor = v_in - v_rectifier - r_loop*i_out", solving("v_floor")),
        ),
        meaning="output voltage of a converter whose switch never closes",
        unit="V",
        bound=Bound("0*r_loop", "exact, with the forward voltage that the rectifier has at this current"),
        source="derived here",
        example={"v_in": 6.0, "v_rectifier": 0.4, "r_loop": 0.06, "i_out": 0.6},
    )


@cache
def switching_adds() -> Derivation:
    """Why no duty can prevent the inrush: every duty adds D (V_out + V_F)/L to the slope, none takes anything away."""
    return Derivation(
        "switching_adds", "What a duty does to the inrush",
        (
            Step("With the switch open, source, output and rectifier leave this to the coil.",
                 "v_in - v_out - v_rectifier = inductance*slope_idle",
                 law("inductor law", voltage="v_in - v_out - v_rectifier", inductance="inductance", slope="slope_idle")),
            Step("So the current has this slope.", "slope_idle = (v_in - v_out - v_rectifier)/inductance", solving("slope_idle")),
            Step("With the switch closed the whole source is left to it.", "v_in = inductance*slope_rise",
                 law("inductor law", voltage="v_in", inductance="inductance", slope="slope_rise")),
            Step("So the current has that slope.", "slope_rise = v_in/inductance", solving("slope_rise")),
            Step("Over a period the mean slope is made of both. Take off what it would be without switching.",
                 "slope_more = duty*slope_rise + (1 - duty)*slope_idle - slope_idle", definition()),
            Step("Put both in. Nothing in it can be negative: the least inrush is that of a switch that never closes.",
                 "slope_more = duty*(v_out + v_rectifier)/inductance", substituting(), uses=(5, 4, 2)),
        ),
        meaning="what switching adds to the mean slope of the coil current, against a switch that stays open",
        unit="A/s",
        bound=Bound("", "resistances are left out: they act alike in both states, but for that of switch against rectifier"),
        source="derived here",
        example={"duty": 0.05, "v_out": 6.0, "v_rectifier": 0.4, "inductance": 47e-6},
    )


@cache
def inrush_current() -> Derivation:
    """The inrush with resistance: V_push/(omega L) exp(-alpha t) sin(omega t)."""
    return Derivation(
        "inrush_current", "Switch-on: the current into the empty capacitor",
        (
            Step("The source is connected; the switch stays open. The current finds its way through coil and rectifier.",
                 "v_in = v_coil + v_loop + v_rectifier + v_lifted",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_rectifier + v_lifted")),
            Step("Less the forward voltage, the source drives with this.", "v_push = v_in - v_rectifier", definition()),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("All resistance on the way takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("So the rest of the loop gets this.", "v_push = v_coil + v_loop + v_lifted", substituting(), uses=(2, 1)),
            Step("Put them in.", "v_push = inductance*slope_coil + r_loop*i_inductor + v_lifted", substituting(), uses=(5, 1, 3, 4)),
            Step("Take away the load.", "i_out = 0", assumption(UNLOADED)),
            Step("Then all the current goes into the capacitor.", "i_inductor = capacitance*slope_lifted",
                 law("capacitor law", current="i_inductor", capacitance="capacitance", slope="slope_lifted")),
            Step("Call the rate of fading this.", "rate_lifted = r_loop/(2*inductance)", definition()),
            Step("And the angle per second this.", f"omega_lifted = {MOVES}", definition()),
            Step("Capacitor and coil begin empty. The current swings up and back to zero, where the rectifier stops it.",
                 "i_inductor = v_push/(omega_lifted*inductance)*exp(-(rate_lifted*t))*sin(omega_lifted*t)",
                 solving_in_time(i_inductor=("slope_coil", "0"), v_lifted=("slope_lifted", "0")), uses=(6, 8, 9, 10)),
        ),
        meaning="current a time t after a source has been connected to a converter with an empty output, within the first half swing",
        unit="A",
        valid=(Condition("omega_lifted*t <= pi", "the first half swing: then the rectifier stops the current"),),
        source="derived here",
        example={"v_push": 5.6, "omega_lifted": 1.45e4, "inductance": 47e-6, "rate_lifted": 640.0, "t": 100e-6},
    )


@cache
def inrush_peak() -> Derivation:
    """The highest current without resistance: V_push sqrt(C/L)."""
    return Derivation(
        "inrush_peak", "The highest inrush",
        (
            Step("Less the forward voltage, the source drives with this.", "v_push = v_in - v_rectifier", definition()),
            Step("At the highest current the slope is zero, and so is the voltage across the coil: without resistance the capacitor "
                 "has come to the driving voltage.", "v_lifted = v_push", assumption(NO_RESISTANCE)),
            Step("Take away the load.", "i_out = 0", assumption(UNLOADED)),
            Step("This charge has passed by then.", "charge_fill = capacitance*v_push", definition()),
            Step("The source has lifted it by its voltage, less the rectifier's.", "energy_push = charge_fill*v_push",
                 law("work on a charge", energy="energy_push", charge="charge_fill", voltage="v_push")),
            Step("Half of it is in the capacitor.", "energy_after = capacitance*v_push**2/2",
                 law("energy stored in an electric field", energy="energy_after", capacitance="capacitance", voltage="v_push")),
            Step("The coil holds this.", "energy_held = inductance*i_inrush**2/2",
                 law("energy stored in a magnetic field", energy="energy_held", inductance="inductance", current="i_inrush")),
            Step("Nothing else takes any.", "energy_push = energy_after + energy_held",
                 law("energy conservation", comes="energy_push", goes="energy_after + energy_held")),
            Step("Put all in.", "capacitance*v_push**2 = capacitance*v_push**2/2 + inductance*i_inrush**2/2", substituting(),
                 uses=(8, 5, 4, 6, 7)),
            Step("So the current follows from the voltage.", "i_inrush = v_push*sqrt(capacitance/inductance)", solving("i_inrush")),
            Step("A larger capacitor, a smaller coil: more inrush.", "i_inrush = (v_in - v_rectifier)*sqrt(capacitance/inductance)",
                 substituting(), uses=(10, 1)),
        ),
        meaning="highest current at switch-on with an empty output capacitor, resistance left out",
        unit="A",
        bound=Bound("", "errs high: resistance lowers it; " + LEFT_OUT),
        source="derived here; the step response of coil and capacitor in any textbook, from memory",
        example={"v_in": 6.0, "v_rectifier": 0.4, "capacitance": 100e-6, "inductance": 47e-6},
    )
