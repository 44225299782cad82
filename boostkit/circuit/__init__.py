"""The circuit and its exact solution. Files in reading order: each builds on those before it."""

from . import switched
from .converter import Converter
from .interrupted import Coil, CoilWaveforms, Interrupted
from .results import SteadyState, Summary, Transient, Waveforms

FILES = ("saturation", "converter", "linear", "controller", "flow", "interrupted", "modes", "results", "walk", "periodic", "leap",
         "transients", "many", "switched", "ports", "variation", "averaged", "perturbed", "polynomials", "series", "planar",
         "loop_modes", "sampler", "loop_walk", "loop_march", "loop_leap", "loop_periodic", "course", "regulated", "faults", "validity")

__all__ = ["Coil", "CoilWaveforms", "Converter", "Interrupted", "SteadyState", "Summary", "Transient", "Waveforms", "switched"]
