"""What the protections of a design are sized for, and what a protection is. In `at_source` and `at_output` each is sized."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from ..circuit import Converter, switched
from ..units import guard, show
from . import judge
from .judge import Corner
from .procedure import ABOVE_PEAK, Line, Part, illustrative, illustrative_edges
from .spec import Spec

GROUP = "Switch-on and faults"
LEAD = 0.05  # Ω of battery and leads, invented: measure yours
DROP = 0.05  # of the lowest source voltage that battery and leads take at full load, at the most: invented likewise
RATING = 1.5  # voltage limit of parts over the voltage they see: common practice, no source


@dataclass(frozen=True)
class Protection:
    """One protection: what it is, its value in words, against what, what to look for; worked lines; the caution that goes with it.

    danger: what of that belongs on the first page, life and limb. unmet: what it cannot do here, in words; nothing where it does all."""

    what: str
    value: str
    against: str
    look_for: str
    lines: tuple[Line, ...]
    caution: str
    danger: str = ""
    unmet: str = ""

    @property
    def met(self) -> bool:
        """Whether it protects."""
        return not self.unmet

    @property
    def part(self) -> Part:
        """The same as a row of the parts list."""
        return Part(self.what, self.value, "", f"against: {self.against}", self.look_for)

    @property
    def told(self) -> tuple[Line, ...]:
        """Its lines for the sheet under a heading of their own, with the caution and with what is not met."""
        group = f"{GROUP}: {self.what[:1].lower()}{self.what[1:]}"
        short = (Line(group, f"**Not met**: {self.unmet}.", ""),) if self.unmet else ()
        return (*(replace(line, group=group) for line in self.lines), *short, Line(group, f"Caution: {self.caution}", ""))

    def to_dict(self) -> dict:
        """As plain data for `design.json`."""
        return {"what": self.what, "value": self.value, "against": self.against, "look_for": self.look_for,
                "sized": [line.text or line.say for line in self.lines], "caution": self.caution, "met": self.met,
                "unmet": self.unmet}  # fmt: skip


@dataclass(frozen=True)
class Known:
    """What real parts tell beyond the circuit at work; None: nothing is known.

    marked, left: F of the output capacitor as marked, which is what it has while it is empty, and at its worst. input: of the input
    capacitor, as marked F, series resistance Ω, voltage limit V. coil: inductance at small current H and its saturation curve.
    i_saturation, i_rectifier: A that coil and rectifier bear. gate: of the switch, its charge C at drive voltage V."""

    marked: float | None = None
    left: float | None = None
    input: tuple[float, float, float] | None = None
    coil: tuple[float, tuple] | None = None
    i_saturation: float | None = None
    i_rectifier: float | None = None
    gate: tuple[float, float] | None = None


UNKNOWN = Known()


@dataclass(frozen=True)
class Case:
    """What the protections are sized for. peak: A, highest coil current in service. i_limit: A. v_limit: V that the weakest part at the
    output bears. most_duty: of the controller. r_source: Ω of battery and leads. full: the corner of full load at the lowest source
    voltage. top: the converter at the highest source voltage, r_source counted, at the output asked for. known: of real parts."""

    spec: Spec
    peak: float
    i_limit: float
    v_limit: float
    most_duty: float
    r_source: float
    full: Corner
    top: Converter
    known: Known = UNKNOWN

    @property
    def loop(self) -> dict[str, float]:
        """The letters of the path through coil and rectifier at the highest source voltage."""
        p, second = self.top.letters(), self.top.rectifier.kind == "switch"  # undriven, a second switch is its body diode
        r_loop = p["r_source"] + p["r_inductor"] + (0.0 if second else p["r_rectifier"])
        return {"v_in": p["v_in"], "v_rectifier": p["v_rectifier_body" if second else "v_rectifier"], "r_loop": r_loop}

    @property
    def coil(self) -> dict[str, float]:
        """Its inductance, by letter."""
        return {"inductance": self.top.inductor.inductance}

    @property
    def marked(self) -> float:
        """F of the output capacitor while it is empty, and the most that it ever holds."""
        return self.known.marked or self.top.capacitor.capacitance

    @cached_property
    def bent(self) -> Converter:
        """`top` with the coil's own curve, where that is known."""
        if self.known.coil is None:
            return self.top
        inductance, curve = self.known.coil
        return _held(self.top.change(inductance=inductance, saturation=curve), self.spec.v_out, self.top.switch.duty)

    @cached_property
    def empty(self) -> Converter:
        """What a source meets at switch-on: nothing drawn, every capacitor as marked, the coil's own curve."""
        coil = dict(zip(("inductance", "saturation"), self.known.coil or (), strict=False))
        filled = dict(zip(("c_input", "r_input_capacitor"), self.known.input or (), strict=False))
        return self.top.change(i_out=0.0, capacitance=self.marked, **coil, **filled)

    @property
    def thin(self) -> Converter:
        """`top` with the least that is left of its output capacitor: what a runaway lifts fastest."""
        return self.top.change(capacitance=self.known.left) if self.known.left else self.top


