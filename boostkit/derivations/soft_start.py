"""Soft start: a set point that climbs slowly, so that filling the output capacitor takes a current that the parts bear.

It begins to act where the set point passes the source voltage; the inrush before that no controller can soften.

Safety: while the output climbs the converter is live, above 60 V dangerous to touch before the set point is reached.
"""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, assumption, earlier, law, letter, solving, substituting
from boostkit.derivations import inrush as _inrush  # noqa: F401  (the letter of what drives the inrush)

t_soft = letter("t_soft", r"t_{\mathrm{soft}}", "s", "time in which the set point climbs from zero", (1e-4, 1e-1), open_low=True)
i_climb = letter("i_climb", r"I_{\mathrm{climb}}", "A", "mean current that fills the output capacitor during the climb",
                   (0.01, 5.0))
i_allowed = letter("i_allowed", r"I_{\mathrm{allow}}", "A", "mean coil current that is allowed during the climb", (10.0, 40.0))
energy_start = letter("energy_start", r"E_{\mathrm{start}}", "J", "energy in the output capacitor where the converter takes over",
                      (1e-5, 1e-2))
energy_reached = letter("energy_reached", r"E_{\mathrm{reached}}", "J", "energy in the output capacitor at its output voltage", (1e-4, 1.0))
energy_climb = letter("energy_climb", r"E_{\mathrm{climb}}", "J", "energy that the converter brings into the output capacitor", (1e-4, 1.0))

STRAIGHT = "the output follows the set point, which climbs in a straight line"
_SLOW = Bound("", "of means over a period, at the end of the climb, where the current is highest; ripple comes on top")


@cache
def filling_current() -> Derivation:
    """What filling the capacitor takes: C V_out/t."""
    return Derivation(
        "filling_current", "What the climb takes",
        (
            Step("The current into the capacitor sets how fast the output climbs. Its slope is the whole voltage over the whole time.",
                 "i_climb = capacitance*(v_out/t_soft)",
                 law("capacitor law", current="i_climb", capacitance="capacitance", slope="v_out/t_soft")),
        ),
        meaning="mean current into the output capacitor during a soft start",
        unit="A",
        bound=_SLOW,
        source="derived here",
        example={"capacitance": 100e-6, "v_out": 18.0, "t_soft": 5e-3},
    )


@cache
def soft_start_current() -> Derivation:
    """The coil current at the end of the climb: (I_out + C V_out/t)/D'."""
    return Derivation(
        "soft_start_current", "The coil carries both",
        (
            Step("While the output climbs, the capacitor takes this.",
                 "i_climb = capacitance*(v_out/t_soft)", earlier(filling_current())),
            Step("The rectifier brings what load and capacitor take.", "i_rectifier_mean = i_out + i_climb",
                 law("Kirchhoff current law", enter="i_rectifier_mean", leave="i_out + i_climb")),
            Step("It carries the coil current for the part of each period in which the switch is open.",
                 "i_rectifier_mean = duty_off*i_inductor_mean",
                 assumption("continuous conduction, the coil current near its mean while the rectifier conducts")),
            Step("Put the two together.", "duty_off*i_inductor_mean = i_out + i_climb", substituting(), uses=(2, 3)),
            Step("Solve for the coil current.", "i_inductor_mean = (i_out + i_climb)/duty_off", solving("i_inductor_mean")),
            Step("It is highest at the end, where the switch is open least. The slower the climb, the less.",
                 "i_inductor_mean = (i_out + capacitance*v_out/t_soft)/duty_off", substituting(), uses=(5, 1)),
        ),
        meaning="mean coil current at the end of a soft start",
        unit="A",
        bound=_SLOW,
        source="derived here",
        example={"i_out": 0.6, "capacitance": 100e-6, "v_out": 18.0, "t_soft": 5e-3, "duty_off": 0.32},
    )


@cache
def soft_start_time() -> Derivation:
    """The least time: C V_out/(D' I - I_out), I being the mean coil current that is allowed."""
    return Derivation(
        "soft_start_time", "How slow the start must be",
        (
            Step("Take the coil current at the end of the climb.", "i_inductor_mean = (i_out + capacitance*v_out/t_soft)/duty_off",
                 earlier(soft_start_current())),
            Step("It may be as large as this.", "i_inductor_mean = i_allowed",
                 assumption("the climb uses all the coil current that is allowed")),
            Step("Set them equal.", "i_allowed = (i_out + capacitance*v_out/t_soft)/duty_off", substituting(), uses=(1, 2)),
            Step("Solve for the time. Where the load alone takes all that is allowed, no time is long enough.",
                 "t_soft = capacitance*v_out/(duty_off*i_allowed - i_out)", solving("t_soft")),
        ),
        meaning="least time of a soft start under load, the set point climbing from zero",
        unit="s",
        valid=(Condition("duty_off*i_allowed > i_out", "the coil may carry more than the load takes"),),
        bound=_SLOW,
        source="derived here",
        example={"capacitance": 100e-6, "v_out": 18.0, "duty_off": 0.32, "i_allowed": 3.0, "i_out": 0.6},
    )


@cache
def climb_energy() -> Derivation:
    """What the converter brings into the capacitor: C (V_out^2 - V_push^2)/2; up to the source's voltage it fills without switching."""
    return Derivation(
        "climb_energy", "The energy of a start",
        (
            Step("The output capacitor has filled without any switching up to here.", "energy_start = capacitance*v_push**2/2",
                 law("energy stored in an electric field", energy="energy_start", capacitance="capacitance", voltage="v_push")),
            Step("At the end it holds this.", "energy_reached = capacitance*v_out**2/2",
                 law("energy stored in an electric field", energy="energy_reached", capacitance="capacitance", voltage="v_out")),
            Step("What is between the two, the converter brings.", "energy_reached = energy_start + energy_climb",
                 law("energy conservation", comes="energy_reached", goes="energy_start + energy_climb")),
            Step("Put both in.", "capacitance*v_out**2/2 = capacitance*v_push**2/2 + energy_climb", substituting(), uses=(3, 1, 2)),
            Step("Solve for it. It does not depend on the time: a slow start only spreads it.",
                 "energy_climb = capacitance*(v_out**2 - v_push**2)/2", solving("energy_climb")),
        ),
        meaning="energy that the converter brings into the output capacitor at a start without load",
        unit="J",
        bound=Bound("", "where the inrush has not swung past the source; where it has, the converter brings less"),
        source="derived here",
        example={"capacitance": 100e-6, "v_out": 18.0, "v_push": 5.6},
    )
