"""What a quantity, a formula, a step and a derivation are. Files in reading order: each builds on those before it."""

from boostkit.algebra.answer import Hint, Verdict, hint, judge, next_line
from boostkit.algebra.calculation import Calculation
from boostkit.algebra.calculus import (
    averaging,
    differentiating,
    extremum,
    integrating,
    limit,
    linearising,
    reaching,
    solving_in_time,
)
from boostkit.algebra.derivation import Derivation, Step
from boostkit.algebra.dimensions import check_equation, dimension_of
from boostkit.algebra.formula import Bound, Condition, Formula, Worked
from boostkit.algebra.laws import LAWS, Law
from boostkit.algebra.quantity import Quantity, is_known, known, letter, symbols
from boostkit.algebra.reasons import (
    Reason,
    assumption,
    definition,
    earlier,
    law,
    simplifying,
    solving,
    substituting,
)
from boostkit.algebra.waves import angle_of_wave, size_of_wave, small_swings
from boostkit.algebra.written import Equation, Written

FILES = ("quantity", "printing", "written", "dimensions", "calculation", "formula", "laws", "trial", "reasons",
         "calculus", "waves", "derivation", "weight", "typed", "sameness", "mistakes", "answer")

__all__ = [  # in reading order
    "LAWS",
    "Bound",
    "Calculation",
    "Condition",
    "Derivation",
    "Equation",
    "Formula",
    "Hint",
    "Law",
    "Quantity",
    "Reason",
    "Step",
    "Verdict",
    "Worked",
    "Written",
    "angle_of_wave",
    "assumption",
    "averaging",
    "check_equation",
    "definition",
    "differentiating",
    "dimension_of",
    "earlier",
    "extremum",
    "hint",
    "integrating",
    "is_known",
    "judge",
    "known",
    "law",
    "letter",
    "limit",
    "linearising",
    "next_line",
    "reaching",
    "simplifying",
    "size_of_wave",
    "small_swings",
    "solving",
    "solving_in_time",
    "substituting",
    "symbols",
]
