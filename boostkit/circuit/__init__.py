"""The circuit and its exact solution. Files in reading order: each builds on those before it."""

from . import switched
from .converter import Converter
from .interrupted import Coil, CoilWaveforms, Interrupted
from .results import SteadyState, Summary, Transient, Waveforms

FILES = ("saturation", "converter", "flow", "interrupted", "modes", "results", "walk", "periodic", "leap", "transients", "many", "switched",
         "validity")

__all__ = ["Coil", "CoilWaveforms", "Converter", "Interrupted", "SteadyState", "Summary", "Transient", "Waveforms", "switched"]
