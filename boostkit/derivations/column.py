"""The water in a pipe as one rigid column: slow closing of a valve, and a column that is set in motion.

The column is what is left of the wave where the wave has time to run to and fro often. It is the water twin of a coil,
and the last formula here says how many times the wave really gets there and back.
"""

from functools import cache

from boostkit.algebra import (
    Bound,
    Condition,
    Derivation,
    Step,
    assumption,
    definition,
    differentiating,
    earlier,
    extremum,
    integrating,
    law,
    letter,
    limit,
    simplifying,
    solving,
    substituting,
)
from boostkit.derivations.water import NO_FRICTION, pressure_rise, return_time

letter("column_mass", "m", "kg", "mass of all the water in the pipe", (0.1, 1e6))
letter("rise_mean", r"\Delta p_{\mathrm{mean}}", "Pa", "rise of the pressure at the valve, mean over the closing time", (1e3, 6e6))
letter("echo_rise", r"\Delta p_{\mathrm{echo}}", "Pa", "what the first echo adds to the rise at the valve", (-6e6, 6e6), low=-6e9)
letter("rise_after_echo", r"\Delta p_{\mathrm{after}}", "Pa", "rise at the valve while the first echo arrives", (1e3, 6e6))
letter("closing_share", "s", "", "share of the closing time that has passed", (0.05, 0.95), high=1.0)
letter("deceleration", "b", "m/s²", "how fast the water slows", (0.01, 50.0))
letter("drive_pressure", r"p_{\mathrm{drive}}", "Pa", "pressure of the supply above that of the open air, at the lower end of the pipe",
       (5e3, 9e4), open_low=True)
letter("drive_time", r"t_{\mathrm{drive}}", "s", "time in which the drive pressure brings resting water to its velocity", (0.05, 5.0))
letter("velocity_end", r"v_{\mathrm{end}}", "m/s", "velocity at which friction takes the whole drive pressure", (4.5, 12.0),
       open_low=True)
letter("velocity_gain", r"\Delta v_+", "m/s", "velocity that the water gains", (0.1, 4.0))
letter("velocity_now", "u", "m/s", "velocity at an instant", (0.1, 3.9))
letter("velocity_apart", "w", "m/s", "distance to the end velocity, or sum with it", (0.5, 16.0))
letter("net_pressure", r"p_{\mathrm{net}}", "Pa", "drive pressure less what friction takes", (1e3, 2e5))
letter("time_per_velocity", r"\tau_v", "s²/m", "time that each bit of velocity takes, per velocity", (0.01, 5.0))
letter("stroke_returns", r"n_{\mathrm{returns}}", "", "wave returns within the time in which the column is set in motion", (1.0, 100.0))

SLOW = Condition("closing_time >= return_time", "the valve is still closing when the first wave is back")
RIGID = "water and wall do not give: all the water in the pipe slows at once"
TANK = "the tank holds its pressure: the echo comes back with its sign turned and counts twice at the valve"
STRAIGHT_CLOSING = "the velocity at the valve falls in a straight line"
SMOOTH_CLOSING = "the velocity at the valve falls along half a wave of the cosine"

# What friction took of the pressure before, against the mean rise of a closing valve.
FRICTION_OF_COLUMN = "friction_factor*velocity*closing_time/(2*pipe_diameter)"
# What friction takes of the drive pressure at the velocity that is reached.
FRICTION_OF_DRIVE = "(friction_factor*length*density*velocity**2/(2*pipe_diameter*drive_pressure))"


def column_mass_step() -> Step:
    """The mass of all the water in the pipe: a step that several derivations share."""
    return Step("The whole column has a mass.", "column_mass = density*(area*length)",
                law("mass of a body", mass="column_mass", density="density", volume="area*length"))


def _no_friction() -> Step:
    return Step("Leave out what the wall drags.", "pressure_friction = 0", assumption(NO_FRICTION))


