"""The invented capture of the tide gauge that ships with the kit. `python -m boostkit.bench.example` makes it again.

It is no measurement: the exact waveform of a converter whose parts stray from their labels, sampled, with noise, quantised,
and with the gain, offset and probe errors of an invented instrument. The same bytes come out each time. `stand_in` makes
the same of a converter for another specification.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

from ..circuit import Converter, SteadyState, switched
from ..units import show
from .prediction import at_times

BUILT = Converter.of(  # what is really on the bench: labels say 47 µH, 100 µF, 150 kHz
    v_in=6.0, inductance=44.2e-6, r_inductor=0.062, f_sw=149.3e3, duty=0.6798, r_switch=0.024, v_rectifier=0.41, r_rectifier=0.035,
    capacitance=91e-6, r_capacitor=0.021, r_load=51.0,
)  # fmt: skip
ROWS, INTERVAL, DELAY = 16384, 5e-9, 2.137e-6  # samples; s between them; s from a closing of the switch to the first
TIME_ERROR = 21e-6  # the time base runs slow by this share
RING = {"v_switch": (2.6, 0.30e-6), "v_out": (0.020, 0.20e-6)}  # swing in V and time in s to fade to 1/e, after each opening
RING_FREQUENCY = 12.4e6  # of wiring and stray capacitance, which the exact circuit leaves out
CHANNELS = {  # column, what the instrument makes of 1 V or 1 A, step and offset at the tip, gain, offset's error, noise
    "v_switch": ("CH1", 0.1, 0.01, 10.0, 1.007, -0.03, 0.025),
    "v_out": ("CH2", 0.1, 0.001, 18.0, 0.9935, 0.011, 0.004),
    "i_inductor": ("CH3", 0.1, 0.001, 1.0, 1.008, -0.004, 0.006),
}
METERS = {  # share by which each meter is off, and its step
    "v_in": (0.0012, 0.001), "i_in": (-0.003, 0.001), "v_out": (0.0018, 0.01), "i_out": (0.0022, 0.0001),
}  # fmt: skip
INVENTED = "Invented, no measurement: computed from an exact circuit, with noise, steps and errors of an invented instrument"
CAPTURE_KEYS = f"""# {INVENTED}.
# How the columns of tide_gauge_capture.csv are called, and what its instrument may be off by.
title = "Harbour tide gauge at its usual load"

[columns]
interval = {{ line = "Time from row to row" }}
v_switch = {{ column = "CH1", unit = "V", scale = 10 }}     # probe, 10 to 1
v_out = {{ column = "CH2", unit = "V", scale = 10 }}        # probe, 10 to 1
i_inductor = {{ column = "CH3", unit = "V", scale = 10 }}   # current probe, 0.1 V for each ampere

[instrument]
bits = 12
bandwidth = "100 MHz"
gain_error = "1 %"
probe_error = "1 %"
time_error = "0.005 %"

[instrument.v_switch]
range = "40.96 V"
offset = "10 V"
offset_error = "100 mV"

[instrument.v_out]
range = "4.096 V"
offset = "18 V"
offset_error = "30 mV"

[instrument.i_inductor]
range = "4.096 A"
offset = "1 A"
offset_error = "10 mA"
"""


def built() -> SteadyState:
    """The exact steady state of what is on the bench."""
    return switched.steady_state(BUILT)


def capture_text() -> str:
    """The capture as its instrument writes it: CSV with lines about the instrument, and two samples lost."""
    return capture_of(built(), CHANNELS, INTERVAL, DELAY, {name: (*ring, RING_FREQUENCY) for name, ring in RING.items()})


def capture_of(state: SteadyState, channels: dict[str, tuple], interval: float, delay: float, rings: dict[str, tuple]) -> str:
    """The same of any steady state: `channels` as CHANNELS, interval and delay in s, `rings`: swing, fading time and frequency."""
    time = (np.arange(ROWS) * interval) * (1 + TIME_ERROR) + delay
    noise = np.random.default_rng(2607)
    exact = at_times(state, tuple(channels), time)
    columns = [_recorded(exact[name] + _ring(rings.get(name), state, time), channels[name], noise) for name in channels]
    columns[1][5000] = columns[2][9001] = ""
    head = [f"# {INVENTED}", f"Rows below,{ROWS}", f"Time from row to row,{interval:.3e},s",
            ",".join(channel[0] for channel in channels.values()), "V,V,V"]  # fmt: skip
    return "\n".join([*head, *map(",".join, zip(*columns, strict=True))]) + "\n"


def readings_text() -> str:
    """The readings of four meters at the same time, as TOML."""
    return readings_of(built(), METERS, "Harbour tide gauge at its usual load: four meters")


def readings_of(state: SteadyState, meters: dict[str, tuple[float, float]], title: str) -> str:
    """What four meters (share by which each is off, its step) show of a steady state with a resistor for its load, as TOML."""
    converter = state.converter
    exact = {"v_in": converter.source.voltage, "i_in": state.source_current.mean, "v_out": state.output_voltage.mean,
             "i_out": state.output_voltage.mean / converter.load.resistance}  # fmt: skip
    lines = [f"# {INVENTED}.", f'title = "{title}"']
    for name, (error, step) in meters.items():
        unit, share = ("V", "0.5 %") if name.startswith("v") else ("A", "0.8 %")
        reading = f"{round(exact[name] * (1 + error) / step) * step:.{_places(step)}f} {unit}"
        lines += ["", f"[{name}]", f'reading = "{reading}"', f'of_reading = "{share}"', "digits = 2",
                  f'last_place = "{show(step, unit)}"']  # fmt: skip
    return "\n".join(lines) + "\n"


def _ring(ring: tuple[float, float, float] | None, state: SteadyState, time: np.ndarray) -> np.ndarray:
    """A fading ringing after each opening of the switch."""
    swing, fade, frequency = ring or (0.0, 1.0, 1.0)
    since = (time % state.period) - state.duty * state.period
    return np.where(since > 0, swing * np.exp(-np.maximum(since, 0) / fade) * np.sin(2 * np.pi * frequency * since), 0.0)


def _recorded(values: np.ndarray, channel: tuple, noise: np.random.Generator) -> list[str]:
    """What the instrument writes for these values at the tip of its probe."""
    _, ratio, step, offset, gain, off, spread = channel
    seen = offset + (values - offset) * gain + off + noise.normal(0.0, spread, len(values))
    codes = np.clip(np.round((seen - offset) / step), -2048, 2047).astype(int)
    return [f"{(offset + code * step) * ratio:.{_places(step * ratio)}f}" for code in codes]


def _places(step: float) -> int:
    """Decimals that a step needs."""
    return len(f"{step:.6f}".rstrip("0").partition(".")[2])


def texts() -> dict[str, str]:
    """The files by name."""
    return {
        "tide_gauge_capture.csv": capture_text(), "tide_gauge_capture.toml": CAPTURE_KEYS, "tide_gauge_readings.toml": readings_text(),
    }  # fmt: skip


def main(folder: Path) -> None:
    """Writes the three files into a folder, as a developer does after a change; those of the kit are under version control."""
    for name, text in texts().items():
        (folder / name).write_bytes(text.encode())


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).parent.parent / "data")
