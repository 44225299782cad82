"""The inrush with its resistance: the highest current, where the output ends up, and what it does to a fuse or a bond wire.

Safety: see `inrush`. The integral of the square of the current is what melts a fuse; a fuse too large for the lead does not protect it.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Derivation,
    Step,
    assumption,
    definition,
    earlier,
    extremum,
    integrating,
    law,
    letter,
    reaching,
    solving,
    substituting,
)
from boostkit.derivations.inrush import LEFT_OUT, MOVES, SWINGS, UNLOADED, inrush_current, inrush_peak
from boostkit.derivations.kick import NO_RESISTANCE
from boostkit.derivations.second_order import damped_peak

t_inrush = letter("t_inrush", r"t_{\mathrm{inrush}}", "s", "time until the inrush is over", (1e-5, 1e-2))
angle_fill = letter("angle_fill", r"\varphi_{\mathrm{fill}}", "", "angle that the swing has turned through", (0.1, 3.0))
fading_fill = letter("fading_fill", r"e_{\mathrm{fill}}", "", "share of the swing that is left after half a turn", (0.2, 0.95))
joule_inrush = letter("joule_inrush", r"J_{\mathrm{inrush}}", "A²·s", "integral of the square of the inrush current", (1e-4, 1.0))
energy_heat = letter("energy_heat", r"E_{\mathrm{heat}}", "J", "energy that the resistance turns into heat meanwhile", (1e-5, 1e-1))

_RATE = Step("Call the rate of fading this.", "rate_lifted = r_loop/(2*inductance)", definition())
_OMEGA = Step("And the angle per second this.", f"omega_lifted = {MOVES}", definition())
_DAMPING = Step("Measure the fading by the swing without resistance: call it the damping.",
                "damping_lc = r_loop/2*sqrt(capacitance/inductance)", definition())
_CURRENT = "i_inductor = v_push/(omega_lifted*inductance)*exp(-(rate_lifted*t))*sin(omega_lifted*t)"
_FADED = Step("Half a turn later this share of the swing is left.", "fading_fill = exp(-(pi*damping_lc/sqrt(1 - damping_lc**2)))",
              definition())
_ERRS = Bound("", "exact for one coil, one resistance and one capacitance; " + LEFT_OUT)


@cache
def inrush_peak_damped() -> Derivation:
    """The highest current with resistance: V_push sqrt(C/L) exp(-zeta/sqrt(1 - zeta^2) atan(sqrt(1 - zeta^2)/zeta))."""
    return Derivation(
        "inrush_peak_damped", "What resistance leaves of the highest inrush",
        (
            _RATE, _OMEGA, _DAMPING,
            Step("So the resistance is this.", "r_loop = 2*damping_lc*sqrt(inductance/capacitance)", solving("r_loop")),
            Step("Take the current.", _CURRENT, earlier(inrush_current())),
            Step("Call the angle that the swing has turned through this.", "angle_fill = omega_lifted*t", definition()),
            Step("So the time is this.", "t = angle_fill/omega_lifted", solving("t")),
            Step("Read the current in the angle.",
                 "i_inductor = v_push/(omega_lifted*inductance)*exp(-(rate_lifted/omega_lifted*angle_fill))*sin(angle_fill)",
                 substituting(), uses=(5, 7)),
            Step("It is highest where the sine gains as fast as the exponential loses.",
                 "angle_fill = atan(omega_lifted/rate_lifted)", extremum("angle_fill", "maximum")),
            Step("Call the current there the inrush.",
                 "i_inrush = v_push/(omega_lifted*inductance)*exp(-(rate_lifted/omega_lifted*angle_fill))*sin(angle_fill)", definition()),
            Step("Put the angle in.",
                 "i_inrush = v_push/(omega_lifted*inductance)*exp(-(rate_lifted/omega_lifted*atan(omega_lifted/rate_lifted)))"
                 "*sin(atan(omega_lifted/rate_lifted))", substituting(), uses=(10, 9)),
            Step("Put all in; the sine takes the place of a root.", "i_inrush = v_push*sqrt(capacitance/inductance)"
                 "*exp(-(damping_lc/sqrt(1 - damping_lc**2)*atan(sqrt(1 - damping_lc**2)/damping_lc)))", substituting(),
                 uses=(11, 2, 1, 4)),
        ),
        meaning="highest current at switch-on with an empty output capacitor",
        unit="A",
        bound=_ERRS,
        source="derived here",
        example={"v_push": 5.6, "capacitance": 100e-6, "inductance": 47e-6, "damping_lc": 0.044},
    )


@cache
def inrush_time() -> Derivation:
    """When it is over: after half a turn."""
    return Derivation(
        "inrush_time", "How long the inrush lasts",
        (
            Step("Take the current.", _CURRENT, earlier(inrush_current())),
            Step("After half a turn it is back at zero; the rectifier lets it no further.", "t_inrush = pi/omega_lifted", reaching("0")),
        ),
        meaning="time until the inrush is over",
        unit="s",
        valid=(SWINGS,),
        bound=_ERRS,
        source="derived here",
        example={"omega_lifted": 1.45e4},
    )


@cache
def inrush_full() -> Derivation:
    """Where the output ends up: V_push (1 + exp(-pi zeta/sqrt(1 - zeta^2))), twice the driving voltage without resistance."""
    return Derivation(
        "inrush_full", "The output swings past the source",
        (
            Step("A capacitor that fills through a coil swings this far past what drives it.",
                 "peak_lifted = 1 + exp(-(pi*damping_lc/sqrt(1 - damping_lc**2)))", earlier(damped_peak())),
            Step("Here the source drives it, less the forward voltage of the rectifier, which ends the swing at its top.",
                 "v_full = v_push*peak_lifted", assumption(UNLOADED)),
            Step("The rectifier keeps the output up there until the load has taken the rest away.",
                 "v_full = v_push*(1 + exp(-(pi*damping_lc/sqrt(1 - damping_lc**2))))", substituting(), uses=(2, 1)),
        ),
        meaning="output voltage when the inrush is over",
        unit="V",
        bound=_ERRS,
        source="derived here; 1 + exp(-pi zeta/sqrt(1 - zeta^2)), the textbook overshoot of a second-order step response, from memory",
        example={"v_push": 5.6, "damping_lc": 0.044},
    )


@cache
def inrush_joule() -> Derivation:
    """What it does to a fuse, without resistance: (pi/2) V_push^2 C sqrt(C/L)."""
    return Derivation(
        "inrush_joule", "The square of the inrush, added up",
        (
            Step("A fuse melts by the square of the current, added up over the half swing. Without resistance the swing is a sine.",
                 "joule_inrush = integral((i_inrush*sin(t/sqrt(inductance*capacitance)))**2, t, 0, pi*sqrt(inductance*capacitance))",
                 assumption(NO_RESISTANCE)),
            Step("Carry it out: the square of a sine is a half in the mean.",
                 "joule_inrush = pi*sqrt(inductance*capacitance)*i_inrush**2/2",
                 integrating()),
            Step("The highest current is this.", "i_inrush = (v_in - v_rectifier)*sqrt(capacitance/inductance)", earlier(inrush_peak())),
            Step("Less the forward voltage, the source drives with this.", "v_push = v_in - v_rectifier", definition()),
            Step("Write the current with it.", "i_inrush = v_push*sqrt(capacitance/inductance)", substituting(), uses=(3, 4)),
            Step("Put it in.", "joule_inrush = pi/2*v_push**2*capacitance*sqrt(capacitance/inductance)", substituting(), uses=(2, 5)),
        ),
        meaning="integral of the square of the inrush current, resistance left out",
        unit="A²·s",
        bound=Bound("", "errs high: resistance lowers it; " + LEFT_OUT),
        source="derived here",
        example={"v_push": 5.6, "capacitance": 100e-6, "inductance": 47e-6},
    )


@cache
def inrush_joule_damped() -> Derivation:
    """The same with resistance, by energy: C V_push^2 (1 - e^2)/(2 R), e being what half a turn leaves of the swing."""
    return Derivation(
        "inrush_joule_damped", "The square of the inrush, by its heat",
        (
            _FADED,
            Step("The output ends up here.", "v_full = v_push*(1 + exp(-(pi*damping_lc/sqrt(1 - damping_lc**2))))", earlier(inrush_full())),
            Step("This charge has passed.", "charge_fill = capacitance*v_full", definition()),
            Step("The source has lifted it, less what the rectifier takes.", "energy_push = charge_fill*v_push",
                 law("work on a charge", energy="energy_push", charge="charge_fill", voltage="v_push")),
            Step("This is in the capacitor; the coil is empty again.", "energy_after = capacitance*v_full**2/2",
                 law("energy stored in an electric field", energy="energy_after", capacitance="capacitance", voltage="v_full")),
            Step("The rest is heat.", "energy_push = energy_after + energy_heat",
                 law("energy conservation", comes="energy_push", goes="energy_after + energy_heat")),
            Step("So the heat is this.", "energy_heat = energy_push - energy_after", solving("energy_heat")),
            Step("It is the resistance times the square of the current, added up: that integral is what we want.",
                 "joule_inrush = energy_heat/r_loop", definition()),
            Step("Put all in.", "joule_inrush = capacitance*v_full*(v_push - v_full/2)/r_loop", substituting(), uses=(8, 7, 4, 3, 5)),
            Step("And the voltage. With much resistance nothing swings, and it is C V²/(2 R).",
                 "joule_inrush = capacitance*v_push**2*(1 - fading_fill**2)/(2*r_loop)", substituting(), uses=(9, 2, 1)),
        ),
        meaning="integral of the square of the inrush current",
        unit="A²·s",
        valid=(SWINGS,),
        bound=_ERRS,
        source="derived here",
        example={"capacitance": 100e-6, "v_push": 5.6, "fading_fill": 0.87, "r_loop": 0.06},
    )