@cache
def column_rise() -> Derivation:
    """The rise that slows a rigid column: density times length times deceleration."""
    return Derivation(
        "column_rise", "The pressure that slows a whole column",
        (
            Step("Take the column as one stiff body: then its front end slows as fast as its rear end.",
                 "stopped_length = length", assumption(RIGID)),
            Step("It has a mass.", "column_mass = density*(area*stopped_length)",
                 law("mass of a body", mass="column_mass", density="density", volume="area*stopped_length")),
            _no_friction(),
            Step("The rise presses on its cross-section.", "water_force = pressure_rise*area",
                 law("pressure on an area", force="water_force", pressure="pressure_rise", area="area")),
            Step("In a short time the force takes away some velocity.", "water_force*t = column_mass*velocity_drop",
                 law("Newton's second law", force="water_force", time="t", mass="column_mass",
                     velocity_change="velocity_drop")),
            Step("The deceleration is the fall of velocity over this time.", "deceleration = velocity_drop/t", definition()),
            Step("That is the fall of velocity.", "velocity_drop = deceleration*t", solving("velocity_drop")),
            Step("Put in force, mass and fall.", "pressure_rise*area*t = density*(area*length)*(deceleration*t)",
                 substituting(), uses=(5, 4, 2, 1, 7)),
            Step("Cross-section and time drop out.", "pressure_rise = density*length*deceleration", solving("pressure_rise")),
        ),
        meaning="rise of the pressure at the valve while the whole column slows at this rate",
        unit="Pa",
        valid=(SLOW,),
        bound=Bound("", "holds where the deceleration changes little within a return time; after a sudden start of the closing the "
                        "travelling wave swings between nothing and twice this"),
        source="derived here; rigid column in any textbook of hydraulics",
        example={"density": 998.2, "length": 300.0, "deceleration": 0.5},
    )


@cache
def mean_rise() -> Derivation:
    """The mean rise while a valve shuts slowly: density times length times velocity over closing time."""
    return Derivation(
        "mean_rise", "Shut slowly: the mean of the rise",
        (
            Step("Take the column as one stiff body.", "stopped_length = length", assumption(RIGID)),
            Step("It has a mass.", "column_mass = density*(area*stopped_length)",
                 law("mass of a body", mass="column_mass", density="density", volume="area*stopped_length")),
            _no_friction(),
            Step("The mean rise makes the mean force.", "water_force = rise_mean*area",
                 law("pressure on an area", force="water_force", pressure="rise_mean", area="area")),
            Step("Over the closing time it takes away the whole momentum.", "water_force*closing_time = column_mass*velocity",
                 law("Newton's second law", force="water_force", time="closing_time", mass="column_mass",
                     velocity_change="velocity")),
            Step("Put in force and mass.", "rise_mean*area*closing_time = density*(area*length)*velocity", substituting(),
                 uses=(5, 4, 2, 1)),
            Step("The cross-section drops out.", "rise_mean = density*length*velocity/closing_time", solving("rise_mean")),
        ),
        meaning="rise of the pressure at a valve that shuts in a straight line, mean over the closing time; the peak is twice this",
        unit="Pa",
        valid=(SLOW,),
        bound=Bound(f"return_time/(4*closing_time - return_time) + {FRICTION_OF_COLUMN}",
                    "exact without friction where the closing time is a whole number of return times, else off on either side; "
                    "with friction it errs low, by at most what friction took of the pressure before"),
        source="derived here; same form in R. K. Bansal, A Textbook of Fluid Mechanics and Hydraulic Machines, ch. 11 (from memory)",
        example={"density": 998.2, "length": 300.0, "velocity": 1.5, "closing_time": 3.0},
    )


@cache
def slow_rise() -> Derivation:
    """The highest rise where the velocity falls in a straight line for longer than 2 l/a: twice the mean."""
    return Derivation(
        "slow_rise", "Shut slowly, in a straight line: the peak of the rise",
        (
            Step("Let the velocity at the valve fall in a straight line.", "velocity_drop = velocity*t/closing_time",
                 assumption(STRAIGHT_CLOSING)),
            Step("The valve is still closing when the first echo is back.", "closing_time >= return_time",
                 assumption("the valve is still closing when the first wave is back")),
            Step("Each fall sends out its rise.", "pressure_rise = density*wave_speed*velocity_drop", earlier(pressure_rise())),
            Step("So at first the pressure climbs in a straight line too.",
                 "pressure_rise = density*wave_speed*(velocity*t/closing_time)", substituting(), uses=(3, 1)),
            Step("From the tank the same climb comes back, later by the return time and with its sign turned. The valve, which "
                 "dictates the velocity, throws it back whole: there it counts twice.",
                 "echo_rise = -2*density*wave_speed*(velocity*(t - return_time)/closing_time)", assumption(TANK)),
            Step("While the first echo arrives, the rise is the sum.", "rise_after_echo = pressure_rise + echo_rise",
                 definition()),
            Step("Put in climb and echo.",
                 "rise_after_echo = density*wave_speed*velocity*t/closing_time "
                 "- 2*density*wave_speed*velocity*(t - return_time)/closing_time", substituting(), uses=(6, 4, 5)),
            Step("Taken together it falls as fast as it climbed before. So the peak is where the echo begins; later echoes "
                 "repeat it, and none goes higher.",
                 "rise_after_echo = density*wave_speed*velocity*(2*return_time - t)/closing_time", simplifying()),
            Step("Just there it has this value.", "rise_after_echo = density*wave_speed*velocity*return_time/closing_time",
                 limit("t", "return_time")),
            Step("Call it the peak.", "rise_peak = rise_after_echo", definition()),
            Step("The return time is known.", "return_time = 2*length/wave_speed", earlier(return_time())),
            Step("Put in value and return time.",
                 "rise_peak = density*wave_speed*velocity*(2*length/wave_speed)/closing_time", substituting(), uses=(10, 9, 11)),
            Step("The wave speed drops out, and a factor of two stays: the peak is twice the mean of the rigid column.",
                 "rise_peak = 2*density*length*velocity/closing_time", simplifying()),
        ),
        meaning="highest rise at a valve that shuts in a straight line and not before the first wave is back",
        unit="Pa",
        valid=(SLOW,),
        bound=Bound(f"{FRICTION_OF_COLUMN}/2",
                    "exact without friction for every closing time from one return time on; afterwards the pipe rings, and is "
                    "quiet only where the closing time is a whole number of double return times; with friction it errs low, by at "
                    "most what friction took of the pressure before"),
        source="derived here; by adding up waves as in Wylie & Streeter, Fluid Transients in Systems, 1993 (from memory)",
        example={"density": 998.2, "length": 300.0, "velocity": 1.5, "closing_time": 3.0},
    )


