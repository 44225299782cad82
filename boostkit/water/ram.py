"""The hydraulic ram: a pump without a motor, and the boost converter's twin in water.

Water runs down a drive pipe and out at a waste valve. The valve slams shut, the running water opens the check valve and
pushes on into an air vessel, from which a delivery line climbs to a height above the supply. Then the water has come to
rest, the waste valve springs open, and it begins again.

    drive pipe's inertance   inductance        pressure      voltage
    waste valve              switch            flow          current
    check valve              rectifier         inertance     inductance
    air vessel               capacitor         compliance    capacitance
    fall of the supply       source voltage    resistance    resistance
    delivery line            load resistance

So `boostkit.circuit` solves the ram. What the mapping takes for granted: the water moves as one column, friction is in
proportion to flow, the vessel's compliance stays what it is at the lift, valves act at once, and the delivery line is a
resistance that takes the whole lift at the flow given. `waves` and `likeness` say what that costs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

from ..circuit import Converter, switched
from ..files import Section, read_toml
from ..units import guard, show
from .pipe import ATMOSPHERE, Pipe, Vessel
from .strokes import FLOW, PASCAL, Strokes, Waveforms
from .surge import whole

OHM = PASCAL / FLOW  # Pa·s/m³ for 1 Ω; inertance and henry likewise
FARAD = FLOW / PASCAL


@dataclass(frozen=True)
class WasteValve:
    """`resistance` (Pa·s/m³) while open; what shuts it: its own flow `shuts_at` (m³/s), or a clock with `frequency` (Hz) and
    the `share` of each stroke in which it stands open, or both (the clock opens it, the flow shuts it)."""

    resistance: float = 0.0
    shuts_at: float | None = None
    frequency: float | None = None
    share: float | None = None


@dataclass(frozen=True)
class CheckValve:
    """`opening_pressure` (Pa), which it keeps while open, and `resistance` (Pa·s/m³)."""

    opening_pressure: float = 0.0
    resistance: float = 0.0


@dataclass(frozen=True)
class Delivery:
    """A delivery line that passes `flow` (m³/s) to the height `lift` (m above the waste valve): as a resistance, its
    throttle included."""

    lift: float
    flow: float


@dataclass(frozen=True)
class Ram:
    """A ram. `fall` (m): the supply's level above the waste valve. `stroke_flow` (m³/s): the flow up to which the square law
    of the pipe's friction is evened out into a resistance (`Pipe.even_resistance`)."""

    pipe: Pipe
    fall: float
    waste_valve: WasteValve
    check_valve: CheckValve
    vessel: Vessel
    delivery: Delivery
    stroke_flow: float

    @classmethod
    def from_file(cls, path: str | Path) -> Ram:
        """Read a ram file (TOML). Raises ValueError naming file and key."""
        return cls.from_section(read_toml(path))

    @classmethod
    def from_dict(cls, data: dict, where: str = "ram") -> Ram:
        """The same from a nested dict with the keys of a ram file."""
        return cls.from_section(Section(data, where))

    @classmethod
    def from_section(cls, top: Section) -> Ram:
        """Read and check every part; unknown keys are refused."""
        pipe = Pipe.from_section(top.section("pipe"))
        supply = top.section("supply")
        fall = supply.quantity("fall", "m", low=0, open_low=True, high=100)
        line = top.section("delivery")
        delivery = Delivery(
            line.quantity("lift", "m", low=fall, open_low=True, high=1000, why="a ram lifts above its supply"),
            line.quantity("flow", "m³/s", low=0, open_low=True, high=10),
        )
        waste, stroke_flow = _waste_valve(top.section("waste_valve"), pipe)
        ram = cls(pipe, fall, waste, _check_valve(top.section("check_valve", optional=True)),
                  _vessel(top.section("vessel"), ATMOSPHERE + pipe.pressure(delivery.lift)), delivery, stroke_flow)
        top.finish()
        _check_together(top, ram)
        return ram

    @classmethod
    def like(cls, converter: Converter, *, pressure_per_volt: float, flow_per_ampere: float, seconds_per_second: float,
             density: float = 1000.0) -> Ram:  # fmt: skip
        """The ram whose twin is this converter, so many Pa for a volt, m³/s for an ampere, and s for each of its seconds.

        The converter has a diode, a resistor as load and no input capacitor; a source's resistance joins the pipe's. The
        pipe is made wide enough for 1 m/s at the peak of the current. Its waveforms are then the converter's, scaled.
        """
        _refuse_unlike(converter)
        state = switched.steady_state(converter)
        p, q, t = (guard(name, value, 0, open_low=True) for name, value in (
            ("pressure_per_volt", pressure_per_volt), ("flow_per_ampere", flow_per_ampere),
            ("seconds_per_second", seconds_per_second)))  # fmt: skip
        ohm, c = p / q, converter
        peak = state.inductor_current.max * q
        pipe = Pipe(c.inductor.inductance * ohm * t * peak / density, math.sqrt(4 * peak / math.pi), density, 2.2e9)
        lost = (c.inductor.resistance + c.source.resistance) * ohm
        if lost:
            pipe = replace(pipe, friction=lost / replace(pipe, friction=1.0).even_resistance(peak))
        lift, clock, limit = state.output_voltage.mean * p / pipe.pressure(1), c.switch.frequency, c.switch.peak_current
        pressure = ATMOSPHERE + pipe.pressure(lift)
        capacitance, exponent = c.capacitor.capacitance * t / ohm, Vessel.exponent
        return cls(
            pipe, c.source.voltage * p / pipe.pressure(1),
            WasteValve(c.switch.on_resistance * ohm, limit and limit * q, clock and clock / t, c.switch.duty),
            CheckValve(c.rectifier.forward_voltage * p, c.rectifier.resistance * ohm),
            Vessel(capacitance * exponent * pressure, pressure, exponent, c.capacitor.series_resistance * ohm),
            Delivery(lift, state.output_voltage.mean * p / (c.load.resistance * ohm)),
            peak,
        )  # fmt: skip

    @property
    def supply_pressure(self) -> float:
        """Pressure under the fall, Pa."""
        return self.pipe.pressure(self.fall)

    @property
    def delivery_resistance(self) -> float:
        """Lift pressure over delivery flow, Pa·s/m³."""
        return self.pipe.pressure(self.delivery.lift) / self.delivery.flow

    @property
    def pipe_resistance(self) -> float:
        """The drive pipe's friction as a resistance, Pa·s/m³."""
        return self.pipe.even_resistance(self.stroke_flow)

    def twin(self) -> Converter:
        """The converter that behaves as this ram does: 1 V for 1 kPa, 1 A for 1 L/s, time unchanged."""
        waste = self.waste_valve
        return Converter.of(
            v_in=self.supply_pressure / PASCAL, inductance=self.pipe.inertance / OHM, r_inductor=self.pipe_resistance / OHM,
            f_sw=waste.frequency, duty=waste.share, peak_current=waste.shuts_at and waste.shuts_at / FLOW,
            r_switch=waste.resistance / OHM, v_rectifier=self.check_valve.opening_pressure / PASCAL,
            r_rectifier=self.check_valve.resistance / OHM, capacitance=float(self.vessel.compliance()) / FARAD,
            r_capacitor=self.vessel.neck_resistance / OHM, r_load=self.delivery_resistance / OHM,
        )  # fmt: skip

    def steady(self) -> Strokes:
        """The exact periodic solution. Raises ValueError where there is none or none is found, in the twin's words."""
        return Strokes.of(self, self._solved(switched.steady_state))

    def start(self, strokes: int, n: int = 2000) -> Waveforms:
        """The first strokes, vessel without pressure and water at rest, about n samples: `strokes` 1 to 10000, `n` 2 to 1e6.
        Raises ValueError where the ram gets stuck, in the twin's words."""
        strokes, n = whole("strokes", strokes, 1, 10_000), whole("n", n, 2, 1_000_000)
        return Waveforms.of(self._solved(lambda twin: switched.from_rest(twin, strokes)).waveforms(n))

    def _solved(self, solve):
        """What `solve` makes of the twin; its errors with the scale and the parts of the likeness."""
        try:
            return solve(self.twin())
        except ValueError as trouble:
            raise ValueError("the ram's twin (1 V for 1 kPa, 1 A for 1 L/s; inductor for drive pipe, switch for waste valve, rectifier "
                             f"for check valve, peak_current for shuts_at): {trouble}") from trouble

    def throttled(self) -> Ram:
        """The same ram with its delivery line set so that the mean pressure in the vessel is just that of the lift. Raises
        ValueError where no setting does that."""
        from scipy.optimize import brentq

        wanted = self.pipe.pressure(self.delivery.lift)
        ideal = self.steady().supply_power / wanted

        def at(scale: float) -> Ram:
            return replace(self, delivery=replace(self.delivery, flow=ideal * math.exp(scale)))

        def excess(scale: float) -> float:
            try:
                return at(scale).steady().vessel_pressure.mean / wanted - 1
            except ValueError:  # asked for so much that the water never comes to rest
                return -1.0

        narrow, wide = excess(-6.0), excess(1.0)
        if not narrow >= 0 >= wide:
            low, high = (show(self.delivery.lift * (1 + end), "m") for end in (wide, narrow))
            raise ValueError(f"delivery.lift = {show(self.delivery.lift, 'm')} must be within reach of a throttle: here it moves "
                             f"the pressure in the vessel between {low} and {high} only")
        return at(brentq(excess, -6.0, 1.0, xtol=1e-13))


