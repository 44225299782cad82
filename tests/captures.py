"""Captures of converters whose truth is known: random converters, an instrument with errors within its limits, noise and steps."""

import numpy as np

from boostkit.bench.capture import Capture
from boostkit.bench.instrument import Channel, Instrument
from boostkit.bench.prediction import at_times
from boostkit.circuit import Converter, switched

GAIN, PROBE, TIME = 0.015, 0.02, 5e-5  # limits of error, as shares


def random_converter(rng):
    """A converter as a class builds them, in either conduction mode: duty 0.2 to 0.8, ripple 0.1 to 4 of the mean current."""
    v_in, f_sw, duty = rng.uniform(3, 24), 10 ** rng.uniform(4.3, 6), rng.uniform(0.2, 0.8)
    r_load, ripple = 10 ** rng.uniform(1, 2.5), 10 ** rng.uniform(-1, 0.6)
    mean = v_in / (1 - duty) ** 2 / r_load
    return Converter.of(
        v_in=v_in, f_sw=f_sw, duty=duty, r_load=r_load, inductance=v_in * duty / (f_sw * ripple * mean),
        capacitance=10 ** rng.uniform(0.7, 2) / (r_load * f_sw), r_inductor=r_load * (1 - duty) ** 2 * rng.uniform(0.002, 0.03),
        r_switch=r_load * (1 - duty) ** 2 * rng.uniform(0.001, 0.02), v_rectifier=rng.uniform(0.2, 0.7),
        r_rectifier=r_load * (1 - duty) ** 2 * rng.uniform(0.001, 0.01), r_capacitor=r_load * 10 ** rng.uniform(-4, -2),
    )  # fmt: skip


def instrument_for(state, names, bits=10):
    """An instrument whose ranges fit the waveforms with some room, and a share of the range as limit of its offset."""
    channels = {}
    for name in names:
        low, high = _span(state, name)
        room = 1.3 * max(high - low, 1e-3 * abs(high))
        channels[name] = Channel(room, (low + high) / 2, GAIN, PROBE, 0.01 * room)
    return Instrument(bits=bits, time_error=TIME, channels=channels)


def captured(converter, names=("v_switch", "v_out", "i_inductor"), seed=0, noise=0.01, periods=10.3, samples=6000, bits=10):
    """The capture of a converter's exact steady state and that state: noise as a share of each range, steps, and errors drawn
    evenly between their limits."""
    rng, state = np.random.default_rng(seed), switched.steady_state(converter)
    instrument, interval = instrument_for(state, names, bits), periods * state.period / samples
    clock = np.arange(samples) * interval
    exact = at_times(state, names, clock * (1 + rng.uniform(-TIME, TIME)) + rng.uniform(0, state.period))
    channels = {name: _seen(exact[name], instrument.channel(name), instrument.step(name), noise, rng) for name in names}
    units = {name: "V" if name[0] == "v" else "A" for name in names}
    return Capture(clock, channels, units, "scope.csv", interval, instrument=instrument), state


def _seen(true, channel, step, noise, rng):
    """What the instrument shows for the true values at its probe."""
    gain, probe = 1 + rng.uniform(-1, 1) * channel.gain_error, 1 + rng.uniform(-1, 1) * channel.probe_error
    off = rng.uniform(-1, 1) * channel.offset_error
    seen = (true / probe - channel.offset - off) / gain + rng.normal(0, noise * channel.range, len(true))
    return channel.offset + np.round(seen / step) * step


def _span(state, name):
    summary = {"v_switch": state.switch_voltage, "v_out": state.output_voltage, "i_inductor": state.inductor_current,
               "v_input": None}[name]  # fmt: skip
    return summary.min, summary.max


def truths(state, names):
    """What `measure` should find, by its name."""
    summaries = {"v_switch": state.switch_voltage, "v_out": state.output_voltage, "i_inductor": state.inductor_current}
    found = {"f_sw": 1 / state.period, "duty": state.duty, "conduction_end": state.conduction_end}
    for name in names:
        s = summaries[name]
        found |= {f"{name}.mean": s.mean, f"{name}.rms": s.rms, f"{name}.ripple": s.ripple}
    return found
