"""Something to measure where there is no bench: a capture and meter readings that belong to a specification.

They are invented and say so. For the kit's own tide gauge they are those that ship with it; for another specification they are
made the same way: its design, as labels say it, is given parts that stray from those labels as the tide gauge's do, and its exact
waveform goes through the same invented instrument, with ranges that suit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory

from ..circuit import Converter, SteadyState, switched
from ..circuit.converter import LETTERS
from ..design import Spec, design
from ..units import show
from . import example

DATA = Path(__file__).parent.parent / "data"
FILES = ("tide_gauge_capture.csv", "tide_gauge_capture.toml", "tide_gauge_readings.toml")
PERIODS = 12.23  # in a capture
FULL_SCALE = 4096  # steps of a converter of 12 bits
ROOM = 1.4  # times what a channel swings: its range
STRAY = ("inductance", "r_inductor", "f_sw", "duty", "r_switch", "v_rectifier", "r_rectifier", "capacitance", "r_capacitor")
READ = ("capture.csv", "capture.toml", "readings.toml")


@dataclass(frozen=True)
class StandIn:
    """`labels`: the converter as labels and data sheets say it; `built`: what is really there, which a bench never tells. Files:
    `capture` (CSV), `mapping` (TOML, what its columns are), `readings` (TOML, four meters)."""

    labels: Converter
    built: Converter
    capture: Path
    mapping: Path
    readings: Path
    folder: TemporaryDirectory | None = None  # goes when nobody needs it any more


def stand_in(spec: Spec) -> StandIn:
    """The capture and the readings that belong to a specification, at its usual source voltage and usual load (a resistor)."""
    own = Spec.from_file(DATA / "tide_gauge.toml")
    if _asks(spec) == _asks(own):
        return StandIn(tide_gauge_labels(), example.BUILT, *(DATA / name for name in FILES))
    labels = labels_of(spec)
    built = strayed(labels)
    folder = TemporaryDirectory(prefix="boostkit-bench-")
    paths = [Path(folder.name) / name for name in READ]
    for path, text in zip(paths, texts(built, spec.title), strict=True):
        path.write_bytes(text.encode())
    return StandIn(labels, built, *paths, folder)


def _asks(spec: Spec) -> tuple:
    """What a capture depends on."""
    return spec.v_in.usual, spec.v_out, spec.i_out.usual, spec.frequency, spec.rectifier


def tide_gauge_labels() -> Converter:
    """What the labels of the converter in the shipped capture say."""
    return Converter.from_file(DATA / "stage.toml").change(r_load=example.BUILT.load.resistance)


def labels_of(spec: Spec) -> Converter:
    """The design for a specification at its usual load, a resistor, driven by a clock at the duty that it needs."""
    load = float(f"{spec.v_out / spec.i_out.usual:.2g}")
    converter = design(spec).converter.change(v_in=spec.v_in.usual, r_load=load)
    return converter.change(duty=round(switched.duty_for(converter, spec.v_out), 3))


def strayed(labels: Converter) -> Converter:
    """Parts that differ from their labels by the same shares as those of the shipped capture."""
    said, really, there = tide_gauge_labels().letters(), example.BUILT.letters(), labels.letters()
    return labels.change(**{name: float(f"{there[name] * really[name] / said[name]:.4g}") for name in STRAY if there.get(name)})


def texts(built: Converter, title: str) -> tuple[str, str, str]:
    """Capture, mapping and meter readings of a converter with a resistor for its load, as READ names them."""
    state = switched.steady_state(built)
    channels = _channels(state)
    scale = example.BUILT.switch.frequency / built.switch.frequency     # of all times against the shipped capture
    rings = {"v_switch": (0.14 * state.switch_voltage.max, 0.3e-6 * scale, example.RING_FREQUENCY / scale),
             "v_out": (0.6 * state.output_voltage.ripple, 0.2e-6 * scale, example.RING_FREQUENCY / scale)}  # fmt: skip
    interval = float(f"{PERIODS * state.period / example.ROWS:.2g}")
    return (example.capture_of(state, channels, interval, 0.32 * state.period, rings), _mapping(channels, title),
            example.readings_of(state, _meters(state), f"{title} at its usual load: four meters"))  # fmt: skip


def _channels(state: SteadyState) -> dict[str, tuple]:
    """Ranges that suit the waveforms, errors as shares of the range as in the shipped capture."""
    found = {}
    spans = {"v_switch": state.switch_voltage, "v_out": state.output_voltage, "i_inductor": state.inductor_current}
    for name, (column, ratio, old_step, _, gain, off, noise) in example.CHANNELS.items():
        room = ROOM * spans[name].ripple * (100 if name == "v_out" else 1)     # the start of an output voltage is in sight too
        room = min(room, 0.25 * spans[name].mean) if name == "v_out" else 1.4 * room
        step = round_up(room / FULL_SCALE)
        middle = float(f"{(spans[name].max + spans[name].min) / 2:.2g}")
        found[name] = (column, ratio, step, middle, gain, off * step / old_step, noise * step / old_step)
    return found


def round_up(value: float) -> float:
    """The next of 1, 2, 5, 10 ... at or above a value."""
    power = 10.0 ** math.floor(math.log10(value))
    return float(f"{next(n for n in (1, 2, 5, 10) if n * power >= value * (1 - 1e-9)) * power:.1g}")


def _mapping(channels: dict[str, tuple], title: str) -> str:
    """The mapping of such a capture, in the form of the shipped one."""
    head = example.CAPTURE_KEYS.partition("\n[instrument.")[0].replace("tide_gauge_capture.csv", READ[0])
    head = head.replace("Harbour tide gauge at its usual load", f"{title} at its usual load")
    limits = {"v_switch": 10, "v_out": 30, "i_inductor": 10}     # steps, within which the error of an offset stays
    lines = [head.rstrip()]
    for name, (_, _, step, middle, *_) in channels.items():
        unit = LETTERS["v_in"][2] if name.startswith("v") else "A"
        span, off = show(step * FULL_SCALE, unit, 4), show(limits[name] * step, unit)
        lines += ["", f"[instrument.{name}]", f'range = "{span}"', f'offset = "{show(middle, unit)}"', f'offset_error = "{off}"']
    return "\n".join(lines) + "\n"


def _meters(state: SteadyState) -> dict[str, tuple[float, float]]:
    """Four meters with a display of about four digits."""
    v_out = state.output_voltage.mean
    values = {"v_in": state.converter.source.voltage, "i_in": state.source_current.mean, "v_out": v_out,
              "i_out": v_out / state.converter.load.resistance}  # fmt: skip
    return {name: (example.METERS[name][0], 10.0 ** (math.floor(math.log10(value)) - 3)) for name, value in values.items()}
