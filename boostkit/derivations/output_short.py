"""A short across the output: the path through coil and rectifier, which the switch cannot open, and how long there is to act.

Safety: a shorted battery gives hundreds of amperes, and its leads glow within seconds; the output capacitor gives more for an
instant, with an arc. A fuse at the source is not optional. Never short an output on purpose without one, and not by hand.
"""

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
    letter,
    linearising,
    reaching,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import inrush as _inrush  # noqa: F401  (the letter of what drives the inrush)
from boostkit.derivations.kick import COIL_LAW, LOOP_LAW

i_prospective = letter("i_prospective", r"I_{\mathrm{pro}}", "A", "current at which a fault settles if nothing opens (prospective current)",
                       (50.0, 300.0), open_low=True)
time_coil = letter("time_coil", r"\tau_L", "s", "time constant of coil and resistance", (2e-4, 2e-3), open_low=True)
i_trip = letter("i_trip", r"I_{\mathrm{trip}}", "A", "current at which a protection acts, or a part gives up", (6.0, 40.0))
t_trip = letter("t_trip", r"t_{\mathrm{trip}}", "s", "time until a fault current has come to that", (1e-6, 1e-2))
r_short = letter("r_short", r"R_{\mathrm{short}}", "Ω", "resistance of the short itself", (0.001, 0.1))
i_dump = letter("i_dump", r"I_{C,\mathrm{short}}", "A", "highest current out of the output capacitor into a short", (20.0, 5000.0))
joule_short = letter("joule_short", r"J_{\mathrm{short}}", "A²·s", "integral of the square of a fault current", (1e-3, 1e3))

_EXACT = Bound("0*time_coil", "exact for one coil, one resistance and a short without resistance of its own; "
               "a coil that saturates is faster")
_COURSE = "i_inductor = i_prospective - (i_prospective - i_start)*exp(-(t/time_coil))"
_ABOVE = Condition("i_prospective > i_trip", "the fault current gets there at all")


