"""The parts of the water circuit as twins of electrical parts: pressure for voltage, flow for current.

Inertance for inductance, compliance for capacitance, resistance for resistance, and where each likeness ends: at changes
as quick as the wave, at a vessel whose air is squeezed, at friction that grows with the flow.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    definition,
    differentiating,
    earlier,
    integrating,
    law,
    letter,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.column import column_mass_step
from boostkit.derivations.water import pressure_rise

# --- flow and what drives it ---
letter("flow", "Q", "m³/s", "flow through the pipe", (1e-4, 0.1))
letter("flow_gain", r"\Delta Q", "m³/s", "change of the flow", (1e-5, 0.1))
letter("flow_slope", r"\mathrm{d}Q/\mathrm{d}t", "m³/s²", "how fast the flow climbs", (1e-4, 1.0))
letter("pressure_across", r"p_{\mathrm{across}}", "Pa", "pressure that is left along the pipe, one end against the other", (1e2, 1e6))

# --- the twins ---
letter("inertance", r"L_{\mathrm{w}}", "kg/m⁴", "inertance of the pipe: twin of inductance", (1e5, 1e9), open_low=True)
letter("pipe_compliance", r"C_{\mathrm{pipe}}", "m³/Pa", "compliance of the pipe: twin of capacitance", (1e-13, 1e-6), open_low=True)
letter("surge_impedance", r"Z_{\mathrm{w}}", "Pa·s/m³", "surge impedance: rise of pressure for each bit of flow that is stopped",
       (1e6, 1e10))
letter("vessel_compliance", r"C_{\mathrm{vessel}}", "m³/Pa", "compliance of the air vessel: twin of capacitance", (1e-10, 1e-4))
letter("flow_resistance", r"R_{\mathrm{w}}", "Pa·s/m³", "pressure along the pipe over flow: twin of resistance", (1e2, 1e9))
letter("swing_time", r"T_{\mathrm{swing}}", "s", "time of one swing of pressure and flow", (0.02, 100.0), open_low=True,
       ideal=float("inf"))

# --- the air vessel ---
letter("air_volume", r"V_{\mathrm{air}}", "m³", "volume of the air in the vessel", (1e-3, 1.0))
letter("air_before", r"V_{\mathrm{before}}", "m³", "volume of the air before the pressure changed", (1e-3, 1.0))
letter("vessel_pressure", r"p_{\mathrm{air}}", "Pa", "pressure of the air in the vessel, absolute", (1.2e5, 2e6), open_low=True,
       why="the pressure of a gas counts from vacuum")
letter("pressure_before", r"p_{\mathrm{before}}", "Pa", "pressure of the air before it changed, absolute", (1.2e5, 2e6))
letter("gas_power", "n", "", "power in the law of the gas: 1 for slow changes, 1.4 for fast ones of air", (1.0, 1.4), low=1.0)
letter("vessel_swing", r"\Delta p_{\mathrm{air}}", "Pa", "rise of the air's pressure within a stroke", (1e2, 1e5), ideal=0.0)

# --- drag in smooth flow ---
letter("viscosity", r"\mu", "Pa·s", "viscosity of water", (5e-4, 1.8e-3), open_low=True)
letter("pipe_radius", r"r_{\mathrm{pipe}}", "m", "inner radius of the pipe", (0.005, 0.5), defined_as="pipe_diameter/2")
letter("flow_radius", "r", "m", "distance from the middle of the pipe", (0.001, 0.3))
letter("layer_radius", "x", "m", "distance of a layer from the middle of the pipe", (0.001, 0.3))
letter("layer_velocity", r"v_r", "m/s", "velocity at a distance from the middle of the pipe", (0.01, 4.0))
letter("velocity_gradient", r"g_v", "1/s", "change of the velocity from layer to layer, per distance", (0.1, 1e3))
letter("drag_stress", r"\tau_{\mathrm{drag}}", "Pa", "drag of one layer on the next, per area", (1e-4, 10.0))
letter("drag_force", r"F_{\mathrm{drag}}", "N", "drag on a cylinder of water", (1e-3, 1e3))

# A pipe swings like one lumped part as long as this is small.
PHASE = "(pi*return_time/swing_time)"
SLOW_SWING = Condition("swing_time >= 2*return_time", "a swing takes at least two return times")
LUMPED = Bound(f"{PHASE}**2/2", "errs low where pressure and flow swing fast enough for the wave to show; at two return times "
                                "the pipe resonates and the likeness has ended")


@cache
def inertance() -> Derivation:
    """The twin of inductance: density times length over cross-section."""
    return Derivation(
        "inertance", "The pipe as a coil",
        (
            Step("A pressure along the pipe pushes on the cross-section.", "water_force = pressure_across*area",
                 law("pressure on an area", force="water_force", pressure="pressure_across", area="area")),
            column_mass_step(),
            Step("In a short time the force adds velocity.", "water_force*t = column_mass*velocity_gain",
                 law("Newton's second law", force="water_force", time="t", mass="column_mass",
                     velocity_change="velocity_gain")),
            Step("More velocity is more flow.", "flow_gain = area*velocity_gain", definition()),
            Step("So much velocity belongs to it.", "velocity_gain = flow_gain/area", solving("velocity_gain")),
            Step("The flow climbs along this slope.", "flow_slope = flow_gain/t", definition()),
            Step("So much flow it gains.", "flow_gain = flow_slope*t", solving("flow_gain")),
            Step("Put in force, mass and gain.",
                 "pressure_across*area*t = density*(area*length)*(flow_slope*t/area)", substituting(), uses=(3, 1, 2, 5, 7)),
            Step("Time drops out: pressure is a constant times the slope of the flow, as at a coil.",
                 "pressure_across = density*length/area*flow_slope", solving("pressure_across")),
            Step("Call pressure over slope the inertance, as voltage over slope of current is the inductance.",
                 "inertance = pressure_across/flow_slope", definition()),
            Step("Put in the pressure. A long and narrow pipe is a large coil.", "inertance = density*length/area",
                 substituting(), uses=(10, 9)),
        ),
        meaning="inertance of a pipe: the pressure along it over the slope of its flow, twin of inductance",
        unit="kg/m⁴",
        valid=(SLOW_SWING,),
        bound=LUMPED,
        source="derived here; fluid inertance in any textbook of system dynamics (from memory)",
        example={"density": 998.2, "length": 12.0, "area": 0.002},
    )


@cache
def column_law() -> Derivation:
    """The twin of the law of the coil: pressure is inertance times slope of the flow."""
    return Derivation(
        "column_law", "The law of the moving column",
        (
            Step("This is what the inertance is.", "inertance = pressure_across/flow_slope", definition()),
            Step("Solve for the pressure. Set it beside the law of the coil.", "pressure_across = inertance*flow_slope",
                 solving("pressure_across")),
        ),
        meaning="pressure along a pipe that makes its flow climb this fast: twin of the law of the coil",
        unit="Pa",
        valid=(SLOW_SWING,),
        bound=LUMPED,
        source="derived here",
        example={"inertance": 6e6, "flow_slope": 0.005},
    )


@cache
def pipe_compliance() -> Derivation:
    """The twin of capacitance: the water that a closed pipe takes in for a rise of its pressure, A l/(rho a^2)."""
    return Derivation(
        "pipe_compliance", "The pipe as a capacitor",
        (
            Step("A front of higher pressure runs into a pipe that is closed at its far end.",
                 "pressure_rise = density*wave_speed*velocity_drop", earlier(pressure_rise())),
            Step("So much faster the water flows in behind the front.", "velocity_drop = pressure_rise/(density*wave_speed)",
                 solving("velocity_drop")),
            Step("The front needs this time to the far end.", "length = wave_speed*t",
                 law("motion at constant speed", distance="length", speed="wave_speed", time="t")),
            Step("Solve for the time.", "t = length/wave_speed", solving("t")),
            Step("In this time so much water flows in.", "inflow_volume = area*(velocity_drop*t)", definition()),
            Step("Call water over pressure the compliance, as charge over voltage is the capacitance.",
                 "pipe_compliance = inflow_volume/pressure_rise", definition()),
            Step("Put in water, velocity and time.",
                 "pipe_compliance = area*(pressure_rise/(density*wave_speed)*(length/wave_speed))/pressure_rise", substituting(),
                 uses=(6, 5, 2, 4)),
            Step("The pressure drops out.", "pipe_compliance = area*length/(density*wave_speed**2)", simplifying()),
        ),
        meaning="compliance of a pipe: the water it takes in over the rise of its pressure, twin of capacitance",
        unit="m³/Pa",
        valid=(SLOW_SWING,),
        bound=LUMPED,
        source="derived here; fluid capacitance in any textbook of system dynamics (from memory)",
        example={"area": 0.002, "length": 12.0, "density": 998.2, "wave_speed": 1200.0},
    )


@cache
def surge_impedance() -> Derivation:
    """The rise of pressure for each bit of flow that is stopped: rho a/A."""
    return Derivation(
        "surge_impedance", "The rise of pressure for each bit of flow",
        (
            Step("Take the pressure that stops the water.", "pressure_rise = density*wave_speed*velocity_drop",
                 earlier(pressure_rise())),
            Step("The flow falls with the velocity.", "flow_gain = -area*velocity_drop", definition()),
            Step("Call the rise over the flow that is stopped the surge impedance.",
                 "surge_impedance = pressure_rise/(-flow_gain)", definition()),
            Step("Put in rise and flow. The velocity drops out.", "surge_impedance = density*wave_speed/area", substituting(),
                 uses=(3, 1, 2)),
        ),
        meaning="rise of pressure over flow that is stopped, before any echo is back",
        unit="Pa·s/m³",
        valid=(Condition("closing_time <= return_time", "the flow is stopped before the first wave is back"),),
        bound=Bound("", "exact without friction"),
        source="derived here; characteristic impedance in Wylie & Streeter, 1993 (from memory)",
        example={"density": 998.2, "wave_speed": 1200.0, "area": 0.002},
    )


@cache
def surge_by_twins() -> Derivation:
    """The same from the twins: sqrt(L/C), as at a coil that is interrupted into a capacitance."""
    return Derivation(
        "surge_by_twins", "Slammed valve and interrupted coil",
        (
            Step("Take the surge impedance.", "surge_impedance = density*wave_speed/area", earlier(surge_impedance())),
            Step("Take the inertance.", "inertance = density*length/area", earlier(inertance())),
            Step("Solve it for the density.", "density = inertance*area/length", solving("density")),
            Step("Take the compliance.", "pipe_compliance = area*length/(density*wave_speed**2)", earlier(pipe_compliance())),
            Step("Put the density in.", "pipe_compliance = area*length/(inertance*area/length*wave_speed**2)", substituting(),
                 uses=(4, 3)),
            Step("Solve for the wave speed: the wave runs through the pipe in the root of inertance times compliance.",
                 "wave_speed = length/sqrt(inertance*pipe_compliance)", solving("wave_speed")),
            Step("Put in density and wave speed.",
                 "surge_impedance = (inertance*area/length)*(length/sqrt(inertance*pipe_compliance))/area", substituting(),
                 uses=(1, 3, 6)),
            Step("Length and cross-section drop out. A coil interrupted into a stray capacitance has the same form.",
                 "surge_impedance = sqrt(inertance/pipe_compliance)", simplifying()),
        ),
        meaning="rise of pressure over flow that is stopped, from inertance and compliance of the pipe",
        unit="Pa·s/m³",
        bound=Bound("", "exact without friction; a coil with one capacitor swings, the pipe answers with a square wave of this height"),
        source="derived here",
        example={"inertance": 5.99e6, "pipe_compliance": 1.67e-11},
    )


@cache
def vessel_compliance() -> Derivation:
    """The compliance of an air vessel: volume of air over n times absolute pressure. It falls as the pressure grows."""
    return Derivation(
        "vessel_compliance", "The air vessel as a capacitor",
        (
            Step("Water that enters squeezes the air.",
                 "air_volume = air_before*(pressure_before/vessel_pressure)**(1/gas_power)",
                 law("gas in a vessel", volume="air_volume", volume_before="air_before", pressure="vessel_pressure",
                     pressure_before="pressure_before", power="gas_power")),
            Step("The compliance is the room that a small rise of the pressure makes: the slope, with its sign turned.",
                 "vessel_compliance = -derivative(air_before*(pressure_before/vessel_pressure)**(1/gas_power), vessel_pressure)",
                 definition()),
            Step("Carry out the derivative.",
                 "vessel_compliance = air_before*(pressure_before/vessel_pressure)**(1/gas_power)/(gas_power*vessel_pressure)",
                 differentiating()),
            Step("The volume of the air stands in it again. Under more pressure less air is left, and stiffer.",
                 "vessel_compliance = air_volume/(gas_power*vessel_pressure)", substituting(), uses=(3, 1)),
        ),
        meaning="compliance of an air vessel for small changes: twin of a capacitance that falls with its voltage",
        unit="m³/Pa",
        bound=Bound("(1 + vessel_swing/(2*vessel_pressure))**(1 + 1/gas_power) - 1",
                    "errs high for a rise that is not small: the air gets stiffer on the way"),
        source="derived here; air chamber in Wylie & Streeter, 1993 (from memory)",
        example={"air_volume": 0.02, "gas_power": 1.2, "vessel_pressure": 2.5e5},
    )


@cache
def flow_resistance() -> Derivation:
    """The twin of Ohm's resistance, in smooth slow flow only: 128 mu l/(pi d^4) (Hagen and Poiseuille)."""
    return Derivation(
        "flow_resistance", "The pipe as a resistor",
        (
            Step("Think of a cylinder of water in the middle of the pipe. The pressure pushes it.",
                 "water_force = pressure_across*(pi*flow_radius**2)",
                 law("pressure on an area", force="water_force", pressure="pressure_across", area="pi*flow_radius**2")),
            Step("The layer around it drags on its side.", "drag_force = drag_stress*(2*pi*flow_radius*length)",
                 law("pressure on an area", force="drag_force", pressure="drag_stress", area="2*pi*flow_radius*length")),
            Step("In steady flow its momentum stays.", "(water_force - drag_force)*t = 0",
                 law("Newton's second law", force="water_force - drag_force", time="t", mass="column_mass",
                     velocity_change="0")),
            Step("In smooth flow, layer sliding on layer, the drag follows the change of velocity.",
                 "drag_stress = viscosity*velocity_gradient",
                 law("Newton's law of viscosity", stress="drag_stress", viscosity="viscosity", gradient="velocity_gradient")),
            Step("Put in push and drag.",
                 "(pressure_across*pi*flow_radius**2 - viscosity*velocity_gradient*2*pi*flow_radius*length)*t = 0", substituting(),
                 uses=(3, 1, 2, 4)),
            Step("Solve for the change of velocity.",
                 "velocity_gradient = pressure_across*flow_radius/(2*viscosity*length)", solving("velocity_gradient")),
            Step("At the wall the water rests. Add up the changes from the wall inwards.",
                 "layer_velocity = integral(pressure_across*layer_radius/(2*viscosity*length), layer_radius, flow_radius, pipe_radius)",
                 definition()),
            Step("Carry out the integral: the velocity lies on a parabola.",
                 "layer_velocity = pressure_across*(pipe_radius**2 - flow_radius**2)/(4*viscosity*length)", integrating()),
            Step("The flow is velocity times area, ring by ring.",
                 "flow = integral(pressure_across*(pipe_radius**2 - flow_radius**2)/(4*viscosity*length)*2*pi*flow_radius, "
                 "flow_radius, 0, pipe_radius)", definition()),
            Step("Carry out the integral.", "flow = pi*pressure_across*pipe_radius**4/(8*viscosity*length)", integrating()),
            Step("The resistance is pressure over flow.", "flow_resistance = pressure_across/flow", definition()),
            Step("The radius is half of the diameter.", "pipe_radius = pipe_diameter/2", definition()),
            Step("Put in flow and radius. Pressure drops out: a resistance as Ohm knew it.",
                 "flow_resistance = 128*viscosity*length/(pi*pipe_diameter**4)", substituting(), uses=(11, 10, 12)),
        ),
        meaning="resistance of a round pipe in smooth (laminar) flow",
        unit="Pa·s/m³",
        valid=(Condition("density*velocity*pipe_diameter/viscosity <= 2300",
                         "the flow is smooth: its Reynolds number lies below about 2300"),),
        bound=Bound("", "exact for smooth steady flow far from the inlet; most drive pipes flow too fast for it"),
        source="derived here; Hagen and Poiseuille's law, and the border of 2300, in any textbook of hydraulics (from memory)",
        example={"viscosity": 1.0e-3, "length": 12.0, "pipe_diameter": 0.05},
    )


