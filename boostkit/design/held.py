"""What a regulator is and how it is judged: its margins by corner, its step, and what it lacks, in words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from math import sqrt

from ..circuit.controller import Controller, Sampled
from ..control.compensator import Compensator
from ..control.networks import Divider, Network
from ..control.placement import Reach
from ..units import show
from . import loop_told, step
from .judge import Verdict
from .procedure import Line, Part, illustrative
from .spec import Spec
from .step import Moved
from .ways import CONTROL

PHASE, GAIN = 45.0, 2.0  # degrees and factor that the loop keeps at every corner: common practice, no source
STRAYED_PHASE, STRAYED_GAIN = PHASE / 2, sqrt(GAIN)  # half of both (of a factor: half its decibels), with parts at their worst
LEAST = 0.1  # of the crossover within reach, that one which nobody has fixed has at least: common practice, no source


def tolerances() -> dict[str, float]:
    """Of the parts round the invented controller, and of its comparator's gain: shares."""
    data = illustrative()["regulator"]
    return {name: data[f"{name}_tolerance"] for name in ("resistor", "capacitor", "reference", "gain")}


@dataclass(frozen=True)
class Held:
    """The loop at one corner: crossover, the lowest frequency at which its gain comes down to one (`holds_to`), and right-half-plane zero
    in Hz (None: there is none), phase margin in degrees, gain margin as a factor (None: no limit seen). Of several output capacitances
    the one with the least phase margin counts."""

    v_in: float
    i_out: float
    mode: str
    duty: float
    crossover: float
    holds_to: float
    phase_margin: float
    gain_margin: float | None
    right_half_plane_zero: float | None
    stable: bool