def _waste_valve(s: Section, pipe: Pipe) -> tuple[WasteValve, float]:
    """The waste valve and the flow of a stroke."""
    if s.has("share") == s.has("shuts_at"):
        s.fail("shuts_at", "given twice" if s.has("share") else "missing", "must be given, or frequency and share: one drive")
    flows = {"low": 0, "open_low": True, "high": 100}
    shuts_at = s.quantity("shuts_at", "m³/s", None, **flows)
    if shuts_at is None and not s.has("stroke_flow") and pipe.friction:
        s.fail("stroke_flow", "missing", "must be given beside share: friction follows the square of the flow, so its "
                                         "resistance depends on how far the flow rises in a stroke")
    stroke_flow = s.quantity("stroke_flow", "m³/s", shuts_at or pipe.area, **flows)
    clocked = s.has("share") or s.has("frequency")
    return WasteValve(
        s.quantity("resistance", "Pa*s/m³", 0.0, low=0, high=1e12),
        shuts_at,
        s.quantity("frequency", "Hz", low=1e-3, high=1e3) if clocked else None,
        s.quantity("share", "", low=0, high=1, open_low=True, open_high=True) if s.has("share") else None,
    ), stroke_flow


def _check_valve(s: Section | None) -> CheckValve:
    if s is None:
        return CheckValve()
    return CheckValve(
        s.quantity("opening_pressure", "Pa", 0.0, low=0, high=1e5), s.quantity("resistance", "Pa*s/m³", 0.0, low=0, high=1e12)
    )


