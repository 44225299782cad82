"""From what is asked for to a finished design. In reading order."""

from .judge import Corner, Verdict
from .procedure import Design, Line, Part, design
from .spec import Spec

FILES = ("spec", "judge", "procedure")

__all__ = ["Corner", "Design", "Line", "Part", "Spec", "Verdict", "design"]
