"""From what is asked for to a finished design. Files in reading order: spec, judge, procedure."""

from .judge import Corner, Verdict
from .procedure import Design, Line, Part, design
from .spec import Spec

__all__ = ["Corner", "Design", "Line", "Part", "Spec", "Verdict", "design"]
