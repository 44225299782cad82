"""The hydraulic ram: the water twin of the boost converter, stroke by stroke, and its two efficiencies.

Drive pipe for coil, waste valve for switch, check valve for rectifier, air vessel for capacitor, delivery pipe for output.
Pressures are counted above that of the open air at the waste valve. Left to itself the ram's valve shuts at a set flow and
opens again when the flow has come to rest: a converter in boundary conduction at a set current.
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
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.column import FRICTION_OF_DRIVE, NO_FRICTION, column_mass_step, drive_time
from boostkit.derivations.likeness import inertance

# --- heads and pressures ---
letter("gravity", "g", "m/s²", "acceleration of gravity", (9.78, 9.83), open_low=True)
letter("drive_head", "H", "m", "height of the supply above the waste valve", (0.5, 9.0), open_low=True)
letter("delivery_head", "h", "m", "height of the delivery above the waste valve", (10.0, 100.0), open_low=True)
letter("delivery_pressure", r"p_{\mathrm{deliver}}", "Pa", "pressure in the air vessel, above that of the open air", (1e5, 1e6),
       open_low=True)
letter("hold_force", r"F_{\mathrm{hold}}", "N", "force that slows the column while it delivers", (1.0, 1e5))

# --- one stroke ---
letter("open_time", r"t_{\mathrm{open}}", "s", "time in a stroke in which the waste valve is open", (0.1, 5.0), open_low=True)
letter("deliver_time", r"t_{\mathrm{deliver}}", "s", "time in a stroke in which the check valve is open", (0.01, 2.0), open_low=True)
letter("stroke_time", r"T_{\mathrm{stroke}}", "s", "time of a stroke", (0.1, 7.0), open_low=True)
letter("stroke_rate", r"f_{\mathrm{stroke}}", "Hz", "strokes per second", (0.2, 5.0))
letter("flow_set", r"Q_{\mathrm{set}}", "m³/s", "flow at which the waste valve shuts", (1e-4, 0.05), open_low=True)
letter("supplied_volume", r"V_{\mathrm{supply}}", "m³", "water that enters the drive pipe in a stroke", (1e-4, 0.1))
letter("delivered_volume", r"V_{\mathrm{deliver}}", "m³", "water that is delivered in a stroke", (1e-5, 0.02))

# --- means over many strokes ---
letter("supply_flow", "Q_S", "m³/s", "flow from the supply, mean", (1e-3, 0.05), open_low=True)
letter("delivered_flow", "q", "m³/s", "flow that is delivered, mean", (1e-5, 9e-4))
letter("wasted_flow", r"Q_{\mathrm{waste}}", "m³/s", "flow through the waste valve, mean", (1e-3, 0.05))
letter("delivered_share", r"s_{\mathrm{deliver}}", "", "share of the supply that is delivered", (0.02, 0.5), high=1.0, open_high=True)
letter("p_supplied", r"P_{\mathrm{supply}}", "W", "power of the water that the supply gives, counted at the waste valve", (1.0, 1e4))
letter("p_delivered", r"P_{\mathrm{deliver}}", "W", "power of the delivered water, counted at the waste valve", (1.0, 1e4))
letter("p_raised", r"P_{\mathrm{raise}}", "W", "power that raises the delivered water above its supply", (1.0, 1e4))
letter("p_wasted", r"P_{\mathrm{waste}}", "W", "power of the wasted water, counted at the waste valve", (1.0, 1e4))
letter("efficiency_daubuisson", r"\eta_{\mathrm{D}}", "", "efficiency after D'Aubuisson", (0.1, 0.9))
letter("efficiency_rankine", r"\eta_{\mathrm{R}}", "", "efficiency after Rankine", (0.1, 0.9))

FROM_REST = "each stroke starts with the column at rest"
NO_DROP = "open valves take no pressure"
LIFTS = Condition("delivery_pressure > drive_pressure", "the delivery lies above the supply, else water runs through and no valve shuts")
REACHES = Condition(f"{FRICTION_OF_DRIVE} < 1", "friction at the highest velocity takes less than the whole drive pressure")
BOTH_DIRECTIONS = ("friction lengthens the first part of a stroke and shortens the second; a valve that moves late, a jump of the "
                   "pressure as it shuts, and the wave in the pipe change it too")


def _head(name: str, say: str) -> Step:
    return Step(say, f"{name}_pressure = density*gravity*{name}_head",
                law("hydrostatic pressure", pressure=f"{name}_pressure", density="density", gravity="gravity", height=f"{name}_head"))


@cache
def ram_gain() -> Derivation:
    """The gain of pressure: one plus time open over time delivering, as at a converter."""
    return Derivation(
        "ram_gain", "The gain of the ideal ram",
        (
            Step("Waste valve open: take it so wide that it holds back nothing. Then the whole drive pressure pushes the column.",
                 "water_force = drive_pressure*area", assumption(NO_DROP)),
            column_mass_step(),
            Step("Leave out what the wall drags.", "pressure_friction = 0", assumption(NO_FRICTION)),
            Step("The column gains momentum.", "water_force*open_time = column_mass*velocity_gain",
                 law("Newton's second law", force="water_force", time="open_time", mass="column_mass",
                     velocity_change="velocity_gain")),
            Step("Put in force and mass.", "drive_pressure*area*open_time = density*(area*length)*velocity_gain", substituting(),
                 uses=(4, 1, 2)),
            Step("So much velocity it gains.", "velocity_gain = drive_pressure*open_time/(density*length)", solving("velocity_gain")),
            Step("Waste valve shut: the water pushes the check valve open. The vessel holds against the supply.",
                 "hold_force = (delivery_pressure - drive_pressure)*area",
                 law("pressure on an area", force="hold_force", pressure="delivery_pressure - drive_pressure", area="area")),
            Step("The column loses momentum.", "hold_force*deliver_time = column_mass*velocity_drop",
                 law("Newton's second law", force="hold_force", time="deliver_time", mass="column_mass",
                     velocity_change="velocity_drop")),
            Step("Put in force and mass.",
                 "(delivery_pressure - drive_pressure)*area*deliver_time = density*(area*length)*velocity_drop", substituting(),
                 uses=(8, 7, 2)),
            Step("So much velocity it loses.",
                 "velocity_drop = (delivery_pressure - drive_pressure)*deliver_time/(density*length)", solving("velocity_drop")),
            Step("Stroke follows stroke, each like the last: gain and loss cancel.", "velocity_drop = velocity_gain",
                 assumption("each stroke ends with the velocity it began with")),
            Step("Put in loss and gain. It is the volt-second balance of the coil, in pressure.",
                 "(delivery_pressure - drive_pressure)*deliver_time/(density*length) = drive_pressure*open_time/(density*length)",
                 substituting(), uses=(11, 10, 6)),
            Step("The column drops out.",
                 "delivery_pressure = drive_pressure*(deliver_time + open_time)/deliver_time", solving("delivery_pressure")),
            Step("The gain depends on the two times alone.", "delivery_pressure/drive_pressure = 1 + open_time/deliver_time",
                 simplifying()),
        ),
        meaning="pressure of the delivery over that of the supply, both above the open air; lossless twin of the converter's gain",
        unit="",
        valid=(REACHES,),
        bound=Bound(f"{FRICTION_OF_DRIVE}/(1 - {FRICTION_OF_DRIVE})",
                    "errs high, by what friction takes at the highest velocity; held against a rigid column, valves without drop"),
        source="derived here",
        example={"open_time": 1.0, "deliver_time": 0.25},
    )


@cache
def ram_head_gain() -> Derivation:
    """The same gain as a ratio of heights: what the learner can measure with a ruler."""
    return Derivation(
        "ram_head_gain", "The gain as a ratio of heights",
        (
            Step("Take the gain of pressure.", "delivery_pressure/drive_pressure = 1 + open_time/deliver_time", earlier(ram_gain())),
            _head("drive", "The supply stands this high."),
            _head("delivery", "The delivery stands this high; what its pipe takes is left out."),
            Step("Put in both heights. Density and gravity drop out.", "delivery_head/drive_head = 1 + open_time/deliver_time",
                 substituting(), uses=(1, 2, 3)),
        ),
        meaning="height of the delivery over that of the supply, both above the waste valve, without loss",
        unit="",
        valid=(REACHES,),
        bound=Bound(f"{FRICTION_OF_DRIVE}/(1 - {FRICTION_OF_DRIVE})",
                    "errs high, by what friction takes at the highest velocity; held against a rigid column, valves without drop"),
        source="derived here",
        example={"open_time": 1.0, "deliver_time": 0.25},
    )


@cache
def ram_open_time() -> Derivation:
    """The time until the flow has reached the set flow: inertance times flow over drive pressure, twin of L I/V."""
    return Derivation(
        "ram_open_time", "How long the waste valve stays open",
        (
            Step("The column starts at rest. This long it needs to its velocity.",
                 "drive_time = density*length*velocity/drive_pressure", earlier(drive_time())),
            Step("At that velocity the flow shuts the valve.", "open_time = drive_time", assumption(FROM_REST)),
            Step("The set flow is cross-section times that velocity.", "flow_set = area*velocity", definition()),
            Step("Solve for the velocity.", "velocity = flow_set/area", solving("velocity")),
            Step("Take the inertance of the pipe.", "inertance = density*length/area", earlier(inertance())),
            Step("Solve it for the density.", "density = inertance*area/length", solving("density")),
            Step("Put in time, density and velocity.",
                 "open_time = (inertance*area/length)*length*(flow_set/area)/drive_pressure", substituting(), uses=(2, 1, 6, 4)),
            Step("Length and cross-section drop out.", "open_time = inertance*flow_set/drive_pressure", simplifying()),
        ),
        meaning="time in which the flow climbs from rest to the flow at which the waste valve shuts",
        unit="s",
        valid=(REACHES,),
        bound=Bound(f"{FRICTION_OF_DRIVE}/(3 - 2*{FRICTION_OF_DRIVE})",
                    "errs low: friction takes part of the drive pressure, a third of its share counts at first"),
        source="derived here",
        example={"inertance": 6e6, "flow_set": 0.003, "drive_pressure": 29.4e3},
    )


@cache
def ram_deliver_time() -> Derivation:
    """The time until the column has come to rest: inertance times flow over the pressure against it."""
    return Derivation(
        "ram_deliver_time", "How long the check valve stays open",
        (
            Step("Take the gain.", "delivery_pressure/drive_pressure = 1 + open_time/deliver_time", earlier(ram_gain())),
            Step("Solve it for the time in which water is delivered.",
                 "deliver_time = open_time*drive_pressure/(delivery_pressure - drive_pressure)", solving("deliver_time")),
            Step("Take the time in which the valve is open.", "open_time = inertance*flow_set/drive_pressure",
                 earlier(ram_open_time())),
            Step("Put it in. The drive pressure drops out.",
                 "deliver_time = inertance*flow_set/(delivery_pressure - drive_pressure)", substituting(), uses=(2, 3)),
        ),
        meaning="time in which the flow falls from the set flow to rest while it delivers",
        unit="s",
        valid=(LIFTS, REACHES),
        bound=Bound("", "errs high: friction helps to stop the column"),
        source="derived here",
        example={"inertance": 6e6, "flow_set": 0.003, "delivery_pressure": 147e3, "drive_pressure": 29.4e3},
    )


@cache
def ram_stroke_rate() -> Derivation:
    """Strokes per second of a ram that runs by its own flow: p (p_deliver - p)/(L Q p_deliver)."""
    return Derivation(
        "ram_stroke_rate", "How often the ram beats",
        (
            Step("A stroke is both times together: no rest in between.", "stroke_time = open_time + deliver_time", definition()),
            Step("Take the first.", "open_time = inertance*flow_set/drive_pressure", earlier(ram_open_time())),
            Step("Take the second.", "deliver_time = inertance*flow_set/(delivery_pressure - drive_pressure)",
                 earlier(ram_deliver_time())),
            Step("So many strokes fit into a second.", "stroke_rate = 1/stroke_time", definition()),
            Step("Put in both times.",
                 "stroke_rate = 1/(inertance*flow_set/drive_pressure + inertance*flow_set/(delivery_pressure - drive_pressure))",
                 substituting(), uses=(4, 1, 2, 3)),
            Step("On one line it is the frequency of a converter in boundary conduction: free, set by flow and pressures.",
                 "stroke_rate = drive_pressure*(delivery_pressure - drive_pressure)/(inertance*flow_set*delivery_pressure)",
                 simplifying()),
        ),
        meaning="strokes per second of a ram whose valve shuts at a set flow and opens where the flow has come to rest",
        unit="Hz",
        valid=(LIFTS, REACHES),
        bound=Bound("", BOTH_DIRECTIONS),
        source="derived here",
        example={"drive_pressure": 29.4e3, "delivery_pressure": 147e3, "inertance": 6e6, "flow_set": 0.003},
    )


@cache
def ram_delivered_flow() -> Derivation:
    """What the set-flow ram delivers: half the set flow, over the gain."""
    return Derivation(
        "ram_delivered_flow", "How much the ram delivers",
        (
            Step("While it delivers, the flow falls in a straight line. Add it up.",
                 "delivered_volume = integral(flow_set*(1 - t/deliver_time), t, 0, deliver_time)", definition()),
            Step("It is the area of a triangle.", "delivered_volume = flow_set*deliver_time/2", integrating()),
            Step("A stroke is both times together.", "stroke_time = open_time + deliver_time", definition()),
            Step("Share it out over the stroke.", "delivered_flow = delivered_volume/stroke_time", definition()),
            Step("Put in water and stroke.", "delivered_flow = flow_set*deliver_time/(2*(open_time + deliver_time))", substituting(),
                 uses=(4, 2, 3)),
            Step("Take the gain.", "delivery_pressure/drive_pressure = 1 + open_time/deliver_time", earlier(ram_gain())),
            Step("Solve it for one of the times.", "open_time = deliver_time*(delivery_pressure/drive_pressure - 1)",
                 solving("open_time")),
            Step("Put it in.",
                 "delivered_flow = flow_set*deliver_time/(2*(deliver_time*(delivery_pressure/drive_pressure - 1) + deliver_time))",
                 substituting(), uses=(5, 7)),
            Step("The times drop out: half the set flow, and less the higher the delivery.",
                 "delivered_flow = flow_set*drive_pressure/(2*delivery_pressure)", simplifying()),
        ),
        meaning="flow that a set-flow ram delivers, mean over many strokes, without loss",
        unit="m³/s",
        valid=(LIFTS, REACHES),
        bound=Bound("", "errs high: friction makes the open time longer and the delivery shorter"),
        source="derived here; twin of the mean rectifier current in boundary conduction",
        example={"flow_set": 0.003, "drive_pressure": 29.4e3, "delivery_pressure": 147e3},
    )


@cache
def daubuisson_efficiency() -> Derivation:
    """Power delivered over power supplied, both counted from the waste valve: q h/(Q H)."""
    return Derivation(
        "daubuisson_efficiency", "Efficiency, counted from the waste valve",
        (
            Step("The supply gives this power.", "p_supplied = drive_pressure*supply_flow",
                 law("hydraulic power", power="p_supplied", pressure="drive_pressure", flow="supply_flow")),
            Step("The delivery takes this power.", "p_delivered = delivery_pressure*delivered_flow",
                 law("hydraulic power", power="p_delivered", pressure="delivery_pressure", flow="delivered_flow")),
            Step("Efficiency after D'Aubuisson is the one over the other. It is counted as at a converter.",
                 "efficiency_daubuisson = p_delivered/p_supplied", definition()),
            _head("drive", "The supply stands this high."),
            _head("delivery", "The delivery stands this high."),
            Step("Put in powers and heights. Density and gravity drop out.",
                 "efficiency_daubuisson = delivered_flow*delivery_head/(supply_flow*drive_head)", substituting(), uses=(3, 1, 2, 4, 5)),
        ),
        meaning="efficiency of a ram after D'Aubuisson: all delivered water counts, from the waste valve up",
        unit="",
        bound=Bound("", "no approximation: it is a way to count"),
        source="derived here; D'Aubuisson's form as in a solved ram problem on civinnovate.com, 31 July 2025 (read)",
        example={"delivered_flow": 0.003, "delivery_head": 18.0, "supply_flow": 0.030, "drive_head": 4.0},
    )


@cache
def rankine_efficiency() -> Derivation:
    """Power that raises water above its supply, over the power of the wasted water: q (h - H)/((Q - q) H)."""
    return Derivation(
        "rankine_efficiency", "Efficiency, counted from the supply",
        (
            Step("Count only what the delivered water gains above its supply.",
                 "p_raised = (delivery_pressure - drive_pressure)*delivered_flow",
                 law("hydraulic power", power="p_raised", pressure="delivery_pressure - drive_pressure", flow="delivered_flow")),
            Step("What is not delivered is wasted.", "wasted_flow = supply_flow - delivered_flow", definition()),
            Step("Only the wasted water pays, with its fall.", "p_wasted = drive_pressure*wasted_flow",
                 law("hydraulic power", power="p_wasted", pressure="drive_pressure", flow="wasted_flow")),
            Step("Efficiency after Rankine is the one over the other.", "efficiency_rankine = p_raised/p_wasted", definition()),
            _head("drive", "The supply stands this high."),
            _head("delivery", "The delivery stands this high."),
            Step("Put in powers, flow and heights. Density and gravity drop out.",
                 "efficiency_rankine = delivered_flow*(delivery_head - drive_head)/((supply_flow - delivered_flow)*drive_head)",
                 substituting(), uses=(4, 1, 3, 2, 5, 6)),
        ),
        meaning="efficiency of a ram after Rankine: what goes straight through is left out on both sides",
        unit="",
        bound=Bound("", "no approximation: it is a way to count"),
        source="derived here; Rankine's form as in a solved ram problem on civinnovate.com, 31 July 2025 (read)",
        example={"delivered_flow": 0.003, "delivery_head": 18.0, "supply_flow": 0.030, "drive_head": 4.0},
    )


@cache
def rankine_by_daubuisson() -> Derivation:
    """One efficiency from the other: both lose the same, Rankine leaves out what goes straight through."""
    return Derivation(
        "rankine_by_daubuisson", "One efficiency from the other",
        (
            Step("Take the efficiency counted from the supply.",
                 "efficiency_rankine = delivered_flow*(delivery_head - drive_head)/((supply_flow - delivered_flow)*drive_head)",
                 earlier(rankine_efficiency())),
            Step("Take the one counted from the waste valve.",
                 "efficiency_daubuisson = delivered_flow*delivery_head/(supply_flow*drive_head)", earlier(daubuisson_efficiency())),
            Step("Solve it for the height.", "delivery_head = efficiency_daubuisson*supply_flow*drive_head/delivered_flow",
                 solving("delivery_head")),
            Step("Call the delivered share.", "delivered_share = delivered_flow/supply_flow", definition()),
            Step("Solve it for the delivered flow.", "delivered_flow = delivered_share*supply_flow", solving("delivered_flow")),
            Step("Put in height and flow.",
                 "efficiency_rankine = delivered_share*supply_flow"
                 "*(efficiency_daubuisson*supply_flow*drive_head/(delivered_share*supply_flow) - drive_head)"
                 "/((supply_flow - delivered_share*supply_flow)*drive_head)", substituting(), uses=(1, 3, 5)),
            Step("Supply and height drop out. Only without loss do both ways of counting give one.",
                 "efficiency_rankine = (efficiency_daubuisson - delivered_share)/(1 - delivered_share)", simplifying()),
        ),
        meaning="efficiency of a ram after Rankine, from that after D'Aubuisson and the delivered share",
        unit="",
        bound=Bound("", "no approximation: two ways to count the same"),
        source="derived here",
        example={"efficiency_daubuisson": 0.45, "delivered_share": 0.1},
    )
