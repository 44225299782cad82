"""The parts of a compensator: the divider that sets the output, and the network that makes an integrator, a zero and a pole.

The network is a resistor and a capacitor in a row (`r_zero`, `c_zero`), and a second capacitor (`c_pole`) beside them. Nothing is
neglected: `c_pole` need not be small against `c_zero`. The amplifiers that work into it are in `amplifiers`.
"""

from functools import cache
from math import inf

from boostkit.algebra import (
    Bound,
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
from boostkit.derivations import compensation as _compensation  # noqa: F401  (enters the letters of the corners)

v_ref = letter("v_ref", r"V_{\mathrm{ref}}", "V", "reference voltage", (0.5, 5.0), open_low=True)
v_set = letter("v_set", r"V_{\mathrm{set}}", "V", "output voltage at which the regulator comes to rest", (5.0, 60.0))
r_top = letter("r_top", r"R_{\mathrm{top}}", "Ω", "divider: resistor from the output to the amplifier's input", (1e3, 1e6), open_low=True)
r_bottom = letter("r_bottom", r"R_{\mathrm{bot}}", "Ω", "divider: resistor from the amplifier's input to ground", (1e3, 1e5), open_low=True)
i_divider = letter("i_divider", r"I_{\mathrm{div}}", "A", "current through the divider", (1e-6, 1e-3))
v_top = letter("v_top", r"V_{\mathrm{top}}", "V", "voltage across the divider's top resistor", (5.0, 60.0))
tolerance_parts = letter("tolerance_parts", r"\delta_R", "", "tolerance of the divider's resistors, as a share", (0.001, 0.05),
                         high=1.0, open_high=True, why="a resistor keeps some resistance")
tolerance_ref = letter("tolerance_ref", r"\delta_{\mathrm{ref}}", "", "tolerance of the reference, as a share", (0.001, 0.03))
v_set_high = letter("v_set_high", r"V_{\mathrm{set,max}}", "V", "the same, reference and top resistor high, bottom resistor low",
                    (5.0, 60.0))
spread = letter("spread", r"\delta_{\mathrm{set}}", "", "how far above its value the output may be set, as a share", (0.001, 0.1))
r_zero = letter("r_zero", r"R_{z}", "Ω", "network: resistor in a row with a capacitor", (1e3, 1e6), open_low=True)
c_zero = letter("c_zero", r"C_{z}", "F", "network: capacitor in a row with the resistor", (1e-10, 1e-6), open_low=True)
c_pole = letter("c_pole", r"C_{p}", "F", "network: capacitor beside both", (1e-11, 1e-8), open_low=True)
v_net = letter("v_net", "v_n", "V", "voltage across the network, e^(st)", (0.01, 2.0), low=-inf)
v_zero = letter("v_zero", r"v_{Cz}", "V", "voltage across the capacitor in the row, e^(st)", (0.01, 2.0), low=-inf)
v_row = letter("v_row", r"v_{Rz}", "V", "voltage across the resistor in the row, e^(st)", (0.01, 2.0), low=-inf)
slope_zero = letter("slope_zero", r"s_{Cz}", "V/s", "slope of the voltage across the capacitor in the row", (1.0, 1e5), low=-inf)
slope_net = letter("slope_net", r"s_n", "V/s", "slope of the voltage across the network", (1.0, 1e5), low=-inf)
i_row = letter("i_row", "i_z", "A", "current through the row, e^(st)", (1e-6, 1e-4), low=-inf)
i_beside = letter("i_beside", "i_p", "A", "current through the capacitor beside it, e^(st)", (1e-6, 1e-4), low=-inf)
i_net = letter("i_net", "i_n", "A", "current into the network, e^(st)", (1e-6, 1e-4), low=-inf)
z_net = letter("z_net", "Z_n", "Ω", "impedance of the network, for a swing e^(st)", (1e3, 1e6), low=-inf)

SWINGS = "voltages and currents go with the same e^(st), so a slope is s times its voltage"
_PARTS = Bound("", "exact for the parts; the amplifier's own gain and bandwidth, and what its output can drive, come on top")
_BOOK = "derived here; a network that the trade knows well, common practice, no source"
_Z = "(1 + s*r_zero*c_zero)/(s*(c_zero + c_pole)*(1 + s*r_zero*c_zero*c_pole/(c_zero + c_pole)))"
_VALUES = {"r_zero": 47e3, "c_zero": 4.7e-9, "c_pole": 100e-12}


@cache
def divider() -> Derivation:
    """What a divider sets: V_ref (1 + R_top/R_bottom)."""
    return Derivation(
        "divider", "The divider sets the output",
        (
            Step("At rest the lower resistor carries the reference voltage.", "v_ref = r_bottom*i_divider",
                 law("Ohm's law", voltage="v_ref", resistance="r_bottom", current="i_divider")),
            Step("So the divider carries this.", "i_divider = v_ref/r_bottom", solving("i_divider")),
            Step("The upper resistor carries the same current, if the amplifier's input takes none.", "v_top = r_top*i_divider",
                 law("Ohm's law", voltage="v_top", resistance="r_top", current="i_divider")),
            Step("Both lie in a row across the output.", "v_set = v_top + v_ref",
                 law("Kirchhoff voltage law", rises="v_set", drops="v_top + v_ref")),
            Step("Put all in.", "v_set = v_ref*(1 + r_top/r_bottom)", substituting(), uses=(4, 3, 2)),
        ),
        meaning="output voltage at which the regulator comes to rest",
        unit="V",
        bound=Bound("", "with an integrator in the regulator; the input's own current shifts it by R_top times that current"),
        source="derived here",
        example={"v_ref": 1.2, "r_top": 140e3, "r_bottom": 10e3},
    )


@cache
def divider_top() -> Derivation:
    """Turned round: the top resistor for a wanted output."""
    return Derivation(
        "divider_top", "The top resistor",
        (
            Step("Take what a divider sets.", "v_set = v_ref*(1 + r_top/r_bottom)", earlier(divider())),
            Step("Solve for the top resistor.", "r_top = r_bottom*(v_set/v_ref - 1)", solving("r_top")),
        ),
        meaning="top resistor of the divider for a wanted output",
        unit="Ω",
        bound=divider().bound,
        source="derived here",
        example={"v_ref": 1.2, "r_bottom": 10e3, "v_set": 18.0},
    )


@cache
def divider_spread() -> Derivation:
    """How far off the output may be set, at worst: reference high, top resistor high, bottom resistor low."""
    return Derivation(
        "divider_spread", "How far off the divider may set it",
        (
            Step("Take what a divider sets.", "v_set = v_ref*(1 + r_top/r_bottom)", earlier(divider())),
            Step("It is highest with reference and top resistor high and bottom resistor low.",
                 "v_set_high = v_ref*(1 + tolerance_ref)*(1 + r_top*(1 + tolerance_parts)/(r_bottom*(1 - tolerance_parts)))",
                 assumption("each part strays as far as its tolerance allows, each the worst way")),
            Step("Count it as a share.", "spread = v_set_high/v_set - 1", definition()),
            Step("The top resistor belongs to the set voltage.", "r_top = r_bottom*(v_set/v_ref - 1)", earlier(divider_top())),
            Step("Put all in. Of the resistors' tolerance the part above the reference counts twice.",
                 "spread = (1 + tolerance_ref)*(v_ref/v_set + (1 - v_ref/v_set)*(1 + tolerance_parts)/(1 - tolerance_parts)) - 1",
                 substituting(), uses=(3, 2, 4)),
        ),
        meaning="how far above its value the output may be set, at worst, as a share; below it is a little less",
        unit="",
        bound=Bound("", "exact at the worst; chance seldom brings all parts there at once"),
        source="derived here",
        example={"tolerance_ref": 0.01, "tolerance_parts": 0.01, "v_ref": 1.2, "v_set": 18.0},
    )


@cache
def network_impedance() -> Derivation:
    """The impedance of the network, in its parts."""
    return Derivation(
        "network_impedance", "The network that makes integrator, zero and pole",
        (
            Step("A swing that goes with e^(st) makes the capacitor in the row charge along this slope.", "slope_zero = s*v_zero",
                 assumption(SWINGS)),
            Step("Its current flows through the whole row.", "i_row = c_zero*slope_zero",
                 law("capacitor law", current="i_row", capacitance="c_zero", slope="slope_zero")),
            Step("Put in the slope.", "i_row = c_zero*(s*v_zero)", substituting(), uses=(2, 1)),
            Step("So the capacitor takes this voltage.", "v_zero = i_row/(s*c_zero)", solving("v_zero")),
            Step("And the resistor this.", "v_row = r_zero*i_row",
                 law("Ohm's law", voltage="v_row", resistance="r_zero", current="i_row")),
            Step("Both lie in a row.", "v_net = v_zero + v_row", law("Kirchhoff voltage law", rises="v_net", drops="v_zero + v_row")),
            Step("Put both in.", "v_net = i_row/(s*c_zero) + r_zero*i_row", substituting(), uses=(6, 4, 5)),
            Step("So the row takes this current.", "i_row = v_net*s*c_zero/(1 + s*r_zero*c_zero)", solving("i_row")),
            Step("The capacitor beside it has the whole voltage.", "slope_net = s*v_net", assumption(SWINGS)),
            Step("It takes this current.", "i_beside = c_pole*slope_net",
                 law("capacitor law", current="i_beside", capacitance="c_pole", slope="slope_net")),
            Step("The two currents together enter the network.", "i_net = i_row + i_beside",
                 law("Kirchhoff current law", enter="i_net", leave="i_row + i_beside")),
            Step("Voltage over current is the impedance.", "z_net = v_net/i_net", definition()),
            Step("Put all in.", "z_net = 1/(s*c_zero/(1 + s*r_zero*c_zero) + s*c_pole)", substituting(), uses=(12, 11, 8, 10, 9)),
            Step("As an integrator, a zero and a pole it reads like this.", f"z_net = {_Z}", simplifying()),
        ),
        meaning="impedance of the network, for a swing e^(st)",
        unit="Ω",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, **_VALUES},
    )


