"""Following the switched circuit from a given state, event by event, over any number of periods."""

from __future__ import annotations

from collections.abc import Callable
from numbers import Integral

from ..units import guard
from .converter import Converter
from .leap import leap
from .modes import Block, Circuit, Piece, single
from .periodic import periodic
from .results import Extreme, Transient
from .walk import clock_phases, period, phase

Progress = Callable[[int, int], None]
SHORTEST, LONGEST = 64, 1024  # periods a leap


def from_rest(converter: Converter, periods: int, *, keep: bool = True, progress: Progress | None = None) -> Transient:
    """Switch-on: no current, every capacitor empty, the switch closing at time 0; `periods` whole periods of the drive.

    With `keep=False` only the extremes, the last state and the last period's pieces are held, however many periods.
    `progress(done, periods)` is called about a hundred times. Raises ValueError where the drive gets stuck.
    """
    circuit = Circuit(converter)
    return _follow(circuit, (0.0,) * circuit.n, 0.0, [], whole(periods), keep, progress)


def after_step(
    before: Converter, after: Converter, periods: int, *, at: float = 0.0, keep: bool = True,
    progress: Progress | None = None,
) -> Transient:  # fmt: skip
    """A step in load, source or duty: from the steady state of `before`, on with `after`.

    Time 0 is where the switch closes; the step comes `at` this share of the first period (0 <= at < 1; other than 0 only
    where a clock and its duty drive both). Both converters have the same states (input capacitor, source inductance).
    """
    guard("at", at, 0, 1, open_high=True)
    periods = whole(periods)
    old, pieces, _ = periodic(before)
    new = Circuit(after)
    if old.n != new.n:
        raise ValueError(f"before has {old.n} states and after has {new.n}: a step cannot add or take away a part")
    x, kept = pieces[0].state, []
    if at == 0:
        return _follow(new, x, 0.0, kept, periods, keep, progress)
    if (before.switch.drive, after.switch.drive, before.switch.frequency) != ("duty", "duty", after.switch.frequency):
        raise ValueError("a step within a period (at > 0) needs the same clock and a duty before and after")
    moment = at / before.switch.frequency
    x = _part(old, x, 0.0, moment, kept)
    x = _part(new, x, moment, 1 / after.switch.frequency, kept)
    return _follow(new, x, 1 / after.switch.frequency, kept, periods, keep, progress)


def whole(periods, name: str = "periods") -> int:
    """A number of periods that may be followed; ValueError where it is none."""
    if not isinstance(periods, Integral) or isinstance(periods, bool) or periods < 1:
        raise ValueError(f"{name} = {periods} must be a whole number of at least 1")
    return int(periods)


def _part(circuit: Circuit, x: tuple, begin: float, end: float, out: list[Piece]) -> tuple:
    """The stretch from `begin` to `end` of one clocked period."""
    at = 0.0
    for gate, duration in clock_phases(circuit):
        start, stop = max(at, begin), min(at + duration, end)
        if stop > start:
            x, _, _ = phase(circuit, gate, x, start, stop - start, out)
        at += duration
    return x


def _follow(circuit: Circuit, x: tuple, start: float, begun: list, periods: int, keep: bool, progress) -> Transient:
    """Whole periods from a state, in leaps where the circuit allows it; `begun` are the pieces of a first one already run."""
    watches, kept, done, ahead = (_Watch("v_out"), _Watch("i_inductor")), [], int(bool(begun)), SHORTEST
    every = reported = max(1, periods // 100)
    if begun:
        _note(single(begun), watches, kept, keep)
    while done < periods:
        pieces: list[Piece] = []
        x, length = period(circuit, x, start, pieces)
        _note(single(pieces), watches, kept, keep)
        start, done = start + length, done + 1
        while done < periods:
            wanted = min(ahead, periods - done)
            found = leap(circuit, pieces, x, start, wanted)
            if found is None:
                ahead = SHORTEST
                break
            block, x, count = found
            _note(block, watches, kept, keep)
            start, done = start + count / circuit.converter.switch.frequency, done + count
            ahead = min(4 * ahead, LONGEST) if count == wanted else SHORTEST
            pieces = block.last()
            if count < wanted:
                break
        while progress and reported <= done:
            progress(reported, periods)
            reported += every
    return Transient(circuit.converter, periods, start, watches[0].extreme(), watches[1].extreme(), x, tuple(kept))


def _note(block: Block, watches, kept: list, keep: bool) -> None:
    """Look at a block, and keep it (or keep only it)."""
    for watch in watches:
        watch.see(block)
    if not keep:
        kept.clear()
    kept.append(block)


class _Watch:
    """Keeps the extremes of one quantity, each where it lies."""

    def __init__(self, quantity: str):
        self.quantity = quantity
        self.low, self.low_at, self.high, self.high_at = float("inf"), 0.0, float("-inf"), 0.0

    def see(self, block: Block) -> None:
        for span in block.spans:
            if span.starts.size == 1:
                self._see_one(span)
            else:
                self._see_many(span)

    def _see_one(self, span) -> None:
        row, flow, state = span.mode.rows[self.quantity], span.mode.flow, tuple(span.states[:, 0].tolist())
        start, duration = float(span.starts[0]), float(span.durations[0])
        for t in (0.0, *flow.extremes(row, state, duration), duration):
            self._take(flow.value(row, flow.advance(state, t) if t else state), start + t)

    def _see_many(self, span) -> None:
        row = span.mode.rows[self.quantity]
        turns, when, values = span.mode.flow.inner_extremes(row, span.states, span.ends, span.durations)
        self._take_all(values, span.starts[turns] + when)
        for states, times in ((span.states, span.starts), (span.ends, span.starts + span.durations)):
            self._take_all(row[0] * states[0] + row[1] * states[1] + row[2], times)

    def _take_all(self, values, times) -> None:
        if values.size:
            for k in (int(values.argmax()), int(values.argmin())):
                self._take(float(values[k]), float(times[k]))

    def _take(self, y: float, at: float) -> None:
        if y > self.high:
            self.high, self.high_at = y, at
        if y < self.low:
            self.low, self.low_at = y, at

    def extreme(self) -> Extreme:
        return Extreme(self.low, self.low_at, self.high, self.high_at)
