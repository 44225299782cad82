"""How far the ideal formulas are off: the pieces from which their conditions and error bounds are put together.

Each piece is an expression in the letters. In a good converter all of them are small, and without loss and ripple they
are zero. They were derived by carrying one more term than the formula does; the tests hold them against the exact
circuit over random converters with losses in both modes of conduction. They are for a diode, or for a second switch
without dead time whose current does not turn: what its body diode takes in a dead time is in no bound, nor is a coil
current that runs back. The resistance of a source without an input capacitor counts as the winding's.
"""

from boostkit.algebra import Condition

# What resistances take from the gain: with R_L, R_on, R_D and R_C the ideal gain falls by this share (1/(1 + LOSS)).
# The capacitor is in it because the output lies higher by R_C i_C just while the coil works against it.
PATH_LOSS = "(r_inductor + duty*r_switch + duty_off*r_rectifier)/(duty_off**2*r_load)"
ESR_LOSS = "duty*r_capacitor/(duty_off*r_load)"
LOSS = f"({PATH_LOSS} + {ESR_LOSS})"

# What the forward voltage of the rectifier takes (1 - DROP).
DROP = "duty_off*v_rectifier/v_in"

# Ripple that is not small bends the slopes: inductance and capacitance together, each resistance with the inductance.
BENT_BY_CAPACITOR = "duty*duty_off/(12*inductance*capacitance*f_sw**2)"
BENT_BY_RESISTANCE = "(r_inductor + r_switch + r_rectifier + r_capacitor)/(inductance*f_sw)"

# Where resistances are large, bent slopes change also what they take.
BENT_LOSS = f"{LOSS}*{BENT_BY_RESISTANCE}/6"

# The load current follows the output ripple, which bends the fall of the output.
BENT_BY_LOAD = "(duty/(r_load*capacitance*f_sw))**2/12"

# How far the mean coil current lies from where straight slopes put it, in continuous conduction.
BEND = f"(duty*duty_off**2/k_load*({BENT_BY_RESISTANCE})/6 + {BENT_BY_CAPACITOR})"

# The climb of the coil current; its mean while the switch is closed, and its highest value, right in both modes.
CLIMB = "v_in*duty/(inductance*f_sw)"
CURRENT_CLOSED = f"max(i_out/duty_off, {CLIMB}/2)"
CURRENT_HIGHEST = f"({CURRENT_CLOSED} + {CLIMB}/2)"

# The share of the source voltage that is lost in the charging path, in both modes, and in discontinuous conduction.
PATH_DROP = (f"((r_inductor + r_switch)*max(i_out/duty_off*(1 + {BENT_BY_CAPACITOR} + {BENT_BY_RESISTANCE}/6), "
             f"{CLIMB}/2)/v_in)")
PATH_DROP_DRY = "((r_inductor + r_switch)*duty/(2*inductance*f_sw))"

# Output ripple over mean output, peak to peak, at most: from the capacitance, and with the series resistance.
SAG = "1/(r_load*capacitance*f_sw)"
SWING = f"({SAG} + r_capacitor*{CURRENT_HIGHEST}/v_out)"

# What losses take from the lift of the coil over the source, as a share, in both modes.
_CURRENT = "i_out/duty_rectifier"
LOST_LIFT = (f"((duty/duty_rectifier*(r_inductor + r_switch)*{_CURRENT} + v_rectifier"
             f" + (r_inductor + r_rectifier + r_capacitor)*{_CURRENT})/v_in + v_out/v_in*{SAG}/2)")

CONTINUOUS = Condition(f"k_load*(1 - {DROP}) >= duty*duty_off**2*(1 + {LOSS})",
                       "continuous conduction: the load number lies above its critical value, losses counted")
# Bent slopes lift the lowest current a little, so that the border lies a little lower than where straight ones put it.
DISCONTINUOUS = Condition(f"k_load*(1 + {BENT_BY_RESISTANCE}/4 + {BENT_BY_CAPACITOR}) <= duty*duty_off**2",
                          "discontinuous conduction: the load number lies below its critical value, bending counted")
ABOVE_SOURCE = Condition(f"v_out*(1 - {SAG} - r_capacitor/r_load) >= v_in",
                         "the output never sags to the source voltage within a period")
SMALL_DROP = Condition(f"{PATH_DROP} <= 1/2", "the charging path takes at most half of the source voltage")
SMALL_DROP_DRY = Condition(f"{PATH_DROP_DRY} <= 1/2", "the charging path takes at most half of the source voltage")
STRAIGHT_SLOPES = Condition(f"{BENT_BY_RESISTANCE} <= 1/2", "the time constant of the coil is longer than two periods")
