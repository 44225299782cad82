"""Flowing water, stopped: the pressure wave, its speed, and what a valve that shuts quickly does.

The valve is at the lower end of a pipe of constant width, a tank holds the pressure at the upper end. A rise is counted
from the pressure at the valve before it moved. Such rises burst pipes and fittings: reckon with them before a valve is shut,
and leave real mains to those licensed to work on them.
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
    law,
    letter,
    limit,
    linearising,
    simplifying,
    solving,
    substituting,
)

# --- the pipe and what flows in it ---
letter("density", r"\rho", "kg/m³", "density of water", (990.0, 1005.0), open_low=True)
letter("velocity", "v", "m/s", "velocity of the water in the pipe before the valve moves", (0.2, 4.0))
letter("velocity_drop", r"\Delta v", "m/s", "fall of the velocity at the valve", (0.1, 4.0))
letter("wave_speed", "a", "m/s", "speed of a pressure wave in the pipe", (300.0, 1480.0), open_low=True)
letter("length", r"\ell", "m", "length of the pipe", (1.0, 3000.0), open_low=True)
letter("area", "A", "m²", "cross-section of the pipe", (1e-4, 0.8), open_low=True)
letter("pipe_diameter", r"d_{\mathrm{pipe}}", "m", "inner diameter of the pipe", (0.01, 1.0), open_low=True)
letter("friction_factor", r"f_{\mathrm{D}}", "", "friction factor of the pipe (Darcy)", (0.01, 0.05), ideal=0.0)
letter("pressure_friction", r"\Delta p_f", "Pa", "pressure that friction takes over the length of the pipe", (10.0, 1e6))

# --- closing the valve ---
letter("closing_time", r"T_{\mathrm{shut}}", "s", "time from the first move of the valve until it is shut", (0.05, 60.0), ideal=0.0)
letter("return_time", r"T_{\mathrm{back}}", "s", "time in which a wave runs to the tank and back", (0.002, 10.0),
       defined_as="2*length/wave_speed")
letter("pressure_rise", r"\Delta p", "Pa", "rise of the pressure at the valve", (1e3, 6e6))
letter("rise_peak", r"\Delta p_{\mathrm{max}}", "Pa", "highest rise of the pressure at the valve", (1e3, 6e6))

# --- what is stopped, squeezed and stretched ---
letter("stopped_length", r"\ell_{\mathrm{stop}}", "m", "length of the water that has been stopped so far", (0.1, 3000.0))
letter("stopped_mass", r"m_{\mathrm{stop}}", "kg", "mass of the water that has been stopped so far", (0.1, 1e6))
letter("water_force", "F", "N", "force on the water along the pipe", (1.0, 1e6))
letter("inflow_volume", r"\Delta V_{\mathrm{inflow}}", "m³", "water that still flows in behind the front", (1e-6, 1.0))
letter("squeezed_volume", r"\Delta V_{\mathrm{squeeze}}", "m³", "room that appears because the water is squeezed", (1e-6, 1.0))
letter("stretched_volume", r"\Delta V_{\mathrm{stretch}}", "m³", "room that appears because the wall stretches", (1e-6, 1.0))
letter("area_growth", r"\Delta A", "m²", "growth of the cross-section under pressure", (1e-8, 1e-3))
letter("bulk_modulus", r"K_{\mathrm{w}}", "Pa", "bulk modulus of water: its stiffness against squeezing", (1.9e9, 2.3e9), open_low=True)
letter("wall_modulus", r"E_{\mathrm{w}}", "Pa", "modulus of elasticity of the wall", (1e9, 2.1e11), open_low=True)
letter("wall_thickness", r"h_{\mathrm{w}}", "m", "thickness of the wall", (1e-3, 2e-2), open_low=True)
letter("wall_stress", r"S_{\mathrm{w}}", "Pa", "stress around the wall", (1e4, 2e8))
letter("wall_share", r"k_{\mathrm{w}}", "", "room that the wall makes by stretching, against what the water makes", (0.01, 3.0))
letter("wall_strain", r"\delta_{\mathrm{w}}", "", "share by which the wall stretches around the pipe", (1e-6, 1e-2))

RAPID = Condition("closing_time <= return_time", "the valve is shut before the first wave is back")
NO_FRICTION = "pipe without friction"

# What friction took before and no longer takes afterwards comes on top of the rise: its share of it.
FRICTION_OF_WAVE = "friction_factor*length*velocity/(2*pipe_diameter*wave_speed)"
# How much of the stiffness of water the wall takes away.
WALL = "bulk_modulus*pipe_diameter/(wall_modulus*wall_thickness)"


@cache
def pressure_rise() -> Derivation:
    """The rise where flowing water is stopped: density times wave speed times fall of velocity (Joukowsky)."""
    return Derivation(
        "pressure_rise", "The pressure that stops the water",
        (
            Step("The valve moves. Water stops layer by layer: a front runs up the pipe, and behind it the water has slowed. "
                 "Compared with the front the water itself hardly moves.", "stopped_length = wave_speed*t",
                 assumption("water flows much slower than the wave runs")),
            Step("What lies behind the front has a mass.", "stopped_mass = density*(area*stopped_length)",
                 law("mass of a body", mass="stopped_mass", density="density", volume="area*stopped_length")),
            Step("Leave out what the wall drags.", "pressure_friction = 0", assumption(NO_FRICTION)),
            Step("Then the rise of the pressure is all that slows the water. It presses on the cross-section.",
                 "water_force = pressure_rise*area",
                 law("pressure on an area", force="water_force", pressure="pressure_rise", area="area")),
            Step("The force takes the momentum out of this water.", "water_force*t = stopped_mass*velocity_drop",
                 law("Newton's second law", force="water_force", time="t", mass="stopped_mass",
                     velocity_change="velocity_drop")),
            Step("Put in force, mass and length.",
                 "pressure_rise*area*t = density*(area*(wave_speed*t))*velocity_drop", substituting(), uses=(5, 4, 2, 1)),
            Step("Cross-section and time stand on both sides and drop out.",
                 "pressure_rise = density*wave_speed*velocity_drop", solving("pressure_rise")),
        ),
        meaning="rise of the pressure where the velocity of water in a pipe falls by this much, before any echo is back (Joukowsky)",
        unit="Pa",
        valid=(RAPID,),
        bound=Bound(FRICTION_OF_WAVE, "exact without friction; with friction it errs low, by at most what friction took of the "
                                      "pressure before a full stop"),
        source="derived here; Joukowsky 1898, handbook form in Wylie & Streeter, Fluid Transients in Systems, 1993 (from memory)",
        example={"density": 998.2, "wave_speed": 1200.0, "velocity_drop": 1.5},
    )


@cache
def return_time() -> Derivation:
    """The border between rapid and slow closing: the wave runs to the tank and back in 2 l/a."""
    return Derivation(
        "return_time", "How long the news takes to the tank and back",
        (
            Step("The wave runs the length of the pipe twice, always at the same speed.", "2*length = wave_speed*return_time",
                 law("motion at constant speed", distance="2*length", speed="wave_speed", time="return_time")),
            Step("Solve for the time.", "return_time = 2*length/wave_speed", solving("return_time")),
        ),
        meaning="time until the first wave is back at the valve: a valve shut sooner counts as shut at once",
        unit="s",
        bound=Bound("0", "exact for a pipe of one width, one wall and one wave speed"),
        source="derived here; same border in Wylie & Streeter, 1993 (from memory)",
        example={"length": 300.0, "wave_speed": 1200.0},
    )


@cache
def wave_speed() -> Derivation:
    """The wave speed from the room that squeezed water and a stretched wall make: sqrt((K/rho)/(1 + K D/(E t)))."""
    return Derivation(
        "wave_speed", "How fast the pressure wave runs",
        (
            Step("Behind the front the water has slowed. It fills this length.", "stopped_length = wave_speed*t",
                 assumption("water flows much slower than the wave runs")),
            Step("Ahead of the front water comes on faster than it leaves. In this time so much more arrives.",
                 "inflow_volume = area*(velocity_drop*t)", definition()),
            Step("It finds room in two ways. First, the pressure squeezes the water behind the front.",
                 "pressure_rise = bulk_modulus*squeezed_volume/(area*stopped_length)",
                 law("compression of a liquid", pressure="pressure_rise", modulus="bulk_modulus",
                     squeezed="squeezed_volume", volume="area*stopped_length")),
            Step("So much room that makes.", "squeezed_volume = pressure_rise*area*stopped_length/bulk_modulus",
                 solving("squeezed_volume")),
            Step("Second, the wall is stretched. Cut the pipe lengthwise in thought: the two cuts hold the pressure.",
                 "wall_stress*2*wall_thickness = pressure_rise*pipe_diameter",
                 law("tension in a pipe wall", stress="wall_stress", thickness="wall_thickness", pressure="pressure_rise",
                     diameter="pipe_diameter")),
            Step("The wall stretches in proportion.", "wall_stress = wall_modulus*wall_strain",
                 law("Hooke's law", stress="wall_stress", modulus="wall_modulus", strain="wall_strain")),
            Step("Put the stress in.", "wall_modulus*wall_strain*2*wall_thickness = pressure_rise*pipe_diameter",
                 substituting(), uses=(5, 6)),
            Step("So far the wall stretches.",
                 "wall_strain = pressure_rise*pipe_diameter/(2*wall_modulus*wall_thickness)", solving("wall_strain")),
            Step("Round and width grow by the same share, the cross-section by the square.",
                 "area_growth = area*((1 + wall_strain)**2 - 1)", definition()),
            Step("The share is tiny, so twice the share is enough.", "area_growth = 2*area*wall_strain",
                 linearising("wall_strain", "0")),
            Step("So much room that makes.", "stretched_volume = area_growth*stopped_length", definition()),
            Step("What arrives finds room.", "inflow_volume = squeezed_volume + stretched_volume",
                 law("water is conserved", enters="inflow_volume", leaves_or_stays="squeezed_volume + stretched_volume")),
            Step("Put in all of it.",
                 "area*(velocity_drop*t) = pressure_rise*area*(wave_speed*t)/bulk_modulus "
                 "+ 2*area*(pressure_rise*pipe_diameter/(2*wall_modulus*wall_thickness))*(wave_speed*t)",
                 substituting(), uses=(12, 2, 4, 11, 10, 8, 1)),
            Step("Cross-section and time drop out.",
                 "velocity_drop = pressure_rise*wave_speed*(1/bulk_modulus + pipe_diameter/(wall_modulus*wall_thickness))",
                 simplifying()),
            Step("The pressure is the one that stops the water.", "pressure_rise = density*wave_speed*velocity_drop",
                 earlier(pressure_rise())),
            Step("Put it in: the wave speed now stands there squared.",
                 "velocity_drop = density*wave_speed*velocity_drop*wave_speed"
                 "*(1/bulk_modulus + pipe_diameter/(wall_modulus*wall_thickness))", substituting(), uses=(14, 15)),
            Step("The velocity drops out. Soft water or a soft wall makes a slow wave.",
                 "wave_speed = sqrt((bulk_modulus/density)/(1 + bulk_modulus*pipe_diameter/(wall_modulus*wall_thickness)))",
                 solving("wave_speed")),
        ),
        meaning="speed of a pressure wave in a thin-walled elastic pipe that is free to change its length",
        unit="m/s",
        valid=(Condition("wall_thickness <= pipe_diameter/10", "the wall is thin against the pipe"),),
        bound=Bound("", "takes water without air and a pipe free to change its length; a pipe held lengthwise stretches less, and "
                        "its wave is a little faster; a little air in the water makes it far slower"),
        source="derived here; same form in Wylie & Streeter, Fluid Transients in Systems, 1993",
        example={"bulk_modulus": 2.19e9, "density": 998.2, "pipe_diameter": 0.1, "wall_modulus": 2e11, "wall_thickness": 0.004},
    )


@cache
def wave_speed_rigid() -> Derivation:
    """The wave speed in a pipe that does not stretch, which is the speed of sound in water: sqrt(K/rho)."""
    return Derivation(
        "wave_speed_rigid", "The wave in a pipe that does not stretch",
        (
            Step("Take the wave speed in an elastic pipe.",
                 "wave_speed = sqrt((bulk_modulus/density)/(1 + bulk_modulus*pipe_diameter/(wall_modulus*wall_thickness)))",
                 earlier(wave_speed())),
            Step("Compare the room that the wall makes with the room that the water makes.",
                 "wall_share = bulk_modulus*pipe_diameter/(wall_modulus*wall_thickness)", definition()),
            Step("Put it in.", "wave_speed = sqrt((bulk_modulus/density)/(1 + wall_share))", substituting(), uses=(1, 2)),
            Step("Let the wall be as stiff as you like: only the water gives.", "wave_speed = sqrt(bulk_modulus/density)",
                 limit("wall_share", "0")),
        ),
        meaning="speed of a pressure wave in a rigid pipe: the speed of sound in water",
        unit="m/s",
        bound=Bound(f"sqrt(1 + {WALL}) - 1", "errs high, because every wall stretches"),
        source="derived here; the speed of sound in a liquid in any handbook",
        example={"bulk_modulus": 2.19e9, "density": 998.2},
    )


@cache
def pressure_rise_rigid() -> Derivation:
    """The rise in a pipe that does not stretch: v sqrt(K rho)."""
    return Derivation(
        "pressure_rise_rigid", "The rise in a pipe that does not stretch",
        (
            Step("Take the pressure that stops the water.", "pressure_rise = density*wave_speed*velocity_drop",
                 earlier(pressure_rise())),
            Step("Take the wave speed in a rigid pipe.", "wave_speed = sqrt(bulk_modulus/density)", earlier(wave_speed_rigid())),
            Step("Put it in.", "pressure_rise = density*sqrt(bulk_modulus/density)*velocity_drop", substituting(), uses=(1, 2)),
            Step("Draw the density under the root.", "pressure_rise = velocity_drop*sqrt(bulk_modulus*density)", simplifying()),
        ),
        meaning="rise of the pressure where the velocity falls by this much at once, in a rigid pipe",
        unit="Pa",
        valid=(RAPID,),
        bound=Bound(f"sqrt(1 + {WALL}) - 1", "errs high, because every wall stretches"),
        source="derived here; same form in R. K. Bansal, A Textbook of Fluid Mechanics and Hydraulic Machines, ch. 11 (from memory)",
        example={"velocity_drop": 1.5, "bulk_modulus": 2.19e9, "density": 998.2},
    )


@cache
def rapid_rise() -> Derivation:
    """The highest rise where the valve is shut within 2 l/a: the full one, whatever the closing curve."""
    return Derivation(
        "rapid_rise", "Shut before the wave is back",
        (
            Step("Each small fall of the velocity sends out its own small rise; they add up.",
                 "pressure_rise = density*wave_speed*velocity_drop", earlier(pressure_rise())),
            Step("The valve is shut before the first of them is back as an echo, so nothing has been taken off again.",
                 "closing_time <= return_time", assumption("the valve is shut before the first wave is back")),
            Step("By then the whole velocity is gone.", "velocity_drop = velocity", assumption("the valve shuts completely")),
            Step("That is the highest rise.", "rise_peak = pressure_rise", definition()),
            Step("Put it together. The closing time does not occur.", "rise_peak = density*wave_speed*velocity",
                 substituting(), uses=(4, 1, 3)),
        ),
        meaning="highest rise at a valve that is shut before the first wave is back, however it closes in that time",
        unit="Pa",
        valid=(RAPID,),
        bound=Bound(FRICTION_OF_WAVE, "exact without friction; with friction it errs low, by at most what friction took of the "
                                      "pressure before"),
        source="derived here; same statement in Wylie & Streeter, 1993 (from memory)",
        example={"density": 998.2, "wave_speed": 1200.0, "velocity": 1.5},
    )
