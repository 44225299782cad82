"""The lowest source voltage: a converter that keeps its output draws more current the lower its source, until the source gives up
or the gate is no longer driven. What an under-voltage lockout must be set to.

Safety: a nearly empty battery that is drawn on harder and harder gets hot and leaks; the lockout also protects the battery.
"""

from functools import cache

from boostkit.algebra import Bound, Condition, Derivation, Step, assumption, earlier, extremum, law, letter, solving, substituting
from boostkit.derivations import real_parts as _real_parts  # noqa: F401  (the letter of the input power)
from boostkit.derivations import source_faults as _source  # noqa: F401  (the letter of the source current)

v_terminal = letter("v_terminal", r"V_{\mathrm{term}}", "V", "voltage at the terminals of the source under load", (2.0, 12.0))
v_least = letter("v_least", r"V_{\mathrm{in,least}}", "V", "lowest source voltage at which something still works", (1.0, 6.0))
p_most = letter("p_most", r"P_{\mathrm{in,most}}", "W", "most power that a source can give", (1.0, 500.0))
hysteresis = letter("hysteresis", r"\Delta V_{\mathrm{lock}}", "V", "from the voltage at which a lockout stops the converter to that "
                    "at which it lets it start again", (0.01, 2.0))
r_supply = letter("r_supply", r"R_{\mathrm{sup}}", "Ω", "resistance from the source to the supply of controller and gate driver",
                  (1.0, 20.0))
i_controller = letter("i_controller", r"I_{\mathrm{ctl}}", "A", "current that the controller itself takes", (1e-4, 1e-2))
i_supply = letter("i_supply", r"I_{\mathrm{sup}}", "A", "current that controller and gate driver take", (1e-3, 0.1))
v_supply = letter("v_supply", r"V_{\mathrm{sup}}", "V", "voltage that is lost on the way to them", (0.01, 1.0))

CONSTANT = "the converter takes the same power whatever its source voltage: it keeps its output"
_SOURCE = Bound("0*r_source", "exact for one internal resistance; a cold or old battery has much more of it")


@cache
def power_at_source() -> Derivation:
    """What a source with resistance gives at a current: (V_in - R I) I."""
    return Derivation(
        "power_at_source", "What the source can give",
        (
            Step("The source's own resistance takes a part.", "v_in - v_terminal = r_source*i_source_mean",
                 law("Ohm's law", voltage="v_in - v_terminal", resistance="r_source", current="i_source_mean")),
            Step("Its terminals are left with this.", "v_terminal = v_in - r_source*i_source_mean", solving("v_terminal")),
            Step("The converter takes this power.", "p_in = v_terminal*i_source_mean",
                 law("electric power", power="p_in", voltage="v_terminal", current="i_source_mean")),
            Step("Put the one into the other.", "p_in = (v_in - r_source*i_source_mean)*i_source_mean",
                 substituting(), uses=(3, 2)),
        ),
        meaning="power that a source with internal resistance gives at a current",
        unit="W",
        bound=_SOURCE,
        source="derived here",
        example={"v_in": 6.0, "r_source": 0.1, "i_source_mean": 2.0},
    )


@cache
def source_draw() -> Derivation:
    """What a converter that keeps its output draws: (V_in - sqrt(V_in^2 - 4 R P))/(2 R), the less voltage the more."""
    return Derivation(
        "source_draw", "Less voltage, more current",
        (
            Step("Take what the source gives.", "p_in = (v_in - r_source*i_source_mean)*i_source_mean", earlier(power_at_source())),
            Step("The converter keeps its output, so the power stays as it is. Solve for the current, on the side where more current "
                 "still gives more power.", "i_source_mean = (v_in - sqrt(v_in**2 - 4*r_source*p_in))/(2*r_source)",
                 solving("i_source_mean", "i_source_mean < v_in/(2*r_source)")),
        ),
        meaning="current that a converter which keeps its output draws from a source with internal resistance",
        unit="A",
        valid=(Condition("v_in**2 >= 4*r_source*p_in", "the source can give this power at all"),),
        bound=Bound("0*r_source", "exact for a constant input power; the losses of the converter grow as the source falls: it draws more"),
        source="derived here",
        example={"v_in": 5.5, "r_source": 0.1, "p_in": 11.5},
    )


