"""What a quantity, a formula, a step and a derivation are. Files in reading order: each builds on those before it."""

from boostkit.algebra.calculation import Calculation
from boostkit.algebra.calculus import averaging, differentiating, extremum, integrating, limit, linearising
from boostkit.algebra.derivation import Derivation, Step
from boostkit.algebra.dimensions import check_equation, dimension_of
from boostkit.algebra.formula import Bound, Condition, Formula, Worked
from boostkit.algebra.laws import LAWS, Law
from boostkit.algebra.quantity import Quantity, known, letter, symbols
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
from boostkit.algebra.written import Equation, Written

FILES = ("quantity", "printing", "written", "dimensions", "calculation", "formula", "laws", "trial", "reasons",
         "calculus", "derivation")

__all__ = [  # in reading order
    "LAWS",
    "Bound",
    "Calculation",
    "Condition",
    "Derivation",
    "Equation",
    "Formula",
    "Law",
    "Quantity",
    "Reason",
    "Step",
    "Worked",
    "Written",
    "assumption",
    "averaging",
    "check_equation",
    "definition",
    "differentiating",
    "dimension_of",
    "earlier",
    "extremum",
    "integrating",
    "known",
    "law",
    "letter",
    "limit",
    "linearising",
    "simplifying",
    "solving",
    "substituting",
    "symbols",
]
