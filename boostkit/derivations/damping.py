"""The ringing of a switch node against the stray inductance of its output loop, and the resistor and capacitor that damp it.

The switch opens and its node rises. Where it passes the output voltage the rectifier begins to conduct, but its loop (rectifier,
output capacitor, the copper between) has an inductance, and the coil current cannot move over at once: the node overshoots.

Safety: the overshoot destroys a switch rated for the output voltage alone, and a snubber resistor gets hot. The node carries the
output voltage and more; measure with a probe rated for it, and keep fingers off while it is live.
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
    earlier,
    extremum,
    law,
    letter,
    simplifying,
    solving,
    solving_in_time,
    substituting,
)
from boostkit.derivations import ringing as _ringing  # noqa: F401  (enters the letters of ringing)

l_stray = letter("l_stray", r"L_{\mathrm{stray}}", "H", "stray inductance of the loop of switch, rectifier and output capacitor",
                 (5e-9, 2e-8), open_low=True)
v_over = letter("v_over", r"v_{\mathrm{over}}", "V", "voltage of the switch node above the output, at an instant", (-10.0, 30.0), low=-inf)
slope_over = letter("slope_over", r"\mathrm{d}v_{\mathrm{over}}/\mathrm{d}t", "V/s", "slope of that voltage", (-1e10, 1e10), low=-inf)
v_overshoot = letter("v_overshoot", r"V_{\mathrm{over}}", "V", "highest voltage of the switch node above the output", (1.0, 50.0))
i_node = letter("i_node", r"i_{\mathrm{node}}", "A", "current into the capacitance of the switch node", (-5.0, 5.0), low=-inf)
i_loop = letter("i_loop", r"i_{\mathrm{loop}}", "A", "current that has moved over to the rectifier's loop", (0.0, 10.0), low=-inf)
slope_loop = letter("slope_loop", r"\mathrm{d}i_{\mathrm{loop}}/\mathrm{d}t", "A/s", "slope of that current", (-1e9, 1e9), low=-inf)
i_damp = letter("i_damp", r"i_{\mathrm{damp}}", "A", "current through the damping resistor", (-3.0, 3.0), low=-inf)
r_damp = letter("r_damp", r"R_{\mathrm{damp}}", "Ω", "resistance that damps the switch node", (10.0, 100.0), open_low=True)
rate_damp = letter("rate_damp", r"\alpha_{\mathrm{damp}}", "1/s", "share by which the damped ringing fades in a second", (1e6, 1e8),
                   open_low=True)
omega_damp = letter("omega_damp", r"\omega_{\mathrm{damp}}", "1/s", "angle per second of the damped ringing", (1e8, 1e9), open_low=True)
angle_over = letter("angle_over", r"\varphi_{\mathrm{over}}", "", "angle that the swing of the switch node has turned through",
                    (0.1, 3.0))
omega_square = letter("omega_square", r"w_{\mathrm{ring}}", "1/s²", "square of the angle per second of the ringing", (1e12, 1e16),
                      open_low=True)
z_stray = letter("z_stray", r"Z_{\mathrm{stray}}", "Ω", "characteristic impedance of the switch node: volts of overshoot for each ampere",
                 (1.0, 20.0))
damping = letter("damping", r"\zeta", "", "damping of the switch node: 0 rings for ever, 1 does not ring", (0.05, 0.95), open_low=True)
c_snubber = letter("c_snubber", r"C_{\mathrm{snub}}", "F", "capacitance of the snubber", (1e-10, 1e-8), open_low=True)
energy_snubber = letter("energy_snubber", r"E_{\mathrm{snub}}", "J", "energy in the snubber's capacitor, charged to the output voltage",
                        (1e-8, 1e-5))
charge_snubber = letter("charge_snubber", r"Q_{\mathrm{snub}}", "C", "charge that the snubber's capacitor takes", (1e-9, 1e-7))
energy_given = letter("energy_given", r"E_{\mathrm{given}}", "J", "energy that the converter gives while it fills", (1e-8, 1e-5))
energy_filling = letter("energy_filling", r"E_{\mathrm{fill}}", "J", "energy that the snubber's resistor takes meanwhile", (1e-8, 1e-5))
p_snubber = letter("p_snubber", r"P_{\mathrm{snub}}", "W", "power that the snubber turns into heat", (0.001, 5.0))
c_added = letter("c_added", r"C_{\mathrm{add}}", "F", "known capacitance put across the switch for a test", (1e-10, 1e-8), open_low=True)
f_loaded = letter("f_loaded", r"f_{\mathrm{add}}", "Hz", "frequency of the ringing with that capacitance", (1e5, 9e7), open_low=True)

HARD = "the switch opens at once, coil current and output voltage stay as they are meanwhile"
_RINGS = Condition("sqrt(l_stray/c_stray)/(2*r_damp) < 1", "so little damping that the node rings")


@cache
def node_ringing() -> Derivation:
    """The node above the output, without damping: I sqrt(L/C) sin(t/sqrt(L C))."""
    return Derivation(
        "node_ringing", "The switch node overshoots",
        (
            Step("The node passes the output voltage. The coil current splits: what the rectifier's loop does not take yet goes "
                 "into the capacitance.", "i_start = i_node + i_loop",
                 law("Kirchhoff current law", enter="i_start", leave="i_node + i_loop")),
            Step("The output voltage stays; so the capacitance's slope is that of the voltage above it.",
                 "i_node = c_stray*slope_over",
                 law("capacitor law", current="i_node", capacitance="c_stray", slope="slope_over")),
            Step("Put it in.", "i_start = c_stray*slope_over + i_loop", substituting(), uses=(1, 2)),
            Step("The voltage above the output lies across the stray inductance and moves the current over.",
                 "v_over = l_stray*slope_loop",
                 law("inductor law", voltage="v_over", inductance="l_stray", slope="slope_loop")),
            Step("At first the loop carries nothing. The voltage swings above the output.",
                 "v_over = i_start*sqrt(l_stray/c_stray)*sin(t/sqrt(l_stray*c_stray))",
                 solving_in_time(v_over=("slope_over", "0"), i_loop=("slope_loop", "0")), uses=(3, 4)),
        ),
        meaning="voltage of the switch node above the output a time t after it has passed it, without damping",
        unit="V",
        source="derived here",
        example={"i_start": 2.0, "l_stray": 10e-9, "c_stray": 200e-12, "t": 1e-9},
    )


@cache
def node_overshoot() -> Derivation:
    """The highest voltage above the output, without damping: I sqrt(L/C)."""
    return Derivation(
        "node_overshoot", "The height of the overshoot",
        (
            Step("Take the voltage above the output.", "v_over = i_start*sqrt(l_stray/c_stray)*sin(t/sqrt(l_stray*c_stray))",
                 earlier(node_ringing())),
            Step("Call the angle that the swing has turned through this.", "angle_over = t/sqrt(l_stray*c_stray)", definition()),
            Step("So the time is this.", "t = angle_over*sqrt(l_stray*c_stray)", solving("t")),
            Step("Read the voltage in the angle.", "v_over = i_start*sqrt(l_stray/c_stray)*sin(angle_over)", substituting(), uses=(1, 3)),
            Step("It is highest after a quarter of a turn.", "angle_over = pi/2", extremum("angle_over", "maximum")),
            Step("Call the voltage there the overshoot.", "v_overshoot = i_start*sqrt(l_stray/c_stray)*sin(pi/2)", definition()),
            Step("The sine is one. All the current has gone into the capacitance on the way.",
                 "v_overshoot = i_start*sqrt(l_stray/c_stray)", simplifying()),
        ),
        meaning="highest voltage of the switch node above the output, without damping",
        unit="V",
        bound=Bound("", "errs high: a switch that opens slowly, a capacitance that is larger at low voltage and every resistance lower it"),
        source="derived here",
        example={"i_start": 2.0, "l_stray": 10e-9, "c_stray": 200e-12},
    )


@cache
def node_damped() -> Derivation:
    """The same with a resistor that always holds the output voltage behind it: it fades with exp(-t/(2 R C))."""
    return Derivation(
        "node_damped", "A resistor damps the switch node",
        (
            Step("A resistor leads from the node to a place that holds the output voltage: a snubber whose capacitor is so large that "
                 "it stays charged. It takes its share of the current.", "i_start = i_node + i_loop + i_damp",
                 law("Kirchhoff current law", enter="i_start", leave="i_node + i_loop + i_damp")),
            Step("The capacitance of the node takes what makes it rise.", "i_node = c_stray*slope_over",
                 law("capacitor law", current="i_node", capacitance="c_stray", slope="slope_over")),
            Step("The snubber's capacitor stays at the output voltage, so the resistor sees the voltage above it.",
                 "v_over = r_damp*i_damp", law("Ohm's law", voltage="v_over", resistance="r_damp", current="i_damp")),
            Step("Its current is this.", "i_damp = v_over/r_damp", solving("i_damp")),
            Step("Put both in.", "i_start = c_stray*slope_over + i_loop + v_over/r_damp", substituting(), uses=(1, 2, 4)),
            Step("The stray inductance moves the current over.", "v_over = l_stray*slope_loop",
                 law("inductor law", voltage="v_over", inductance="l_stray", slope="slope_loop")),
            Step("Call the rate of fading this.", "rate_damp = 1/(2*r_damp*c_stray)", definition()),
            Step("And the angle per second this.", "omega_damp = sqrt(1/(l_stray*c_stray) - rate_damp**2)", definition()),
            Step("The swing fades.", "v_over = i_start/(omega_damp*c_stray)*exp(-(rate_damp*t))*sin(omega_damp*t)",
                 solving_in_time(v_over=("slope_over", "0"), i_loop=("slope_loop", "0")), uses=(5, 6, 8, 7)),
        ),
        meaning="voltage of the damped switch node above the output a time t after it has passed it",
        unit="V",
        source="derived here",
        example={"i_start": 2.0, "c_stray": 200e-12, "omega_damp": 6.1e8, "rate_damp": 3.5e8, "t": 1e-9},
    )


@cache
def damped_overshoot() -> Derivation:
    """The highest voltage above the output with such a resistor."""
    return Derivation(
        "damped_overshoot", "The height of the damped overshoot",
        (
            Step("Call the rate of fading this.", "rate_damp = 1/(2*r_damp*c_stray)", definition()),
            Step("And the angle per second this.", "omega_damp = sqrt(1/(l_stray*c_stray) - rate_damp**2)", definition()),
            Step("Take the damped swing.", "v_over = i_start/(omega_damp*c_stray)*exp(-(rate_damp*t))*sin(omega_damp*t)",
                 earlier(node_damped())),
            Step("Call the angle that the swing has turned through this.", "angle_over = omega_damp*t", definition()),
            Step("So the time is this.", "t = angle_over/omega_damp", solving("t")),
            Step("Read the voltage in the angle.",
                 "v_over = i_start/(omega_damp*c_stray)*exp(-(rate_damp/omega_damp*angle_over))*sin(angle_over)", substituting(),
                 uses=(3, 5)),
            Step("It is highest where the sine gains as fast as the exponential loses.", "angle_over = atan(omega_damp/rate_damp)",
                 extremum("angle_over", "maximum")),
            Step("Call the voltage there the overshoot.",
                 "v_overshoot = i_start/(omega_damp*c_stray)*exp(-(rate_damp/omega_damp*angle_over))*sin(angle_over)", definition()),
            Step("Put all in. The sine takes the place of the root.",
                 "v_overshoot = i_start*sqrt(l_stray/c_stray)*exp(-(atan(sqrt(4*r_damp**2*c_stray/l_stray - 1))"
                 "/sqrt(4*r_damp**2*c_stray/l_stray - 1)))", substituting(), uses=(8, 7, 2, 1)),
        ),
        meaning="highest voltage of the switch node above the output, with a resistor that holds the output voltage behind it",
        unit="V",
        valid=(_RINGS,),
        bound=Bound("", "either side for a snubber that empties in each period: while its capacitor lags behind the node it "
                        "takes more of the current, and a small one rises with the node and takes less"),
        source="derived here",
        example={"i_start": 2.0, "l_stray": 10e-9, "c_stray": 200e-12, "r_damp": 7.07},
    )


@cache
def node_impedance() -> Derivation:
    """How many volts each ampere makes: Z = sqrt(L/C) of stray inductance and node capacitance."""
    return Derivation(
        "node_impedance", "The characteristic impedance of the switch node",
        (
            Step("Take the height of the overshoot.", "v_overshoot = i_start*sqrt(l_stray/c_stray)", earlier(node_overshoot())),
            Step("Call the volts for each ampere the characteristic impedance.", "z_stray = v_overshoot/i_start", definition()),
            Step("It depends on the strays alone.", "z_stray = sqrt(l_stray/c_stray)", substituting(), uses=(2, 1)),
        ),
        meaning="characteristic impedance of the switch node",
        unit="Ω",
        bound=Bound("0*l_stray", "exact, being a property of the two strays"),
        source="derived here",
        example={"l_stray": 10e-9, "c_stray": 200e-12},
    )


@cache
def damping_resistance() -> Derivation:
    """The resistor for a wanted damping: Z/(2 zeta); the impedance itself gives one half."""
    return Derivation(
        "damping_resistance", "The resistor that damps",
        (
            Step("Call the rate of fading this.", "rate_damp = 1/(2*r_damp*c_stray)", definition()),
            Step("Measure it by the angle per second of the undamped node. Where the damping is one, the swing is gone.",
                 "damping = rate_damp*sqrt(l_stray*c_stray)", definition()),
            Step("Put it in.", "damping = sqrt(l_stray*c_stray)/(2*r_damp*c_stray)", substituting(), uses=(2, 1)),
            Step("Solve for the resistance.", "r_damp = sqrt(l_stray*c_stray)/(2*damping*c_stray)", solving("r_damp")),
            Step("Take the characteristic impedance.", "z_stray = sqrt(l_stray/c_stray)", earlier(node_impedance())),
            Step("A resistor of the characteristic impedance gives a damping of one half.", "r_damp = z_stray/(2*damping)",
                 substituting(), uses=(4, 5)),
        ),
        meaning="resistance across the switch node for a wanted damping",
        unit="Ω",
        bound=Bound("", "exact with a capacitor behind it much larger than that of the node; the smaller it is, the less it damps"),
        source="derived here; standard form of a parallel resonant circuit, from memory",
        example={"z_stray": 7.07, "damping": 0.5},
    )


@cache
def snubber_loss() -> Derivation:
    """What the snubber burns: C V^2 f_s, whatever its resistor."""
    return Derivation(
        "snubber_loss", "The loss of a snubber",
        (
            Step("Each time the switch opens, the snubber's capacitor takes this charge.", "charge_snubber = c_snubber*v_out",
                 definition()),
            Step("The node is at the output voltage by then, if it rises at once. So this energy is given.",
                 "energy_given = charge_snubber*v_out", law("work on a charge", energy="energy_given", charge="charge_snubber",
                                                            voltage="v_out")),
            Step("Only half of it gets into the capacitor.", "energy_snubber = c_snubber*v_out**2/2",
                 law("energy stored in an electric field", energy="energy_snubber", capacitance="c_snubber", voltage="v_out")),
            Step("The resistor takes the rest.", "energy_given = energy_snubber + energy_filling",
                 law("energy conservation", comes="energy_given", goes="energy_snubber + energy_filling")),
            Step("So it takes this in filling.", "energy_filling = energy_given - energy_snubber", solving("energy_filling")),
            Step("Where the switch closes, what is in the capacitor goes into resistor and switch too. Power is energy per cycle "
                 "times cycles per second.", "p_snubber = (energy_filling + energy_snubber)*f_sw", definition()),
            Step("Put all in. The resistance has dropped out: it only sets how fast.", "p_snubber = c_snubber*v_out**2*f_sw",
                 substituting(), uses=(6, 5, 2, 1)),
        ),
        meaning="power that a snubber of resistor and capacitor across the switch turns into heat",
        unit="W",
        bound=Bound("", "errs high where the node rises slowly against R C; the ringing adds a little"),
        source="derived here; common form in the trade, from memory",
        example={"c_snubber": 680e-12, "v_out": 18.0, "f_sw": 150e3},
    )


@cache
def stray_inductance() -> Derivation:
    """The stray inductance from the frequency of the ringing: 1/((2 pi f)^2 C)."""
    return Derivation(
        "stray_inductance", "The inductance that a ringing shows",
        (
            Step("Take the swing of the node.", "v_over = i_start*sqrt(l_stray/c_stray)*sin(t/sqrt(l_stray*c_stray))",
                 earlier(node_ringing())),
            Step("In it the angle grows by this much each second.", "omega_ring = 1/sqrt(l_stray*c_stray)", definition()),
            Step("Square it.", "omega_square = omega_ring**2", definition()),
            Step("Put it in.", "omega_square = 1/(l_stray*c_stray)", substituting(), uses=(3, 2)),
            Step("Solve for the inductance.", "l_stray = 1/(omega_square*c_stray)", solving("l_stray")),
            Step("A period is the time of a full turn.", "t_ring = 2*pi/omega_ring", definition()),
            Step("The frequency is the number of periods in a second.", "f_ring = 1/t_ring", definition()),
            Step("Put in the period.", "f_ring = omega_ring/(2*pi)", substituting(), uses=(7, 6)),
            Step("Solve for the angle per second.", "omega_ring = 2*pi*f_ring", solving("omega_ring")),
            Step("Put it in.", "l_stray = 1/((2*pi*f_ring)**2*c_stray)", substituting(), uses=(5, 3, 9)),
        ),
        meaning="stray inductance of the switch node's loop, from the frequency of its ringing and its capacitance",
        unit="H",
        bound=Bound("", "as good as the capacitance and twice the frequency's error"),
        source="derived here",
        example={"f_ring": 112.5e6, "c_stray": 200e-12},
    )


@cache
def stray_capacitance() -> Derivation:
    """The capacitance of the node from two frequencies: C_add/((f/f_add)^2 - 1). Halve the frequency: a third of what was added."""
    return Derivation(
        "stray_capacitance", "The capacitance that two ringings show",
        (
            Step("The inductance follows from the frequency at which the node rings.", "l_stray = 1/((2*pi*f_ring)**2*c_stray)",
                 earlier(stray_inductance())),
            Step("A known capacitance across the switch makes the ringing slower; the inductance stays.",
                 "l_stray = 1/((2*pi*f_loaded)**2*(c_stray + c_added))",
                 assumption("the added capacitance brings no inductance of its own")),
            Step("Set them equal.", "1/((2*pi*f_ring)**2*c_stray) = 1/((2*pi*f_loaded)**2*(c_stray + c_added))", substituting(),
                 uses=(2, 1)),
            Step("Solve for the capacitance. Half the frequency means that a third of the added capacitance was there before.",
                 "c_stray = c_added/((f_ring/f_loaded)**2 - 1)", solving("c_stray")),
        ),
        meaning="capacitance of the switch node, from the ringing without and with a known capacitance across the switch",
        unit="F",
        valid=(Condition("f_ring > f_loaded", "the added capacitance lowers the frequency"),),
        bound=Bound("", "depends on the squares of both frequencies: 1 % in each is about 3 % where the frequency is halved"),
        source="derived here; a bench method of the trade, common practice, no source",
        example={"f_ring": 112.5e6, "f_loaded": 56.3e6, "c_added": 600e-12},
    )
