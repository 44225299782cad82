"""The exact waveform at any instants, so that it can be laid over a capture."""

from __future__ import annotations

import numpy as np

from ..circuit import SteadyState


def at_times(state: SteadyState, names: tuple[str, ...], time: np.ndarray) -> dict[str, np.ndarray]:
    """Quantities of a steady state at any times (s, shape (N,), 0 where the switch closes, before or after), exactly.

    `names` as in Waveforms: `v_out`, `i_inductor`, `v_switch` ... Result: an array (N,) by name, SI units. At a switching instant
    itself the value just after it.
    """
    within = np.asarray(time, dtype=float) % state.period
    starts = np.array([piece.start for piece in state.pieces])
    which = np.clip(np.searchsorted(starts, within, side="right") - 1, 0, len(starts) - 1)
    values = {name: np.empty(within.shape) for name in names}
    for k, piece in enumerate(state.pieces):
        here = which == k
        if here.any():
            states = np.vstack([piece.mode.flow.path(piece.state, within[here] - piece.start), np.ones(int(here.sum()))])
            for name in names:
                values[name][here] = np.array(piece.mode.rows[name]) @ states
    return values