def _vessel(s: Section, pressure: float) -> Vessel:
    """Its gas volume is given at the pressure of the lift."""
    return Vessel(
        s.quantity("gas_volume", "m³", low=1e-9, high=1e4),
        pressure,
        s.quantity("exponent", "", Vessel.exponent, low=1, high=1.67),
        s.quantity("neck_resistance", "Pa*s/m³", 0.0, low=0, high=1e12),
    )


def _check_together(top: Section, ram: Ram) -> None:
    """Rules between parts."""
    _check_reach(top, ram)
    limit = ram.waste_valve.shuts_at
    lost = ram.pipe_resistance + ram.waste_valve.resistance
    if limit and lost * limit >= ram.supply_pressure:
        top.fail("waste_valve.shuts_at", show(limit, "m³/s"),
                 f"must lie below {show(ram.supply_pressure / lost, 'm³/s')}: faster than that the fall cannot drive water "
                 "through pipe and valve, and the valve would stay open for good")


def _check_reach(top: Section, ram: Ram) -> None:
    """What the solver can hold, said of the key that most likely is at fault."""
    pipe, vessel, delivery = ram.pipe, ram.vessel, ram.delivery
    for key, value, quantity, number, low, high, unit in (
        ("pipe.length", show(pipe.length, "m"), "the pipe's inertance", pipe.inertance, 1e-12 * OHM, 1e3 * OHM, "Pa·s²/m³"),
        ("pipe.friction", show(pipe.friction), "the pipe's resistance", ram.pipe_resistance, 0.0, 1e6 * OHM, "Pa·s/m³"),
        ("vessel.gas_volume", show(vessel.gas_volume, "m³"), "the vessel's compliance", float(vessel.compliance()),
         1e-15 * FARAD, 1e3 * FARAD, "m³/Pa"),
        ("delivery.flow", show(delivery.flow, "m³/s"), "lift pressure over flow", ram.delivery_resistance, 1e-9 * OHM, 1e12 * OHM,
         "Pa·s/m³"),
    ):  # fmt: skip
        if not low <= number <= high:
            top.fail(key, value, f"must leave {quantity} in [{low:.3g}, {high:.3g}] {unit}: here it is {number:.3g}")


def _refuse_unlike(c: Converter) -> None:
    for found, what in ((c.rectifier.kind != "diode", 'rectifier.kind = "switch" must be "diode": a check valve is one'),
                        (c.load.resistance is None, "load.current must be load.resistance: a delivery line is a resistance"),
                        (c.input_capacitor, "input_capacitor must be left out: the ram has no vessel at its inlet")):  # fmt: skip
        if found:
            raise ValueError(what)
