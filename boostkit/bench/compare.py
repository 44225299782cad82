"""What was measured beside what was predicted: one value, a table of all, and the waveforms over one another.

A verdict holds a difference against its uncertainty. "Agrees" is said only where the measurement was good enough to have shown a
difference; where it was not, the verdict is "cannot tell".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..circuit import SteadyState
from ..circuit.modes import QUANTITIES
from ..circuit.results import Summary
from ..circuit.switched import summary
from ..units import guard, read, show
from .capture import Capture
from .deciding import AGREES, CANNOT_TELL, DIFFERS, decided
from .edges import find_edges
from .features import Measured
from .prediction import at_times
from .uncertain import Uncertain, expanded, show_with, uncertain

TOLERANCE = 0.1  # of the predicted value: the largest expanded uncertainty at which two values are said to agree; our rule
NOTHING = 1e-6  # of the rms value: a smaller mean is zero but for rounding, as that of a capacitor's current
STRETCH = 1e-3  # by which the prediction's period may be off the capture's before a note says so
CLEAR = 1.5  # transition times on either side of a switching instant that say nothing about the prediction


@dataclass(frozen=True)
class Verdict:
    """`kind`: `agrees`, `differs` or `cannot tell`; `words` and `why` for a reader. `difference`: measured less predicted, with its
    standard uncertainty (None where what was compared is a word); `expanded`: that at k = 2; `most`: the expanded uncertainty
    beyond which nothing can be told. The latter three in the unit of the value."""

    kind: str
    words: str
    why: str
    difference: Uncertain | None = None
    expanded: float = 0.0
    most: float = 0.0

    def __str__(self) -> str:
        return self.words


@dataclass(frozen=True)
class Row:
    """One line of the table: `measured` and `predicted` in `unit` (two words where `name` is `mode`), and the verdict."""

    name: str
    measured: Uncertain | str
    predicted: float | str
    unit: str
    verdict: Verdict

    def __str__(self) -> str:
        measured, predicted = self.measured, self.predicted
        if not isinstance(predicted, str):
            measured, predicted = show_with(measured, self.unit), show(predicted, self.unit, 4)
        return f"{self.name}: measured {measured}, predicted {predicted}: {self.verdict}"


@dataclass(frozen=True)
class Overlay:
    """A capture and the exact waveform on one time.

    `time` (N,) in s, running, 0 where the switch first closes in the capture; `phase` (N,), 0 to 1, the share of the period since
    it last closed. `measured`, `predicted` and `residuals` (measured less predicted): an array (N,) by channel, SI units. `clear`
    (N,): true away from the switching instants, where neither an edge nor a spike hides the waveform. `shift`: s in the capture
    at which `time` is 0. `period`: as measured, s. `notes`: what a reader has to know about it.
    """

    time: np.ndarray
    phase: np.ndarray
    measured: dict[str, np.ndarray]
    predicted: dict[str, np.ndarray]
    residuals: dict[str, np.ndarray]
    clear: np.ndarray
    shift: float
    period: float
    units: dict[str, str]
    notes: tuple[str, ...] = ()

    def rms(self, name: str) -> float:
        """The rms residual of a channel away from the switching instants: noise, errors of the instrument, and what the
        prediction has wrong."""
        return float(np.sqrt(np.mean(self.residuals[name][self.clear] ** 2)))

    def folded(self, name: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """All periods laid over one another: phase sorted from 0 to 1, measured and predicted values."""
        order = np.argsort(self.phase, kind="stable")
        return self.phase[order], self.measured[name][order], self.predicted[name][order]


def verdict(measured: Uncertain | float, predicted: float | Uncertain, tolerance: float | str | None = None, *,
            scale: float | None = None) -> Verdict:  # fmt: skip
    """Whether a measured value agrees with a predicted one (same unit).

    Args: `predicted`, exact or uncertain itself; what the two share, such as one probe's error, is counted as shared.
    `tolerance`: the largest expanded uncertainty that may still decide, as a share of the predicted value (`0.05` or `"5 %"`), above 0;
    one tenth where it is not given, a rule of this kit. `scale`: the size that shares refer to, where the predicted value is
    zero or small by chance.
    Result: with the difference and its expanded uncertainty U (k = 2, about 95 %), `differs` where the difference is larger than
    U, else `agrees` where U is within the tolerance, else `cannot tell`: see `deciding`. Marking a learner's measured answer goes
    by the same rule, with three times the task's tolerance. Tolerance is not added to U: a small difference that a good
    measurement shows is a difference.
    Raises ValueError for numbers that are not finite, and for a predicted value of zero without a `scale`.

    >>> verdict(uncertain(1.032, 0.0055, "probe"), 1.0).words
    'differs by 3.2 % (more than the uncertainty of 1.1 %)'
    """
    share = guard("tolerance", TOLERANCE if tolerance is None else read(tolerance, "", "tolerance"), 0, open_low=True)
    size = _size(float(getattr(predicted, "n", predicted)), scale)
    guard("measured value", float(getattr(measured, "n", measured)))
    difference = measured - predicted + uncertain(0.0, 0.0, "exact")
    wide = expanded(difference)
    kind = decided(difference.n, wide, share * size)
    return Verdict(kind, *_words(kind, abs(difference.n) / size, wide / size, share), difference, wide, share * size)


def table(measured: Measured, state: SteadyState, tolerance: float | str | None = None) -> tuple[Row, ...]:
    """Every reading of a capture beside the exact steady state: conduction mode, switching frequency, duty, end of conduction, and
    of each channel mean, rms and ripple (peak to peak).

    Args: `tolerance`, as in `verdict`. What the circuit does not predict, such as ringing, is left out.
    """
    rows = [Row("mode", measured.mode, state.mode, "", _of_mode(measured.mode, state.mode))]
    for name, (predicted, scale) in _predictions(measured, state).items():
        reading = measured[name]
        rows.append(Row(name, reading.value, predicted, reading.unit, verdict(reading.value, predicted, tolerance, scale=scale)))
    return tuple(rows)


def overlay(capture: Capture, state: SteadyState, measured: Measured | None = None) -> Overlay:
    """The exact steady state laid over a capture, period on period.

    Both start where the switch closes, as found in the capture; the prediction is stretched to the measured period, which moves its
    levels by nothing. Predict at the measured frequency and duty where these differ from what was planned.
    Args: `measured`, what `measure` found in the same capture, where it is known already. Channels that are no quantity of the
    circuit, such as the gate voltage, are left out; of a channel that blocks direct voltage the mean is taken off the prediction.
    Raises ValueError where no channel is a quantity of the circuit, none shows the switching, or all samples lie at its instants.
    """
    edges = measured.edges if measured else find_edges(capture)
    names = tuple(name for name in capture.channels if name in QUANTITIES)
    if not names:
        raise ValueError(f"{capture.where}: {', '.join(capture.channels)} must hold a quantity of the circuit: {', '.join(QUANTITIES)}")
    running = edges.phase(capture.time)
    predicted = at_times(state, names, running * state.period)
    notes = _stretched(edges.period, state)
    for name in names:
        if capture.instrument.channel(name).coupling == "AC":
            predicted[name] = predicted[name] - _summary(state, name).mean
            notes.append(f"{name}: the input blocks direct voltage, so the mean is taken off the prediction too")
    phase = running % 1
    clear = _clear(phase, (0.0, edges.duty, state.duty, state.conduction_end % 1), CLEAR * edges.width / edges.period)
    if not clear.any():
        raise ValueError(f"{capture.where}: no sample lies clear of the switching instants, at {edges.period / capture.interval:.1f} in a "
                         "period: record faster")
    return Overlay(
        time=capture.time - edges.start, phase=phase, measured={name: capture.channel(name) for name in names}, predicted=predicted,
        residuals={name: capture.channel(name) - predicted[name] for name in names},
        clear=clear,
        shift=edges.start, period=edges.period, units={name: capture.units[name] for name in names}, notes=tuple(notes),
    )  # fmt: skip


def _size(predicted: float, scale: float | None) -> float:
    """What shares refer to."""
    guard("predicted value", predicted)
    if scale is None and predicted == 0:
        raise ValueError("predicted value = 0 must be other than zero, or come with a scale: a share of nothing says nothing")
    return guard("scale", abs(predicted if scale is None else scale), 0, open_low=True)


def _words(kind: str, difference: float, wide: float, most: float) -> tuple[str, str]:
    """The verdict in words, and why; all as shares."""
    if kind == CANNOT_TELL:
        wide, most = _told_apart(wide, most)
        return kind, f"the uncertainty of {wide} is more than the {most} that would decide"
    difference, uncertainty = _told_apart(difference, wide)
    if kind == AGREES:
        return kind, f"the difference of {difference} is within the uncertainty of {uncertainty}"
    if not wide:
        return f"differs by {difference} (no uncertainty is stated)", f"there is a difference of {difference}, and no uncertainty is stated"
    return f"differs by {difference} (more than the uncertainty of {uncertainty})", \
        f"the difference of {difference} is more than the uncertainty of {uncertainty}"


def _told_apart(one: float, other: float) -> tuple[str, str]:
    """Two shares in words, with as many digits as it takes to see which is larger."""
    digits = next((n for n in range(2, 10) if show(one, "%", n) != show(other, "%", n)), 2)
    return show(one, "%", digits), show(other, "%", digits)


def _of_mode(measured: str, predicted: str) -> Verdict:
    if measured == CANNOT_TELL:
        return Verdict(CANNOT_TELL, CANNOT_TELL, "the capture does not show whether the current rests")
    if measured == predicted:
        return Verdict(AGREES, AGREES, f"both are {predicted}")
    return Verdict(DIFFERS, f"differs: {measured}, not {predicted}", f"conduction is {measured}, and was predicted {predicted}")


def _predictions(measured: Measured, state: SteadyState) -> dict[str, tuple[float, float | None]]:
    """Value and scale of each reading that the circuit predicts, in the order of the readings. A quantity that is always zero is
    one that this circuit does not have."""
    found = {"f_sw": (1 / state.period, None), "duty": (state.duty, None), "conduction_end": (state.conduction_end, None)}
    for quantity in {name.partition(".")[0]: None for name in measured.readings if name.partition(".")[0] in QUANTITIES}:
        s = _summary(state, quantity)
        for what, value in (("mean", s.mean), ("rms", s.rms), ("ripple", s.ripple)):
            if s.rms:
                found[f"{quantity}.{what}"] = value, None if abs(value) > NOTHING * s.rms else s.rms
    return {name: found[name] for name in measured.readings if name in found}


def _summary(state: SteadyState, quantity: str) -> Summary:
    """Mean, rms and extremes of any quantity of the circuit over one period, exactly."""
    moments = [piece.mode.flow.moments(piece.state, piece.duration) for piece in state.pieces]
    return summary(state.pieces, moments, quantity, state.period)


def _stretched(period: float, state: SteadyState) -> list[str]:
    """A note where the prediction is for clearly another frequency than the capture's."""
    if abs(state.period / period - 1) < STRETCH:
        return []
    return [f"predicted for {show(1 / state.period, 'Hz', 4)}, stretched to the measured {show(1 / period, 'Hz', 4)}"]


def _clear(phase: np.ndarray, corners, room: float) -> np.ndarray:
    """Which phases are further than `room` from every corner, around the end of the period too."""
    clear = np.ones(len(phase), dtype=bool)
    for corner in corners:
        clear &= np.abs((phase - corner + 0.5) % 1 - 0.5) > room
    return clear