@cache
def short_end() -> Derivation:
    """Where the current settles: (V_in - V_F)/R. Neither duty nor inductance has a say."""
    return Derivation(
        "short_end", "The short stays",
        (
            Step("The output is at zero. Source, coil, resistance and rectifier form a loop without a switch.",
                 "v_in = v_coil + v_loop + v_rectifier", law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_rectifier")),
            Step("Once the current is steady the coil has no voltage.", "v_coil = 0", assumption("the current has become steady")),
            Step("It is the prospective current that flows in the resistance.", "v_loop = r_loop*i_prospective",
                 law("Ohm's law", voltage="v_loop", resistance="r_loop", current="i_prospective")),
            Step("Put both in.", "v_in = r_loop*i_prospective + v_rectifier", substituting(), uses=(1, 2, 3)),
            Step("Solve for the current: the fuse, not the controller, must end it.", "i_prospective = (v_in - v_rectifier)/r_loop",
                 solving("i_prospective")),
        ),
        meaning="current at which a shorted converter settles (prospective current)",
        unit="A",
        bound=Bound("0*r_loop", "exact, with the forward voltage that the rectifier has at this current"),
        source="derived here",
        example={"v_in": 6.0, "v_rectifier": 0.4, "r_loop": 0.06},
    )


@cache
def short_current() -> Derivation:
    """The course: I_pro - (I_pro - I) exp(-t R/L)."""
    return Derivation(
        "short_current", "The current after the short",
        (
            Step("Source, coil, resistance and rectifier form a loop.", "v_in = v_coil + v_loop + v_rectifier",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_rectifier")),
            Step("The voltage across the coil sets how fast its current changes.", "v_coil = inductance*slope_coil", COIL_LAW),
            Step("The resistance takes its part.", "v_loop = r_loop*i_inductor", LOOP_LAW),
            Step("Put both in.", "v_in = inductance*slope_coil + r_loop*i_inductor + v_rectifier", substituting(), uses=(1, 2, 3)),
            Step("Call the current at which it settles prospective.", "i_prospective = (v_in - v_rectifier)/r_loop", definition()),
            Step("Inductance over resistance is a time.", "time_coil = inductance/r_loop", definition()),
            Step("It starts where it was, and nears the prospective current.", _COURSE,
                 solving_in_time(i_inductor=("slope_coil", "i_start")), uses=(4, 5, 6)),
        ),
        meaning="coil current a time t after the output has been shorted",
        unit="A",
        bound=_EXACT,
        source="derived here",
        example={"i_prospective": 93.0, "i_start": 2.2, "t": 2e-4, "time_coil": 7.8e-4},
    )


@cache
def trip_time() -> Derivation:
    """When it has come to a current: tau ln((I_pro - I)/(I_pro - I_trip))."""
    return Derivation(
        "trip_time", "How long there is to act",
        (
            Step("Take the current.", _COURSE, earlier(short_current())),
            Step("Here it has come to the current at which something must have acted.",
                 "t_trip = time_coil*log((i_prospective - i_start)/(i_prospective - i_trip))", reaching("i_trip")),
        ),
        meaning="time until the current of a shorted converter has come to a value",
        unit="s",
        valid=(_ABOVE,),
        bound=_EXACT,
        source="derived here",
        example={"time_coil": 7.8e-4, "i_prospective": 93.0, "i_start": 2.2, "i_trip": 20.0},
    )


@cache
def trip_time_least() -> Derivation:
    """It is never shorter than L (I_trip - I)/V_push: what the coil alone grants."""
    return Derivation(
        "trip_time_least", "The time that the coil grants",
        (
            Step("Take the current.", _COURSE, earlier(short_current())),
            Step("It never rises faster than at the start.", "i_inductor = i_start + (i_prospective - i_start)*t/time_coil",
                 linearising("t", "0")),
            Step("On this straight line it comes to the value here.", "t_trip = (i_trip - i_start)*time_coil/(i_prospective - i_start)",
                 reaching("i_trip")),
            Step("The prospective current is this.", "i_prospective = (v_in - v_rectifier)/r_loop", earlier(short_end())),
            Step("The time constant is this.", "time_coil = inductance/r_loop", assumption("one coil and one resistance")),
            Step("Put both in.", "t_trip = inductance*(i_trip - i_start)/(v_in - v_rectifier - r_loop*i_start)", substituting(),
                 uses=(3, 4, 5)),
        ),
        meaning="least time until the current of a shorted converter has come to a value",
        unit="s",
        valid=(Condition("v_in > v_rectifier + r_loop*i_start", "the source drives the current up"),),
        bound=Bound("", "errs low, on the safe side, unless the coil saturates: then the current is there sooner"),
        source="derived here",
        example={"inductance": 47e-6, "i_trip": 20.0, "i_start": 2.2, "v_in": 6.0, "v_rectifier": 0.4, "r_loop": 0.06},
    )


@cache
def short_joule() -> Derivation:
    """What it does to a fuse up to a time t: I_pro^2 t - 2 I_pro dI tau (1 - e) + dI^2 tau (1 - e^2)/2."""
    return Derivation(
        "short_joule", "The square of the short's current, added up",
        (
            Step("Take the current.", _COURSE, earlier(short_current())),
            Step("Its square, added up until it is broken.",
                 "joule_short = integral((i_prospective - (i_prospective - i_start)*exp(-(t/time_coil)))**2, t, 0, t_trip)", definition()),
            Step("Carry it out.", "joule_short = i_prospective**2*t_trip"
                 " - 2*i_prospective*(i_prospective - i_start)*time_coil*(1 - exp(-(t_trip/time_coil)))"
                 " + (i_prospective - i_start)**2*time_coil/2*(1 - exp(-(2*t_trip/time_coil)))", integrating()),
        ),
        meaning="integral of the square of the current of a shorted converter until it is broken",
        unit="A²·s",
        bound=_EXACT,
        source="derived here",
        example={"i_prospective": 93.0, "t_trip": 5e-3, "i_start": 2.2, "time_coil": 7.8e-4},
    )


@cache
def capacitor_dump() -> Derivation:
    """What the output capacitor gives by itself: V_out/(R_C + R_short), for an instant."""
    return Derivation(
        "capacitor_dump", "The capacitor behind the short",
        (
            Step("The capacitor's voltage cannot jump; series resistance and short share it.",
                 "v_out = (r_capacitor + r_short)*i_dump",
                 law("Ohm's law", voltage="v_out", resistance="r_capacitor + r_short", current="i_dump")),
            Step("Solve for the current: no fuse in the source lead ever sees it.",
                 "i_dump = v_out/(r_capacitor + r_short)", solving("i_dump")),
        ),
        meaning="current out of the output capacitor at the instant of a short",
        unit="A",
        bound=Bound("", "errs high: the inductance of the leads to the short lets the current rise only over some time"),
        source="derived here",
        example={"v_out": 18.0, "r_capacitor": 0.01, "r_short": 0.01},
    )