@cache
def smooth_rise() -> Derivation:
    """The highest rise where the velocity falls along half a cosine: pi/2 times the mean, less than in a straight line."""
    return Derivation(
        "smooth_rise", "Shut smoothly: the peak of the rise",
        (
            Step("Begin gently and end gently: let the velocity fall along half a wave of the cosine.",
                 "velocity_now = velocity*(1 + cos(pi*closing_share))/2", assumption(SMOOTH_CLOSING)),
            Step("The deceleration is how fast it falls.",
                 "deceleration = -derivative(velocity*(1 + cos(pi*closing_share))/2, closing_share)/closing_time", definition()),
            Step("Carry out the derivative.", "deceleration = pi*velocity*sin(pi*closing_share)/(2*closing_time)",
                 differentiating()),
            Step("The velocity falls fastest halfway.", "closing_share = 1/2", extremum("closing_share", "maximum")),
            Step("There the sine is one.", "deceleration = pi*velocity/(2*closing_time)", substituting(), uses=(3, 4)),
            Step("Take the column as one stiff body.", "pressure_rise = density*length*deceleration", earlier(column_rise())),
            Step("The peak is the rise at that moment.", "rise_peak = pressure_rise", definition()),
            Step("Put in rise and deceleration.", "rise_peak = pi*density*length*velocity/(2*closing_time)", substituting(),
                 uses=(7, 6, 5)),
        ),
        meaning="highest rise at a valve that shuts along half a wave of the cosine, much slower than the wave runs",
        unit="Pa",
        valid=(SLOW,),
        bound=Bound(f"return_time/closing_time + 2*{FRICTION_OF_COLUMN}/pi",
                    "errs low, the less the more often the wave returns while the valve closes"),
        source="derived here",
        example={"density": 998.2, "length": 300.0, "velocity": 1.5, "closing_time": 3.0},
    )


@cache
def drive_time() -> Derivation:
    """The time in which a constant pressure brings a resting column to a velocity: density times length times v/p."""
    return Derivation(
        "drive_time", "Setting the column in motion",
        (
            Step("The water rests. The open valve leaves the whole drive pressure to the column.",
                 "water_force = drive_pressure*area",
                 law("pressure on an area", force="water_force", pressure="drive_pressure", area="area")),
            column_mass_step(),
            _no_friction(),
            Step("The force builds up momentum.", "water_force*drive_time = column_mass*velocity",
                 law("Newton's second law", force="water_force", time="drive_time", mass="column_mass",
                     velocity_change="velocity")),
            Step("Put in force and mass.", "drive_pressure*area*drive_time = density*(area*length)*velocity", substituting(),
                 uses=(4, 1, 2)),
            Step("Solve for the time. The velocity climbs in a straight line, as the current in a coil does.",
                 "drive_time = density*length*velocity/drive_pressure", solving("drive_time")),
        ),
        meaning="time in which a constant pressure brings the water in a pipe from rest to a velocity",
        unit="s",
        valid=(Condition(f"{FRICTION_OF_DRIVE} < 1", "friction at that velocity takes less than the whole drive pressure"),),
        bound=Bound(f"{FRICTION_OF_DRIVE}/(3 - 2*{FRICTION_OF_DRIVE})",
                    "errs low: friction takes part of the drive pressure, a third of its share counts at first"),
        source="derived here; rigid column in any textbook of hydraulics",
        example={"density": 998.2, "length": 12.0, "velocity": 1.5, "drive_pressure": 29.4e3},
    )


