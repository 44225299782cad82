"""From what is asked for to a finished design. In reading order."""

from .judge import Corner, Verdict
from .procedure import Design, Line, Part, design
from .realise import Real, realise
from .spec import Spec

FILES = ("spec", "judge", "lot", "tolerance", "procedure", "choice", "banks", "stock", "complete",
         "sweep", "given_coil", "told", "realise")  # fmt: skip

__all__ = ["Corner", "Design", "Line", "Part", "Real", "Spec", "Verdict", "design", "realise"]
