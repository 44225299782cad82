"""What a source can do to a converter: a surge (load dump), and a battery connected the wrong way round.

Safety: a reversed battery drives its full short-circuit current through body diode and coil, and bursts a polarised input
capacitor. A surge comes without warning. The sizes of surges belong to the standard of the installation, not to this page.
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
    reaching,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import clamp as _clamp  # noqa: F401  (the letter of a clamp's voltage)
from boostkit.derivations import output_short as _short  # noqa: F401  (the letters of a current that grows into a fault)
from boostkit.derivations import recovery as _recovery  # noqa: F401  (the letter of a body diode's voltage)
from boostkit.derivations.load_step import coil_surplus

v_surge = letter("v_surge", r"V_{\mathrm{surge}}", "V", "height of a surge on the source, before it fades", (70.0, 200.0), open_low=True)
v_fading = letter("v_fading", r"v_{\mathrm{fade}}", "V", "voltage of a surge at an instant, without a clamp", (10.0, 200.0))
time_surge = letter("time_surge", r"\tau_{\mathrm{surge}}", "s", "time in which a surge fades to 37 %", (1e-3, 0.4), open_low=True)
r_surge = letter("r_surge", r"R_{\mathrm{surge}}", "Ω", "resistance behind a surge", (0.5, 5.0), open_low=True)
i_clamp = letter("i_clamp", r"I_{\mathrm{clamp}}", "A", "highest current in a clamp on the source", (5.0, 200.0))
t_clamp = letter("t_clamp", r"t_{\mathrm{clamp}}", "s", "time for which a clamp on the source carries current", (1e-3, 1.0))
charge_clamp = letter("charge_clamp", r"Q_{\mathrm{clamp}}", "C", "charge through a clamp on the source", (1e-3, 10.0))
energy_clamp = letter("energy_clamp", r"E_{\mathrm{clamp}}", "J", "energy that a clamp on the source must swallow", (0.1, 500.0))
i_reverse = letter("i_reverse", r"i_{\mathrm{rev}}", "A", "current out of a reversed source at an instant", (0.0, 200.0))
slope_reverse = letter("slope_reverse", r"\mathrm{d}i_{\mathrm{rev}}/\mathrm{d}t", "A/s", "slope of that current", (0.0, 1e6))
i_reverse_end = letter("i_reverse_end", r"I_{\mathrm{rev,end}}", "A", "current at which a reversed source settles", (50.0, 300.0),
                       open_low=True)
v_series = letter("v_series", r"V_{\mathrm{ser}}", "V", "voltage that a protection in the source lead takes", (0.01, 1.0))
p_series = letter("p_series", r"P_{\mathrm{ser}}", "W", "power that it turns into heat", (0.01, 10.0))
i_source_mean = letter("i_source_mean", r"I_{\mathrm{src}}", "A", "current out of the source, mean", (0.05, 10.0))
r_series = letter("r_series", r"R_{\mathrm{ser}}", "Ω", "resistance of a switch in the source lead", (0.002, 0.1))

FADES = "the surge rises at once and fades exponentially, behind a resistance"
_CLAMPED = Bound("", "for a surge of this shape, the converter taking nothing, and a clamp that holds its voltage; "
                 "its own resistance adds to it")
_HIGH = Condition("v_surge > v_clamp", "the surge comes to the clamp's voltage")
_LOOP = Bound("0*r_loop", "exact for one coil and one resistance; a coil that saturates is faster")


@cache
def clamp_surge_current() -> Derivation:
    """The current in a clamp at the height of the surge: (V_surge - V_clamp)/R."""
    return Derivation(
        "clamp_surge_current", "A clamp on the source takes a surge",
        (
            Step("Surge, resistance and clamp form a loop.", "v_surge - v_clamp = r_surge*i_clamp",
                 law("Ohm's law", voltage="v_surge - v_clamp", resistance="r_surge", current="i_clamp")),
            Step("Solve for the current.", "i_clamp = (v_surge - v_clamp)/r_surge", solving("i_clamp")),
        ),
        meaning="highest current in a clamp across the converter's input during a surge",
        unit="A",
        valid=(_HIGH,),
        bound=_CLAMPED,
        source="derived here",
        example={"v_surge": 100.0, "v_clamp": 36.0, "r_surge": 2.0},
    )


@cache
def clamp_surge_time() -> Derivation:
    """How long the clamp carries current: tau ln(V_surge/V_clamp)."""
    return Derivation(
        "clamp_surge_time", "How long the clamp works",
        (
            Step("The surge fades.", "v_fading = v_surge*exp(-(t/time_surge))", assumption(FADES)),
            Step("The clamp carries current until the surge has come down to it.", "t_clamp = time_surge*log(v_surge/v_clamp)",
                 reaching("v_clamp")),
        ),
        meaning="time for which a clamp across the converter's input carries the current of a surge",
        unit="s",
        valid=(_HIGH,),
        bound=_CLAMPED,
        source="derived here",
        example={"time_surge": 0.1, "v_surge": 100.0, "v_clamp": 36.0},
    )


@cache
def clamp_surge_energy() -> Derivation:
    """What the clamp must swallow: (V_clamp tau/R) (V_surge - V_clamp - V_clamp ln(V_surge/V_clamp))."""
    return Derivation(
        "clamp_surge_energy", "What the clamp on the source swallows",
        (
            Step("Take the time for which it works.", "t_clamp = time_surge*log(v_surge/v_clamp)", earlier(clamp_surge_time())),
            Step("The charge is the current, added up over this time.",
                 "charge_clamp = integral((v_surge*exp(-(t/time_surge)) - v_clamp)/r_surge, t, 0, t_clamp)", definition()),
            Step("Carry it out.", "charge_clamp = (v_surge*time_surge*(1 - exp(-(t_clamp/time_surge))) - v_clamp*t_clamp)/r_surge",
                 integrating()),
            Step("The clamp takes it at its own voltage.", "energy_clamp = charge_clamp*v_clamp",
                 law("work on a charge", energy="energy_clamp", charge="charge_clamp", voltage="v_clamp")),
            Step("Put both in. A clamp is chosen by this energy, not by its voltage alone.",
                 "energy_clamp = v_clamp*time_surge/r_surge*(v_surge - v_clamp - v_clamp*log(v_surge/v_clamp))", substituting(),
                 uses=(4, 3, 1)),
        ),
        meaning="energy that a clamp across the converter's input must swallow in a surge",
        unit="J",
        valid=(_HIGH,),
        bound=_CLAMPED,
        source="derived here",
        example={"v_clamp": 36.0, "time_surge": 0.1, "r_surge": 2.0, "v_surge": 100.0},
    )


@cache
def surge_through() -> Derivation:
    """What a surge does to the output through the open converter: it swings about V_surge - V_F."""
    return Derivation(
        "surge_through", "A surge passes through",
        (
            Step("With the switch open for good, source and coil lift the output to this.",
                 "v_surplus = v_in + sqrt((v_out - v_in)**2 + i_start**2*inductance/capacitance)", earlier(coil_surplus())),
            Step("During a surge that does not fade meanwhile its height, less the rectifier's forward voltage, takes the place of the "
                 "source voltage.", "v_in = v_surge - v_rectifier", assumption("a surge that stays at its height while the output swings")),
            Step("Put it in. The output swings as far above the surge as it began below it, and farther with a current in the coil.",
                 "v_surplus = v_surge - v_rectifier + sqrt((v_out - v_surge + v_rectifier)**2 + i_start**2*inductance/capacitance)",
                 substituting(), uses=(1, 2)),
        ),
        meaning="highest output voltage that a surge makes through a converter whose switch stays open",
        unit="V",
        bound=Bound("", "errs high: resistance and load take their part, and a real surge fades"),
        source="derived here",
        example={"v_surge": 36.0, "v_rectifier": 0.4, "v_out": 18.0, "i_start": 1.8, "inductance": 56e-6, "capacitance": 100e-6},
    )


@cache
def reversed_current() -> Derivation:
    """A reversed source: ((V_in - V_body)/R) (1 - exp(-t R/L)), through the body diode of the switch and the coil."""
    return Derivation(
        "reversed_current", "The battery the wrong way round",
        (
            Step("The reversed source drives its current through the body diode of the switch and the coil. No gate is asked.",
                 "v_in = v_coil + v_loop + v_body", law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_body")),
            Step("The voltage across the coil sets how fast the current grows.", "v_coil = inductance*slope_reverse",
                 law("inductor law", voltage="v_coil", inductance="inductance", slope="slope_reverse")),
            Step("All resistance on the way takes its part.", "v_loop = r_loop*i_reverse",
                 law("Ohm's law", voltage="v_loop", resistance="r_loop", current="i_reverse")),
            Step("Put both in.", "v_in = inductance*slope_reverse + r_loop*i_reverse + v_body", substituting(), uses=(1, 2, 3)),
            Step("Call the current at which it settles this.", "i_reverse_end = (v_in - v_body)/r_loop", definition()),
            Step("It grows from nothing.", "i_reverse = i_reverse_end*(1 - exp(-(r_loop*t/inductance)))",
                 solving_in_time(i_reverse=("slope_reverse", "0")), uses=(4, 5)),
        ),
        meaning="current a time t after a source has been connected the wrong way round",
        unit="A",
        bound=_LOOP,
        source="derived here",
        example={"i_reverse_end": 130.0, "r_loop": 0.04, "t": 1e-4, "inductance": 47e-6},
    )


@cache
def reversed_end() -> Derivation:
    """Where it settles: (V_in - V_body)/R. The source is shorted."""
    return Derivation(
        "reversed_end", "A reversed source is shorted",
        (
            Step("Source, resistance, body diode and coil form a loop.", "v_in = v_coil + v_loop + v_body",
                 law("Kirchhoff voltage law", rises="v_in", drops="v_coil + v_loop + v_body")),
            Step("Once the current is steady the coil has no voltage.", "v_coil = 0", assumption("the current has become steady")),
            Step("The resistance takes the rest.", "v_loop = r_loop*i_reverse_end",
                 law("Ohm's law", voltage="v_loop", resistance="r_loop", current="i_reverse_end")),
            Step("Put both in.", "v_in = r_loop*i_reverse_end + v_body", substituting(), uses=(1, 2, 3)),
            Step("Solve for the current.", "i_reverse_end = (v_in - v_body)/r_loop", solving("i_reverse_end")),
        ),
        meaning="current at which a reversed source settles",
        unit="A",
        bound=_LOOP,
        source="derived here",
        example={"v_in": 6.0, "v_body": 0.8, "r_loop": 0.04},
    )


@cache
def series_diode_loss() -> Derivation:
    """What a diode against reversal costs: V_ser I."""
    return Derivation(
        "series_diode_loss", "A diode in the source lead",
        (
            Step("It takes its forward voltage from everything that the converter draws.", "p_series = v_series*i_source_mean",
                 law("electric power", power="p_series", voltage="v_series", current="i_source_mean")),
        ),
        meaning="power lost in a diode in the source lead",
        unit="W",
        bound=Bound("", "errs low by the ripple of the source current where the diode's resistance counts"),
        source="derived here",
        example={"v_series": 0.4, "i_source_mean": 2.0},
    )


@cache
def series_switch_loss() -> Derivation:
    """What a switch in its place costs: R I^2."""
    return Derivation(
        "series_switch_loss", "A switch in the source lead",
        (
            Step("The closed switch takes this voltage.", "v_series = r_series*i_source_mean",
                 law("Ohm's law", voltage="v_series", resistance="r_series", current="i_source_mean")),
            Step("It takes this power.", "p_series = v_series*i_source_mean",
                 law("electric power", power="p_series", voltage="v_series", current="i_source_mean")),
            Step("Put the one into the other.", "p_series = r_series*i_source_mean**2", substituting(), uses=(2, 1)),
        ),
        meaning="power lost in a switch in the source lead",
        unit="W",
        bound=Bound("", "errs low by the square of the ripple of the source current, where no input capacitor takes it"),
        source="derived here",
        example={"r_series": 0.01, "i_source_mean": 2.0},
    )