@cache
def friction_loss() -> Derivation:
    """What friction takes in fast, rough flow: it grows with the square of the velocity."""
    return Derivation(
        "friction_loss", "What friction takes",
        (
            Step("In fast flow eddies carry the drag, and it grows with the square of the velocity.",
                 "pressure_friction = friction_factor*length/pipe_diameter*density*velocity**2/2",
                 law("Darcy-Weisbach friction", pressure="pressure_friction", factor="friction_factor", length="length",
                     diameter="pipe_diameter", density="density", velocity="velocity")),
        ),
        meaning="pressure that friction takes over the length of a pipe",
        unit="Pa",
        bound=Bound("", "as good as the friction factor, which itself falls slowly as the flow grows"),
        source="Darcy and Weisbach's law, in any textbook of hydraulics (from memory)",
        example={"friction_factor": 0.02, "length": 12.0, "pipe_diameter": 0.05, "density": 998.2, "velocity": 1.5},
    )


@cache
def friction_resistance() -> Derivation:
    """Where the likeness with Ohm ends: the resistance of rough flow grows with the flow."""
    return Derivation(
        "friction_resistance", "A resistance that grows with the flow",
        (
            Step("Take what friction takes.", "pressure_friction = friction_factor*length/pipe_diameter*density*velocity**2/2",
                 earlier(friction_loss())),
            Step("Write the velocity as flow over cross-section.", "flow = area*velocity", definition()),
            Step("Solve for the velocity.", "velocity = flow/area", solving("velocity")),
            Step("The resistance is pressure over flow.", "flow_resistance = pressure_friction/flow", definition()),
            Step("Put in pressure and velocity.",
                 "flow_resistance = friction_factor*length/pipe_diameter*density*(flow/area)**2/2/flow", substituting(),
                 uses=(4, 1, 3)),
            Step("One flow drops out, one stays: twice the flow meets twice the resistance, and loses four times the pressure.",
                 "flow_resistance = friction_factor*density*length*flow/(2*pipe_diameter*area**2)", simplifying()),
        ),
        meaning="pressure over flow of a pipe in fast flow: no constant, as Ohm's resistance is",
        unit="Pa·s/m³",
        bound=Bound("", "as good as the friction factor"),
        source="derived here from Darcy and Weisbach's law",
        example={"friction_factor": 0.02, "density": 998.2, "length": 12.0, "flow": 0.003, "pipe_diameter": 0.05, "area": 0.002},
    )