def case_of(
    spec: Spec, converter: Converter, corners: list[Corner] | None, i_limit: float | None, v_limit: float | None,
    most_duty: float | None, r_source: float | None, known: Known = UNKNOWN,
) -> Case:  # fmt: skip
    """Everything put together; what is left out is measured or taken as invented. ValueError for a limit below the peak in service, a
    duty or a voltage limit that cannot be, and corners without full load."""
    corners = judge.corners(spec, converter, illustrative_edges()) if corners is None else corners
    full, high = (_corner(corners, v, spec.i_out.max) for v in (spec.v_in.min, spec.v_in.max))
    peak = max(c.inductor_peak for c in corners)
    i_limit = ABOVE_PEAK * peak if i_limit is None else guard("i_limit", i_limit, unit="A")
    if i_limit <= peak:
        raise ValueError(f"i_limit = {show(i_limit, 'A')} must lie above the peak of the coil current in service, {show(peak, 'A')}")
    v_limit = RATING * spec.v_out if v_limit is None else v_limit
    guard("v_limit", v_limit, spec.v_out, unit="V", open_low=True, why="parts at the output bear more than its voltage")
    most_duty = illustrative()["switch"]["largest_duty"] if most_duty is None else guard("most_duty", most_duty, 0, 1, open_low=True)
    invented = min(LEAD, DROP * spec.v_in.min / full.state.source_current.mean)
    r_source = (converter.source.resistance or invented) if r_source is None else guard("r_source", r_source, 0, unit="Ω")
    try:
        top = _held(converter.change(v_in=spec.v_in.max, i_out=spec.i_out.max, r_source=r_source), spec.v_out, high.duty)
    except ValueError as trouble:
        raise ValueError(f"r_source = {show(r_source, 'Ω')} of battery and leads is too much at full load, even at the highest source "
                         f"voltage: {trouble}") from None
    return Case(spec, peak, i_limit, v_limit, most_duty, r_source, full, top, known)


def _corner(corners: list[Corner], v_in: float, i_out: float) -> Corner:
    found = next((c for c in corners if (c.v_in, c.i_out) == (v_in, i_out)), None)
    if found is None:
        raise ValueError(f"corners = a list of {len(corners)} must hold the one at {show(v_in, 'V')} and {show(i_out, 'A')}: protections "
                         "are sized at full load")  # fmt: skip
    return found


def _held(stage: Converter, v_out: float, guess: float) -> Converter:
    """The duty set anew, so that the output is kept."""
    return stage.change(duty=switched.duty_for(stage, v_out, guess))


def say(text: str, value: float | None = None, unit: str = "") -> Line:
    """A sentence on the sheet, and the number in it."""
    return Line(GROUP, text, "", "", value, unit)
