"""Converters to test on: the tide gauge's stage with changes, and random ones over many decades."""

import math

from hypothesis import strategies as st

from boostkit.circuit import Converter

TIDE_GAUGE = {
    "v_in": 6.0, "inductance": 47e-6, "r_inductor": 0.04, "f_sw": 150e3, "duty": 0.68, "r_switch": 0.02, "v_rectifier": 0.4,
    "r_rectifier": 0.02, "capacitance": 100e-6, "r_capacitor": 0.01, "r_load": 30.0,
}  # fmt: skip
SECOND = {"rectifier": "switch", "v_rectifier": None}
LOSSLESS = {"r_inductor": None, "r_switch": None, "v_rectifier": None, "r_rectifier": None, "r_capacitor": None}
INPUT = {"r_source": 0.1, "c_input": 10e-6, "r_input_capacitor": 0.02}


def stage(**letters):
    """The tide gauge's stage with some letters changed; None takes one away."""
    return Converter.of(**TIDE_GAUGE | letters)


def sizes(s):
    """What one ampere and one volt of error count for: the inductor current's peak and the largest voltage."""
    current = max(abs(s.inductor_current.max), abs(s.inductor_current.min))
    return current, max(s.switch_voltage.max, s.output_voltage.max)


def log_range(low, high):
    """Numbers spread evenly over the decades from low to high."""
    return st.floats(math.log10(low), math.log10(high)).map(lambda e: 10**e)


@st.composite
def converters(draw, **fixed):
    """Converters over many decades, both modes, loads and rectifiers. Energies kept in a period's work of the load stay
    within C V² f / P < 1e3, so that rounding of the capacitor voltage (2e-16) is 2e-13 of the power."""
    r, v, f = draw(log_range(0.5, 5e3)), draw(log_range(1, 300)), draw(log_range(1e3, 3e6))
    part = st.one_of(st.just(0.0), log_range(1e-5, 0.05))
    letters = {
        "v_in": v, "f_sw": f, "duty": draw(st.floats(0, 0.95, allow_subnormal=False)),
        "inductance": draw(log_range(3e-3, 30)) * r / (2 * f), "capacitance": draw(log_range(0.2, 1e3)) / (r * f),
        "r_inductor": r * draw(part), "r_switch": r * draw(part),
        "r_rectifier": r * draw(part), "r_capacitor": r * draw(part), "r_source": r * draw(part),
    }  # fmt: skip
    if draw(st.booleans()):
        letters["r_load"] = r
    else:
        letters |= {"i_out": v / r, "v_knee": 0.03 * v}
    if draw(st.booleans()):
        letters["v_rectifier"] = v * draw(st.floats(0, 0.2))
    else:
        letters |= {"rectifier": "switch", "dead_time": draw(st.floats(0, 0.4)) * (1 - letters["duty"]) / f}
    if draw(st.integers(0, 3)) == 0:
        letters |= {"c_input": draw(log_range(0.05, 50)) / (r * f), "r_source": r * 0.01, "r_input_capacitor": r * draw(part)}
    return Converter.of(**letters | fixed)