@cache
def drive_time_friction() -> Derivation:
    """The same time with friction that grows with the square of the velocity."""
    return Derivation(
        "drive_time_friction", "Setting the column in motion against friction",
        (
            Step("Friction grows with the square of the velocity. At the end velocity it takes the whole drive pressure.",
                 "pressure_friction = drive_pressure*velocity_now**2/velocity_end**2",
                 assumption("friction grows with the square of the velocity, at all times as in steady flow")),
            Step("The rest is left to the column.", "net_pressure = drive_pressure - pressure_friction", definition()),
            Step("It makes the force.", "water_force = net_pressure*area",
                 law("pressure on an area", force="water_force", pressure="net_pressure", area="area")),
            column_mass_step(),
            Step("In a short time the force adds a little velocity.", "water_force*t = column_mass*velocity_gain",
                 law("Newton's second law", force="water_force", time="t", mass="column_mass",
                     velocity_change="velocity_gain")),
            Step("So much time each bit of velocity takes.", "time_per_velocity = t/velocity_gain", definition()),
            Step("Hence this short time.", "t = time_per_velocity*velocity_gain", solving("t")),
            Step("Put in force, mass and time.",
                 "(drive_pressure - drive_pressure*velocity_now**2/velocity_end**2)*area*(time_per_velocity*velocity_gain) "
                 "= density*(area*length)*velocity_gain", substituting(), uses=(5, 3, 2, 1, 4, 7)),
            Step("Solve: the nearer the end velocity, the longer each bit takes.",
                 "time_per_velocity = density*length/(drive_pressure*(1 - velocity_now**2/velocity_end**2))",
                 solving("time_per_velocity")),
            Step("Add up the times of all bits, from rest to the velocity.",
                 "drive_time = integral(density*length/(drive_pressure*(1 - velocity_now**2/velocity_end**2)), "
                 "velocity_now, 0, velocity)", definition()),
            Step("Split the fraction into two simpler ones.",
                 "drive_time = density*length*velocity_end/(2*drive_pressure)"
                 "*integral(1/(velocity_end - velocity_now) + 1/(velocity_end + velocity_now), velocity_now, 0, velocity)",
                 simplifying()),
            Step("Read the first as the distance below the end velocity, the second as the sum with it: two neighbouring pieces "
                 "of one integral.",
                 "drive_time = density*length*velocity_end/(2*drive_pressure)"
                 "*integral(1/velocity_apart, velocity_apart, velocity_end - velocity, velocity_end + velocity)", simplifying()),
            Step("Carry it out.",
                 "drive_time = density*length*velocity_end/(2*drive_pressure)"
                 "*log((velocity_end + velocity)/(velocity_end - velocity))", integrating()),
        ),
        meaning="time in which a constant pressure brings the water in a pipe from rest to a velocity, against friction",
        unit="s",
        valid=(Condition("velocity < velocity_end", "the velocity is one that the column can reach"),),
        bound=Bound("0", "exact for a rigid column with friction as in steady flow"),
        source="derived here; establishment of flow in Wylie & Streeter, 1993 (from memory)",
        example={"density": 998.2, "length": 12.0, "velocity_end": 5.0, "drive_pressure": 29.4e3, "velocity": 1.5},
    )


@cache
def stroke_returns() -> Derivation:
    """How often the wave runs to the tank and back while the column is set in motion: rho a v/(2 p). Length drops out."""
    return Derivation(
        "stroke_returns", "How rigid is the column?",
        (
            Step("Count the return times in the time that the stroke takes.", "stroke_returns = drive_time/return_time",
                 definition()),
            Step("The stroke takes this long.", "drive_time = density*length*velocity/drive_pressure", earlier(drive_time())),
            Step("The wave is back after this time.", "return_time = 2*length/wave_speed", earlier(return_time())),
            Step("Put in both times.",
                 "stroke_returns = (density*length*velocity/drive_pressure)/(2*length/wave_speed)", substituting(), uses=(1, 2, 3)),
            Step("The length drops out: a longer pipe is not stiffer. Half the rise of a sudden stop, over the drive pressure, "
                 "says how stiff the column seems.", "stroke_returns = density*wave_speed*velocity/(2*drive_pressure)",
                 simplifying()),
        ),
        meaning="wave returns while the column is set in motion: the rigid column is a fair picture where it is far above one",
        unit="",
        bound=Bound("", "a ratio of two times; friction makes the stroke longer and the number larger"),
        source="derived here",
        example={"density": 998.2, "wave_speed": 1200.0, "velocity": 1.5, "drive_pressure": 29.4e3},
    )