@cache
def network_zero() -> Derivation:
    """The network's zero: 1/(2 pi R_z C_z)."""
    return _corner(
        "network_zero", "The zero of the network", "f_first_zero",
        "Above the bar s stands beside R C: the corner is where s R C has size one.", "1/(2*pi*r_zero*c_zero)",
        {name: _VALUES[name] for name in ("r_zero", "c_zero")})


@cache
def network_pole() -> Derivation:
    """The network's pole: the resistor with both capacitors in a row."""
    return _corner(
        "network_pole", "The pole of the network", "f_first_pole",
        "Below the bar s stands beside R and the two capacitors in a row: the corner is where that has size one.",
        "(c_zero + c_pole)/(2*pi*r_zero*c_zero*c_pole)", _VALUES)


def _corner(name: str, title: str, corner: str, says: str, value: str, example: dict[str, float]) -> Derivation:
    return Derivation(
        name, title,
        (
            Step("Take the impedance of the network.", f"z_net = {_Z}", earlier(network_impedance())),
            Step(says, f"{corner} = {value}", definition()),
        ),
        meaning=f"{title[0].lower()}{title[1:]}, as a frequency",
        unit="Hz", bound=_PARTS, source=_BOOK, example=example,
    )  # fmt: skip


@cache
def network_in_corners() -> Derivation:
    """The network read in its corners: an integrator, a zero, a pole."""
    return Derivation(
        "network_in_corners", "The network in its corners",
        (
            Step("Take the impedance of the network.", f"z_net = {_Z}", earlier(network_impedance())),
            Step("Take its zero.", "f_first_zero = 1/(2*pi*r_zero*c_zero)", earlier(network_zero())),
            Step("And its pole.", "f_first_pole = (c_zero + c_pole)/(2*pi*r_zero*c_zero*c_pole)", earlier(network_pole())),
            Step("In these it reads like this.",
                 "z_net = (1 + s/(2*pi*f_first_zero))/(s*(c_zero + c_pole)*(1 + s/(2*pi*f_first_pole)))", substituting(), uses=(1, 2, 3)),
        ),
        meaning="impedance of the network in its corners, for a swing e^(st)",
        unit="Ω",
        bound=_PARTS,
        source=_BOOK,
        example={"s": 1e4, "f_first_zero": 720.0, "f_first_pole": 34.6e3, "c_zero": 4.7e-9, "c_pole": 100e-12},
    )
