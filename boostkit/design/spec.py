"""What is asked for: a specification, read from a file and checked before anything is computed from it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from pathlib import Path

from ..files import Section, read_toml
from ..units import show

ROOM = 25.0  # °C
DEFAULT_RIPPLE = 0.01  # of the output voltage, where no limit is given: common practice, no source
SLOWEST_LOOP = 1 / 2000  # of the switching frequency, that a crossover may be: a step then takes 5000 periods to answer, and is simulated
CONTROLS = ("voltage", "current", "digital")  # the ramp is compared with the error, or with the coil current; or a sampled regulator


@dataclass(frozen=True)
class Range:
    """Lowest, usual and highest value of a quantity."""

    min: float
    usual: float
    max: float


@dataclass(frozen=True)
class LoadStep:
    """The load current jumps from `low` to `high` and back, A."""

    low: float
    high: float


@dataclass(frozen=True)
class Spec:
    """A specification. Voltages in V, currents in A, `ambient` in °C; what is not demanded is None.

    `ripple`: output ripple, peak to peak, in the worst corner. `efficiency`: at usual source voltage and full load.
    `step_deviation`: V, for the load step. `ripple_fraction`: inductor ripple over its mean, at usual source voltage and
    full load. `inductance`, `capacitance`, `series_resistance`: what the designer fixes; `control` (one of CONTROLS) and `crossover`
    (Hz) likewise for the regulator.
    """

    title: str
    v_in: Range
    v_out: float
    i_out: Range
    step: LoadStep | None = None
    ripple: float | None = None
    efficiency: float | None = None
    step_deviation: float | None = None
    ambient: tuple[float, float] | None = None
    frequency: float = 150e3
    ripple_fraction: float = 0.3
    rectifier: str = "diode"
    inductance: float | None = None
    capacitance: float | None = None
    series_resistance: float | None = None
    control: str | None = None
    crossover: float | None = None
    where: str = "specification"

    @classmethod
    def from_file(cls, path: str | Path) -> Spec:
        """Read a specification (TOML). Raises ValueError naming file, key, value and rule."""
        return cls.from_section(read_toml(path))

    @classmethod
    def from_dict(cls, data: dict, where: str = "specification") -> Spec:
        """The same from a nested dict with the keys of a specification file."""
        return cls.from_section(Section(data, where))

    @classmethod
    def from_section(cls, top: Section) -> Spec:
        """Read and check; unknown keys are refused."""
        title = top.text("title")
        source, load = top.section("source"), top.section("load")
        v_in = _range(source, "voltage", "V", 0.1, 1e4)
        v_out = load.quantity("voltage", "V", low=0, high=1e5, open_low=True)
        if v_out <= v_in.max:
            load.fail("voltage", show(v_out, "V"), f"must lie above the highest source voltage, {show(v_in.max, 'V')}: "
                      "a boost converter cannot lower a voltage")
        i_out = _range(load, "current", "A", 0, 1e4)
        if i_out.max <= 0:
            load.fail("current", "0 A", "must be above zero at full load")
        wanted = {**_limits(top.section("limits", optional=True)), **_choices(top.section("choices", optional=True))}
        step = _step(load)
        if wanted.get("step_deviation") is not None and step is None:
            top.fail("limits.step_deviation", show(wanted["step_deviation"], "V"), "needs load.step: a step from where to where?")
        crossover = wanted.get("crossover")
        if crossover is not None and crossover >= wanted["frequency"] / 2:
            top.fail("choices.crossover", show(crossover, "Hz"), f"must lie below half the switching frequency, "
                     f"{show(wanted['frequency'] / 2, 'Hz')}: a loop that is switched acts no faster")  # fmt: skip
        if crossover is not None and crossover < SLOWEST_LOOP * wanted["frequency"]:
            top.fail("choices.crossover", show(crossover, "Hz"), f"must not lie below {show(SLOWEST_LOOP * wanted['frequency'], 'Hz')}, "
                     f"a {1 / SLOWEST_LOOP:.0f}th of the switching frequency: so slow a loop hardly regulates, and its answer to a step "
                     "takes too many periods to be followed")  # fmt: skip
        top.finish()
        return cls(title, v_in, v_out, i_out, step, **wanted, where=top.where)

    @property
    def surroundings(self) -> tuple[float, float]:
        """Coldest and hottest ambient, °C; room temperature where none is named."""
        return self.ambient or (ROOM, ROOM)

    @property
    def ripple_limit(self) -> float:
        """Output ripple to design for, V, peak to peak; a hundredth of the output voltage where none is demanded."""
        return self.ripple or DEFAULT_RIPPLE * self.v_out

    def to_dict(self) -> dict:
        """Everything as plain data, for a design file."""
        return {key: value for key, value in asdict(self).items() if value is not None and key != "where"}


def _range(section: Section, name: str, unit: str, low: float, high: float) -> Range:
    """One number, or a table of min, usual and max in rising order."""
    if not isinstance(section.value(name), dict):
        one = section.quantity(name, unit, low=low, high=high)
        return Range(one, one, one)
    inner = section.section(name)
    found = Range(*(inner.quantity(key, unit, low=low, high=high) for key in ("min", "usual", "max")))
    for lower, upper in (("min", "usual"), ("usual", "max")):
        if getattr(found, lower) > getattr(found, upper):
            inner.fail(upper, show(getattr(found, upper), unit), f"must not lie below {lower}, {show(getattr(found, lower), unit)}")
    return found


def _step(load: Section) -> LoadStep | None:
    section = load.section("step", optional=True)
    if section is None:
        return None
    low, high = (section.quantity(name, "A", low=0, high=1e4) for name in ("from", "to"))
    if high <= low:
        section.fail("to", show(high, "A"), f"must lie above from, {show(low, 'A')}: the step back is judged too")
    return LoadStep(low, high)


def _limits(section: Section | None) -> dict:
    if section is None:
        return {}
    found = {
        "ripple": section.quantity("ripple", "V", None, low=0, open_low=True, high=1e4),
        "efficiency": section.quantity("efficiency", "", None, low=0, open_low=True, high=1, open_high=True),
        "step_deviation": section.quantity("step_deviation", "V", None, low=0, open_low=True, high=1e4),
    }
    if isinstance(section.value("ambient", None), dict):
        ambient = section.section("ambient")
        low, high = (ambient.quantity(name, "°C", low=-273.15, high=500) for name in ("min", "max"))
        if high < low:
            ambient.fail("max", show(high, "°C"), f"must not lie below min, {show(low, '°C')}")
        found["ambient"] = (low, high)
    elif section.has("ambient"):
        found["ambient"] = (section.quantity("ambient", "°C", low=-273.15, high=500),) * 2
    return found


def _choices(section: Section | None) -> dict:
    if section is None:
        return {}
    return {
        "frequency": section.quantity("frequency", "Hz", 150e3, low=1e3, high=1e8),
        "ripple_fraction": section.quantity("ripple_fraction", "", 0.3, low=0.01, high=2,
                                            why="at 2 the current touches zero at full load"),
        "rectifier": section.choice("rectifier", ("diode", "switch"), "diode"),
        "inductance": section.quantity("inductance", "H", None, low=1e-9, high=10),
        "capacitance": section.quantity("capacitance", "F", None, low=1e-12, high=10),
        "series_resistance": section.quantity("series_resistance", "Ω", None, low=0, high=1e3),
        "control": section.choice("control", CONTROLS, None),
        "crossover": section.quantity("crossover", "Hz", None, low=1, high=1e8),
    }