@cache
def most_power() -> Derivation:
    """The most that a source can give: V_in^2/(4 R), at half its voltage."""
    return Derivation(
        "most_power", "The most that a source can give",
        (
            Step("Take what the source gives.", "p_in = (v_in - r_source*i_source_mean)*i_source_mean", earlier(power_at_source())),
            Step("It is largest at this current; half the voltage is lost inside then.", "i_source_mean = v_in/(2*r_source)",
                 extremum("i_source_mean", "maximum")),
            Step("Call the power there the most.", "p_most = (v_in - r_source*i_source_mean)*i_source_mean",
                 assumption("the source is drawn on to its limit")),
            Step("Put the current in.", "p_most = v_in**2/(4*r_source)", substituting(), uses=(3, 2)),
        ),
        meaning="most power that a source with internal resistance gives",
        unit="W",
        bound=_SOURCE,
        source="derived here; the matched load of any textbook, from memory",
        example={"v_in": 6.0, "r_source": 0.1},
    )


@cache
def least_source() -> Derivation:
    """The lowest voltage behind the resistance at which a power can be drawn: 2 sqrt(R P). Below it the converter locks up."""
    return Derivation(
        "least_source", "Where the source gives up",
        (
            Step("Take the most that the source can give.", "p_most = v_in**2/(4*r_source)", earlier(most_power())),
            Step("At its lowest voltage that is just the power which the converter takes.", "p_in = v_least**2/(4*r_source)",
                 assumption(CONSTANT)),
            Step("Solve for the voltage. Below it more current gives less power: the controller drives on and the output is lost.",
                 "v_least = 2*sqrt(r_source*p_in)", solving("v_least")),
        ),
        meaning="lowest open-circuit voltage of a source at which it can give a power",
        unit="V",
        bound=_SOURCE,
        source="derived here",
        example={"r_source": 0.1, "p_in": 11.5},
    )


@cache
def lockout_hysteresis() -> Derivation:
    """How far the lockout's two levels must lie apart at least: R I, by which the source recovers when it is let go."""
    return Derivation(
        "lockout_hysteresis", "A source that is let go recovers",
        (
            Step("Under load the source's own resistance takes this.", "v_in - v_terminal = r_source*i_source_mean",
                 law("Ohm's law", voltage="v_in - v_terminal", resistance="r_source", current="i_source_mean")),
            Step("So they stand at this.", "v_terminal = v_in - r_source*i_source_mean", solving("v_terminal")),
            Step("When the lockout stops the converter the terminals rise by as much. With less between its two levels it starts and "
                 "stops for ever.", "hysteresis = v_in - v_terminal", assumption("the levels are measured at the terminals")),
            Step("So this is the least.", "hysteresis = r_source*i_source_mean", substituting(), uses=(3, 2)),
        ),
        meaning="least distance between the two levels of an under-voltage lockout at the terminals of the source",
        unit="V",
        bound=Bound("", "errs low: a battery goes on recovering for minutes"),
        source="derived here",
        example={"r_source": 0.1, "i_source_mean": 2.2},
    )


@cache
def least_source_for_drive() -> Derivation:
    """The lowest source voltage at which the gate is still driven: V_drive + R (Q_g f_s + I_ctl)."""
    return Derivation(
        "least_source_for_drive", "The gate at the lowest source voltage",
        (
            Step("The gate takes its charge once a period; in the mean that is a current. The controller takes its own.",
                 "i_supply = q_gate*f_sw + i_controller", assumption("gate and controller are fed from the source, on start at least")),
            Step("It flows through what lies between source and supply.", "v_supply = r_supply*i_supply",
                 law("Ohm's law", voltage="v_supply", resistance="r_supply", current="i_supply")),
            Step("The driver is left with the rest.", "v_least = v_supply + v_drive",
                 law("Kirchhoff voltage law", rises="v_least", drops="v_supply + v_drive")),
            Step("Put both in. Below this the switch is only half closed: its resistance rises, and it burns while all else seems well.",
                 "v_least = v_drive + r_supply*(q_gate*f_sw + i_controller)", substituting(), uses=(3, 2, 1)),
        ),
        meaning="lowest source voltage at which the gate still gets the drive voltage that it needs",
        unit="V",
        bound=Bound("", "exact in the mean; the driver's own capacitor must carry the charge of one edge"),
        source="derived here",
        example={"v_drive": 4.5, "r_supply": 10.0, "q_gate": 10e-9, "f_sw": 150e3, "i_controller": 2e-3},
    )
