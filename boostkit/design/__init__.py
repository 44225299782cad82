"""From what is asked for to a finished design. In reading order."""

from .judge import Corner, Verdict
from .loop import Loop, regulate
from .procedure import Design, Line, Part, design
from .realise import Real, realise
from .spec import Spec

FILES = ("spec", "judge", "lot", "tolerance", "procedure", "hazard", "at_source", "at_output", "protection", "choice", "banks", "stock",
         "complete", "sweep", "given_coil", "step", "ways", "loop_told", "held", "regulator", "loop", "told", "realise")  # fmt: skip

__all__ = ["Corner", "Design", "Line", "Loop", "Part", "Real", "Spec", "Verdict", "design", "realise", "regulate"]
