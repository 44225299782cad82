"""What a design needs against switch-on and faults: each protection with its size, its reason and its caution.

The formulas of `derivations` size it; the exact course of the fault (`circuit.faults`) stands beside them. What a specification does not
say (the battery's resistance, the surges of the installation) is taken as invented, and said so.
"""

from __future__ import annotations

from ..circuit import Converter
from . import at_output, at_source
from .hazard import UNKNOWN, Known, Protection, case_of
from .judge import Corner
from .procedure import EXTRA_LOW
from .spec import Spec


def protections(
    spec: Spec, converter: Converter, corners: list[Corner] | None = None, *, i_limit: float | None = None, v_limit: float | None = None,
    most_duty: float | None = None, r_source: float | None = None, known: Known = UNKNOWN,
) -> tuple[Protection, ...]:  # fmt: skip
    """Every protection that this converter needs. `corners`: those of the design, measured here where left out. `i_limit` (A) and
    `most_duty`: of its controller. `v_limit` (V): what the weakest part at the output bears. `r_source` (Ω): of battery and leads.
    `known`: of real parts.

    Raises ValueError where the current limit lies below the peak that the design needs in service, for a largest duty outside 0 to 1, a
    voltage limit below the output, and corners without those of full load."""
    case = case_of(spec, converter, corners, i_limit, v_limit, most_duty, r_source, known)
    ways = [at_source.source_fuse, at_source.series_switch, at_source.reversal, at_source.undervoltage, at_source.surge,
            at_output.slow_start, at_output.current_limit, at_output.cut_off, at_output.output_clamp]  # fmt: skip
    return tuple(way(case) for way in ([*ways, at_output.drain] if spec.v_out > EXTRA_LOW else ways))
