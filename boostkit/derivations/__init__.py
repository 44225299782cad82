"""The physics as algebra, one short file a topic; each function gives one Derivation, made once.

Importing any of them enters the shared letters, in which all the equations are written.
"""

from . import letters

FILES = ("letters", "bounds", "water", "column", "likeness", "ram", "kick", "clamp", "ringing", "damping", "discharge", "switching",
         "ideal_duty", "stress", "real_parts", "gain_peak", "recovery", "field", "energy", "sizing", "light_load",
         "light_load_small_signal", "light_load_fast", "unloaded", "ripple", "ripple_esr", "input_ripple", "duty_with_losses",
         "magnetics", "core_size", "layers", "copper", "iron", "frequency", "crossing", "coil_size", "averaging", "swings", "landmarks",
         "standard_form", "small_signal", "asymptotes", "rhp_zero", "second_order", "injection", "current_mode", "held_current",
         "compensation", "compensation_parts", "amplifiers", "sized_network", "load_step", "inrush", "inrush_heat", "soft_start",
         "slow_closing", "output_short", "runaway", "source_faults", "lockout", "fuse", "small_difference")  # fmt: skip

__all__ = ["letters"]
