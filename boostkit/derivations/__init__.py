"""The physics as algebra, one short file a topic; each function gives one Derivation, made once.

Importing any of them enters the shared letters, in which all the equations are written.
"""

from . import letters

FILES = ("letters", "bounds", "water", "column", "likeness", "ram", "kick", "clamp", "ringing", "damping", "discharge", "switching",
         "stress", "real_parts", "gain_peak", "recovery", "field", "energy", "sizing", "light_load", "unloaded", "ripple", "ripple_esr",
         "input_ripple", "duty_with_losses", "magnetics", "core_size", "layers", "copper", "iron",
         "frequency", "crossing", "coil_size")  # fmt: skip

__all__ = ["letters"]