@dataclass(frozen=True)
class Loop:
    """A regulator and what it does.

    control: "voltage" (a ramp is compared with the control voltage), "current" (the coil current and a ramp are) or "digital".
    kind: of the compensator. reach: what keeps the crossover low. network: its parts, None for a digital one. compensator: what those
    parts do. corners: margins, one for each combination of source voltage and load. spread_phase_margin (degrees), spread_gain_margin
    (a factor; None: no limit seen): the least over the corners and every combination of parts at the ends of their tolerance, the phase
    margin at spread_at, the gain margin at spread_gain_at, in words; spread_stable: whether it is at all of them. All five are None where
    the margins fall short with the parts as marked. inductance: of the coil, H. inner: why the ramp of peak-current control is what it
    is. ripple: the most of the output's at the comparator, as a share of its swing (0 for a digital one). resolution: steps of reading (V)
    and duty of a digital one, else None. unstepped: why a step was not measured. moved: the load step, measured. refused: simpler ways
    and why not. advice: what would bring within its limits what is not.
    """

    spec: Spec
    control: str
    kind: str
    reach: Reach
    divider: Divider
    network: Network | None
    compensator: Compensator
    controller: Controller | Sampled
    corners: tuple[Held, ...]
    inductance: float
    spread_phase_margin: float | None = None
    spread_gain_margin: float | None = None
    spread_at: str | None = None
    spread_gain_at: str | None = None
    spread_stable: bool | None = None
    inner: tuple[str, ...] = ()
    ripple: float = 0.0
    resolution: tuple[float, float] | None = None
    unstepped: str = ""
    moved: tuple[Moved, ...] = ()
    refused: Mapping[str, str] = field(default_factory=dict)
    advice: tuple[str, ...] = ()

    @property
    def stray(self) -> dict[str, float]:
        """The tolerances that the spread is reckoned with, as shares; invented."""
        return tolerances()

    @property
    def name(self) -> str:
        """The way in words."""
        return f"{CONTROL[self.control]}, {self.kind}"

    @property
    def right_half_plane_zero(self) -> float | None:
        """The lowest at any corner, Hz."""
        return min((h.right_half_plane_zero for h in self.corners if h.right_half_plane_zero), default=None)

    @property
    def crossover(self) -> float:
        """The highest of any corner, Hz."""
        return max(h.crossover for h in self.corners)

    @property
    def stable(self) -> bool:
        """Whether it is, at every corner."""
        return all(h.stable for h in self.corners)

    @property
    def short(self) -> str:
        """What the loop lacks whatever the step: a duty, a margin, pace; in words, nothing where nothing."""
        return self.out_of_drive or self._unsteady or self._tardy

    @property
    def out_of_drive(self) -> str:
        """Where the output takes a longer on-time than the drive gives, in words."""
        hard = max(self.corners, key=lambda h: h.duty)
        if hard.duty <= self.controller.most_duty:
            return ""
        return (f"it takes a duty of {show(hard.duty)} at {show(hard.v_in, 'V')} and {show(hard.i_out, 'A')}, and the drive gives "
                f"{show(self.controller.most_duty)} at most: there the output is not held")  # fmt: skip

    @property
    def _tardy(self) -> str:
        """Where nobody has fixed the crossover and no step is there to judge it by: whether it is too low."""
        least, pace = LEAST * self.reach.crossover, max(h.holds_to for h in self.corners)  # a resonance that peeps above one holds nothing
        if self.spec.crossover or self.spec.step_deviation is not None or pace >= 0.999 * least:  # 0.999: as it was placed
            return ""
        return f"a crossover of only {show(pace, 'Hz')}, and {show(least, 'Hz')}, a tenth of what is within reach, are asked for"

    @property
    def _unsteady(self) -> str:
        """Where a margin is too small, in words."""
        for h in sorted(self.corners, key=lambda h: (h.stable, h.phase_margin)):
            where = f"at {show(h.v_in, 'V')} and {show(h.i_out, 'A')}"
            if words := _lacking(h.stable, h.phase_margin, h.gain_margin, PHASE, GAIN, where):
                return words
        if self.spread_at is None:
            return ""
        return _lacking(self.spread_stable, self.spread_phase_margin, self.spread_gain_margin, STRAYED_PHASE, STRAYED_GAIN,
                        f"with parts at the ends of their tolerance ({self.spread_at})",
                        f"with parts at the ends of their tolerance ({self.spread_gain_at})")  # fmt: skip

    @property
    def astray(self) -> float:
        """By how much the set point itself may be off, V, with divider and reference at the ends of their tolerance."""
        return self.divider.v_set * self.divider.spread(self.stray["resistor"], self.stray["reference"])

    @property
    def verdicts(self) -> list[Verdict]:
        """On the step deviation, if one is demanded and was measured."""
        return step.verdict(self.spec, self.moved, self.astray)

    @property
    def unjudged(self) -> str:
        """Why a step could not be judged, in words; nothing where it was, or none is demanded."""
        if self.unstepped or self.moved or self.spec.step_deviation is None:
            return self.unstepped
        return self.short or "it was not measured"

    @property
    def watched(self) -> float:
        """For how long after a step the output is followed, s."""
        return step.ANSWER / min(self.reach.crossover, self.crossover)

    @property
    def slow(self) -> str:
        """Where the output does not come back in good time after a step, in words; nothing where it does."""
        late = max(self.moved, key=lambda m: m.left, default=None)
        if late is None or self.spec.step_deviation is None or late.left <= step.LEFT * self.spec.step_deviation:
            return ""
        return (f"{show(self.watched, 's')} after the step the output is still {show(late.left, 'V')} off at {show(late.v_in, 'V')}; by "
                f"then {show(step.LEFT * self.spec.step_deviation, 'V')} may be left at most, a fifth of the deviation that is allowed")

    @property
    def met(self) -> bool:
        """Whether the drive can do it, every margin holds, a step that is demanded was measured and stays within its limit, and the output
        comes back."""
        return not (self.short or self.slow or self.unjudged) and all(verdict.met for verdict in self.verdicts)

    @property
    def lines(self) -> list[Line]:
        """Worked lines and sentences for the sheet."""
        return loop_told.lines(self)

    @property
    def parts(self) -> list[Part]:
        """The parts of the regulator."""
        return loop_told.parts(self)

    @property
    def cautions(self) -> list[str]:
        """What falls short, and what is not shown."""
        return loop_told.cautions(self)

    def to_dict(self) -> dict:
        """Everything as plain data for `design.json`."""
        return loop_told.to_dict(self)


def _lacking(stable: bool, phase: float, gain: float | None, least_phase: float, least_gain: float, where: str, there: str = "") -> str:
    """What a loop lacks, in words; nothing where it lacks nothing. where: the phase margin is; there: the gain margin is, if elsewhere."""
    if not stable:
        return f"unstable {where}"
    if phase < least_phase:
        return f"a phase margin of only {show(phase)}° {where}, and {show(least_phase)}° are asked for"
    if gain is not None and gain < least_gain:
        return f"a gain margin of only {show(gain)} times {there or where}, and {show(least_gain)} times are asked for"
    return ""
