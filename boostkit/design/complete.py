"""Complete designs, many at a time: for each switching frequency and share of ripple the switch and rectifier of least loss, an
inductor wound, capacitors chosen, losses and temperatures solved together.

By formula, so that a whole sweep takes seconds; the exact circuit judges the one that is taken (`warming.settle`, `judge`). Left
out: the room of switch, rectifier and controller, which frequency does not change; heat that one part sends to the next; the
regulator, of which only the reserve that a load step asks for is counted, by a rule.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from math import inf, nan

import numpy as np

from ..derivations import sizing
from ..parts import capacitor_types, inductor_build, losses, warming
from ..parts.capacitor_choice import Bank
from ..parts.inductor_build import Built
from ..parts.kinds import Capacitor, Inductor, Parts, stacked
from ..parts.losses import Losses
from ..parts.point import Point
from ..units import show
from .banks import input_bank, output_bank
from .spec import Spec
from .stock import Stock

WARM = 30.0  # K above the hottest ambient at which switches and rectifiers are compared
CORNERS = ("min", "usual", "max")  # of the source voltage, at full load


@dataclass(frozen=True)
class Complete:
    """One complete design, or why there is none (`refused`, empty where there is one).

    f_sw Hz; ripple_fraction: coil ripple over its mean at usual source voltage and full load; inductance H. losses: there.
    temperatures: °C by part, the highest of any source voltage at full load. Both at the hottest ambient.
    """

    f_sw: float
    ripple_fraction: float
    inductance: float
    refused: str = ""
    parts: Parts | None = None
    inductor: Built | None = None
    output: Bank | None = None
    input: Bank | None = None
    losses: Losses | None = None
    temperatures: dict[str, float] = field(default_factory=dict)

    @property
    def volumes(self) -> dict[str, float]:
        """Room of each part that frequency can shrink, m³."""
        found = {"inductor": self.inductor, "output capacitor": self.output, "input capacitor": self.input}
        return {name: part.volume for name, part in found.items() if part is not None}

    @property
    def volume(self) -> float:
        """All of these, m³; nan where refused."""
        return nan if self.refused else sum(self.volumes.values())

    @property
    def loss(self) -> float:
        """W at usual source voltage and full load; nan where refused."""
        return nan if self.refused else float(self.losses.total)

    @property
    def efficiency(self) -> float:
        """At usual source voltage and full load; nan where refused."""
        return nan if self.refused else float(self.losses.efficiency)


def complete(spec: Spec, f_sw, ripple_fraction, stock: Stock | None = None, sizes: int = 3, progress=None) -> tuple[Complete, ...]:
    """Complete designs for pairs of switching frequency (Hz) and share of ripple (arrays of one length).

    For each pair the smallest core that will do and up to `sizes` - 1 larger ones: a larger one may run cooler. A pair for which
    nothing will do gives one entry that says why. `progress(done, total, words)` is called once a pair.
    """
    stock = stock or Stock()
    f_sw, ripple_fraction = np.atleast_1d(np.asarray(f_sw, float)), np.atleast_1d(np.asarray(ripple_fraction, float))
    chosen, inductance = _devices(spec, stock, f_sw, ripple_fraction)
    drafts = []
    for k, pair in enumerate(chosen):
        if progress:
            progress(k, len(chosen), f"winding and choosing at {show(f_sw[k], 'Hz')}")
        first = Complete(float(f_sw[k]), float(ripple_fraction[k]), float(inductance[k]))
        drafts += _drafts(spec, stock, first, pair, sizes)
    return tuple(_settled(spec, drafts))


def _devices(spec: Spec, stock: Stock, f_sw, ripple_fraction) -> tuple[list, np.ndarray]:
    """For each point the switch and rectifier that lose least, None where none will do, and the inductance for the ripple."""
    pairs = stock.devices(spec)
    lost, inductance = (np.array(side) for side in zip(*(_try(spec, pair, f_sw, ripple_fraction) for pair in pairs), strict=True))
    best, every = np.argmin(lost, axis=0), np.arange(len(f_sw))
    chosen = [pairs[k] if reached else None for k, reached in zip(best, np.isfinite(lost[best, every]), strict=True)]
    return chosen, inductance[best, every]


def _try(spec: Spec, pair, f_sw, ripple_fraction) -> tuple[np.ndarray, np.ndarray]:
    """What a switch and a rectifier lose at usual source voltage and full load (inf where they will not do), and the inductance."""
    steady = _point(spec, pair, f_sw, 1.0, "usual")  # a coil so large that the ripple vanishes: duty and mean
    inductance = sizing.inductance_for_ripple().formula(
        v_in=spec.v_in.usual, duty=steady.duty, ripple_current=ripple_fraction * steady.i_inductor_mean, f_sw=f_sw)  # fmt: skip
    lost = losses.at(_point(spec, pair, f_sw, inductance, "usual"), *_bare(spec, pair)).total
    peak = _point(spec, pair, f_sw, inductance, "min").i_inductor_max
    bears = peak <= min(pair[0].current_limit, pair[1].current_limit)
    return np.where(bears & np.isfinite(lost), lost, inf), inductance


def _point(spec: Spec, pair, f_sw, inductance, corner: str) -> Point:
    """Full load at one source voltage, by formula, with the resistances of warm devices and none in the coil."""
    path = losses.resistances(*_bare(spec, pair))
    return Point.by_formula(getattr(spec.v_in, corner), spec.v_out, spec.i_out.max, f_sw, inductance, diode=pair[1].kind == "diode", **path)


def _bare(spec: Spec, pair) -> tuple[Parts, dict[str, float]]:
    """A switch and a rectifier with a coil and a capacitor without loss, and how warm the two are taken to be."""
    parts = Parts(*pair, Inductor("bare", 1.0, 0.0, inf, inf), Capacitor("bare", "ceramic", 1.0, inf, 0.0, inf))
    return parts, dict.fromkeys(("switch", "rectifier"), spec.surroundings[1] + WARM)


def _drafts(spec: Spec, stock: Stock, first: Complete, pair, sizes: int) -> list[Complete]:
    """Designs at one pair, losses still open: as many coils as asked for, the same capacitors."""
    if pair is None:
        return [replace(first, refused="no switch and rectifier of the table reach the output and bear the peak current")]
    points = [_point(spec, pair, first.f_sw, first.inductance, corner) for corner in CORNERS]
    if not all(np.isfinite(point.duty) for point in points):
        return [replace(first, refused="the output is out of reach at the lowest source voltage")]
    try:
        output = output_bank(spec, points[0], first.inductance, stock.capacitors)
        entry = input_bank(spec, max(points, key=lambda point: point.ripple_current), stock.capacitors)
    except ValueError as trouble:
        return [replace(first, refused=str(trouble))]
    found, reason = [], "no core was tried"
    for coil in _coils(spec, stock, first, points):
        if isinstance(coil, str):
            reason = coil
            continue
        parts = Parts(*pair, coil.part(), _part(output, first.f_sw, stock), _part(entry, first.f_sw, stock), stock.control_current)
        found.append(replace(first, parts=parts, inductor=coil, output=output, input=entry))
        if len(found) == sizes:
            break
    return found or [replace(first, output=output, input=entry, refused=f"no core will do; the largest: {reason}")]


def _coils(spec: Spec, stock: Stock, first: Complete, points: list[Point]) -> Iterator[Built | str]:
    """A winding on each core in turn, smallest core first, or the reason why it will not do."""
    hard = points[0]
    among, materials = stock.wound_on
    for core in among:
        made, refused = inductor_build.smallest(
            first.inductance, max(point.i_inductor_max for point in points), hard.i_inductor_rms, hard.ripple_current, first.f_sw,
            hard.duty, among=[core], materials=materials, ambient=spec.surroundings[1])  # fmt: skip
        yield made or refused[core.name]


def _part(bank: Bank, f_sw: float, stock: Stock) -> Capacitor:
    """A bank as one part, its series resistance at the switching frequency and 20 °C."""
    own = {a_type.kind: a_type for a_type in stock.capacitors if not isinstance(a_type, str)}
    a_type = own.get(bank.kind) or capacitor_types.of(bank.kind)
    esr = float(a_type.esr(f_sw, 20.0, bank.capacitance, bank.voltage_limit)) / bank.count
    return replace(bank.part(), series_resistance=esr)


def _settled(spec: Spec, drafts: list[Complete]) -> list[Complete]:
    """Losses and temperatures of all that is not refused, those with the same switch and rectifier at once."""
    done = list(drafts)
    groups: dict[tuple, list[int]] = {}
    for k, draft in enumerate(drafts):
        if not draft.refused:
            groups.setdefault((draft.parts.switch.name, draft.parts.rectifier.name), []).append(k)
    for members in groups.values():
        for k, design in zip(members, _group_settled(spec, [drafts[k] for k in members]), strict=True):
            done[k] = design
    return done


def _group_settled(spec: Spec, group: list[Complete]) -> Iterator[Complete]:
    first = group[0].parts
    parts = Parts(first.switch, first.rectifier, *(stacked([getattr(design.parts, name) for design in group])
                  for name in ("inductor", "capacitor", "input_capacitor")), first.control_current)  # fmt: skip
    v_in = np.array([[getattr(spec.v_in, corner)] for corner in CORNERS])
    found = warming.settle_many(parts, v_in, spec.v_out, spec.i_out.max, np.array([d.f_sw for d in group]), spec.surroundings[1])
    shape = found.runs_away.shape
    items = {name: np.broadcast_to(loss, shape)[CORNERS.index("usual")] for name, loss in found.losses.items.items()}
    warm = {name: np.max(np.broadcast_to(t, shape), axis=0) for name, t in found.temperatures.items()}
    for k, design in enumerate(group):
        here = {name: float(t[k]) for name, t in warm.items()}
        refused = _refused(design.parts, here, found.runs_away[:, k].any(), found.out_of_reach[:, k].any())
        lost = Losses({name: float(loss[k]) for name, loss in items.items()}, spec.v_out * spec.i_out.max)
        yield replace(design, losses=lost, temperatures=here, refused=refused)


def _refused(parts: Parts, warm: dict[str, float], runs_away: bool, out_of_reach: bool) -> str:
    """Why a design that could be put together will not do when warm; empty where it will."""
    if out_of_reach:
        return "its losses put the output out of reach"
    if runs_away:
        return "its losses grow faster with temperature than they are carried off (thermal runaway)"
    for name, temperature in warm.items():
        limit = getattr(parts, name).heat.limit
        if temperature > limit:
            return f"{name.replace('_', ' ')} reaches {show(temperature, '°C')}, and it bears {show(limit, '°C')}"
    return ""
