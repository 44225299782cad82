"""The figures of a finished design, for its sheet of paper."""

from __future__ import annotations

from ..circuit import switched
from ..design import Design, Spec
from . import feedback, figures, schematics, traces


def of_design(design: Design) -> list[tuple[str, str, bytes]]:
    """Caption, alternative text and vector picture (SVG) of each figure: circuit, feedback where the design has real parts for it,
    one period, corners."""
    state = switched.steady_state(design.converter)
    states = ("closed", "conducting") if state.mode == "continuous" else ("closed", "conducting", "idle")
    corners = [vars(corner) for corner in design.corners]
    drawn = [
        ("The circuit in its states, the live path marked.", schematics.circuit_states(states, design.converter.rectifier.kind)),
        *_feedback(getattr(design, "loop", None)),
        ("One period at usual source voltage and full load.", traces.waveforms(state)),
        ("Every corner, measured on the exact circuit.", figures.corners(corners, limits=_limits(design.spec))),
    ]
    return [(caption, figure.says, figure.vector()) for caption, figure in drawn]


def _feedback(loop) -> list:
    """The regulator's own circuit; a digital one has none."""
    if loop is None or loop.network is None:
        return []
    return [("The regulator’s feedback with the parts listed.", feedback.circuit(loop.network, loop.control))]


def _limits(spec: Spec) -> dict:
    """Limits as the corners' figure wants them: the number, and the one corner that it applies to."""
    limits = {"ripple_voltage": (spec.ripple, None), "efficiency": (spec.efficiency, (spec.v_in.usual, spec.i_out.max))}
    return {name: limit for name, limit in limits.items() if limit[0] is not None}
