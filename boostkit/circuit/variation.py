"""What one period of the circuit makes of small changes, exactly: the derivative of a period, at any frequency.

About a known course the circuit is linear, with coefficients that change at each switching instant. Seen in a frame that turns with
the disturbance, e^(s t), a piece is w' = (a - s) w + b u with u constant. A switching instant that moves by dt leaves the state
changed by (rate before - rate after) dt, and keeps an output on its old side for dt longer.
"""

from __future__ import annotations

import numpy as np

from .flow import growth
from .modes import Circuit, Piece
from .ports import INPUTS, OUTPUTS, Port, Ports


def opening(pieces: tuple[Piece, ...]) -> int | None:
    """The number of the piece that the opening switch ends; None where it never closes."""
    closed = [k for k, piece in enumerate(pieces) if piece.mode.kind.switch == "closed"]
    return closed[-1] if closed else None


class Variation:
    """One period at complex frequencies `s` (rad/s, shape (k,)), as matrices over (state at its start; cause of the opening, v_in, i_out).

    `end`: the state at its end, (k, n, n + 3), and `opened`: the state where the switch opens. `mean`: the mean over the period,
    weighted by e^(-s t), of each state and of v_out, (k, n + 1, n + 3). The cause of the opening is the duty; or, with a
    `slope` (A/s) given, the current at which it opens, less the slope times the time since the clock.
    """

    def __init__(self, circuit: Circuit, pieces: tuple[Piece, ...], length: float, s: np.ndarray, slope: float | None = None):
        self.pieces, self.length, self.s, self.slope = pieces, length, s, slope
        self.ports, self.n, self.opens = Ports(circuit), circuit.n, opening(pieces)
        n = self.n
        self.end = np.broadcast_to(np.eye(n, n + 3, dtype=complex), (len(s), n, n + 3)).copy()
        self.mean = np.zeros((len(s), n + 1, n + 3), complex)
        for k, piece in enumerate(pieces):
            self._through(piece)
            if k == self.opens:
                self.opened = self.end
            if k + 1 < len(pieces):  # the period's own end does not move
                self._over(k)

    def _through(self, piece: Piece) -> None:
        """Through a piece, by the exponential over (w, its integrals, inputs)."""
        n, port, scale = self.n, self.ports(piece.mode), piece.mode.flow.scale[:-1]
        seen, through, sizes = _watched(port, scale)
        f = np.zeros((len(self.s), 2 * n + 4, 2 * n + 4), complex)
        f[:, :n, :n] = port.a * scale / scale[:, None] - self.s[:, None, None] * np.eye(n)
        f[:, :n, 2 * n + 2:] = port.inputs / scale[:, None]
        f[:, n: 2 * n + 1, :n] = seen * scale / sizes[:, None] / self.length
        f[:, n: 2 * n + 1, 2 * n + 2:] = through / sizes[:, None] / self.length
        g = growth(f, np.full(len(self.s), piece.duration))
        inputs = np.broadcast_to(np.eye(n + 3)[n:], (len(self.s), 3, n + 3))
        z = np.concatenate([self.end / scale[:, None], np.zeros_like(self.mean), inputs], axis=1)
        move = g @ z
        self.end = self.end + move[:, :n] * scale[:, None]
        self.mean = self.mean + move[:, n: 2 * n + 1] * sizes[:, None]

    def _over(self, k: int) -> None:
        """Over the end of a piece, where it moves."""
        piece, after = self.pieces[k], self.pieces[k + 1]
        moved = self._moves(k)
        jump = np.subtract(piece.mode.flow.rate(piece.end_state), after.mode.flow.rate(after.state))
        self.end = self.end + jump[:, None] * moved[:, None, :]
        old, new = (np.array(p.mode.rows[OUTPUTS[0]]) for p in (piece, after))
        step = old[:-1] @ np.array(piece.end_state) + old[-1] - new[:-1] @ np.array(after.state) - new[-1]
        self.mean[:, self.n] += step * moved / self.length

    def _moves(self, k: int) -> np.ndarray:
        """By how much the end of piece k moves: by the current, by the duty, by a guard, or not at all."""
        piece, n = self.pieces[k], self.n
        moved = np.zeros((len(self.s), n + 3), complex)
        rate = np.array(piece.mode.flow.rate(piece.end_state))
        if k == self.opens and self.slope is not None:
            moved = -self.end[:, 0]
            moved[:, n] += 1
            moved = moved / (rate[0] + self.slope)
        elif k in (self.opens, self._takeover):  # what ends a dead time moves as much as what began it, and later
            dead = sum(p.duration for p in self.pieces[self.opens + 1: k + 1])
            moved[:, n] = self.length * np.exp(-self.s * dead)
        elif piece.ended_by is not None:
            normal = np.array(piece.ended_by[:-1])
            moved = np.einsum("n,fnm->fm", normal, self.end)
            moved = -moved / (normal @ rate)  # a guard that an input enters is crossed where the rates of both sides agree: no jump
        return moved

    @property
    def _takeover(self) -> int | None:
        """The piece at whose end a second switch takes over from its body diode after the opening."""
        later = range(len(self.pieces) if self.opens is None else self.opens + 1, len(self.pieces) - 1)
        kinds = [piece.mode.kind.rectifier for piece in self.pieces]
        return next((k for k in later if kinds[k] != "channel" and kinds[k + 1] == "channel"), None)


def _watched(port: Port, scale: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """States and output voltage as rows over the states, what the inputs add to them, and their sizes."""
    n = len(scale)
    through = np.zeros((n + 1, len(INPUTS)))
    through[n] = port.through[0]
    return np.vstack([np.eye(n), port.c[0]]), through, np.append(scale, scale[1])
