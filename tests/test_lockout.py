"""The under-voltage lockout: what it counts, and that it stops before anything gives up."""

from importlib.resources import files

import pytest

from boostkit.circuit import switched
from boostkit.design import Spec, design
from boostkit.design.hazard import Known, case_of
from boostkit.design.procedure import ABOVE_PEAK
from boostkit.design.protection import protections
from boostkit.units import read

TIDE_GAUGE = Spec.from_file(files("boostkit") / "data" / "tide_gauge.toml")


@pytest.fixture(scope="module")
def gauge():
    """The tide gauge, designed."""
    return design(TIDE_GAUGE)


def value(line) -> float:
    """The number that a worked line ends in."""
    assert line.value is not None
    return line.value


@pytest.fixture(scope="module")
def low():
    """A converter out of 3.0 V, designed: less than the 5 V of the invented gate drive."""
    voltage = {"min": 3.0, "usual": 3.3, "max": 3.6}
    return design(Spec.from_dict({"title": "low", "source": {"voltage": voltage}, "load": {"voltage": 9, "current": 0.2}}))


def lockout_of(made, **known):
    """The lockout of a design, with what is known of its parts."""
    found = protections(made.spec, made.converter, made.corners, known=Known(**known))
    return next(p for p in found if p.what == "Under-voltage lockout")


def test_the_lockout_stops_before_the_current_limit_lets_the_output_sag(low):
    """Out of 3 V the duty alone would carry on to far less; at the level told, the coil's peak on the exact circuit is the limit."""
    lockout = lockout_of(low)
    level, limit = value(lockout.lines[5]), ABOVE_PEAK * max(c.inductor_peak for c in low.corners)
    assert "current limit" in lockout.look_for and "the coil comes to its limit" in lockout.lines[5].say
    stop = read(lockout.value.split(",")[0].split("at ")[1], "V")
    assert max(value(line) for line in lockout.lines[1:3]) < level < stop < 3.0
    case = case_of(low.spec, low.converter, low.corners, None, None, None, None)
    stage = case.full.state.converter.change(r_source=case.r_source)
    peaks = [switched.steady_state(there.change(duty=switched.duty_for(there, 9.0))).inductor_current.max
             for there in (stage.change(v_in=level), stage.change(v_in=level - 0.05))]  # 0.05 V: more than the last halving
    assert peaks[0] <= limit < peaks[1]


def test_an_invented_gate_drive_fails_no_design(low):
    """More than the source gives: not counted, said so, and a drive voltage to look for that the source does give when it comes true."""
    lockout, source = lockout_of(low), 3.0
    asked = lockout.lines[4]
    assert lockout.met and "invented" in asked.say and f"{value(asked):.3g} V at its gate" in lockout.look_for
    stop, start = (read(words.split("at ")[1], "V") for words in lockout.value.split(","))
    assert max(value(line) for line in lockout.lines[1:3]) < stop < start < source < value(lockout.lines[0])
    assert lockout_of(low, gate=(10e-9, 0.999 * value(asked))).met and not lockout_of(low, gate=(10e-9, 1.001 * value(asked))).met


def test_a_gate_drive_that_is_told_counts(low, gauge):
    """Its own worked line and level; more than the source gives is not met, and what to do is said. 2.5 V + 10 Ω (12 nC 150 kHz + 2 mA)
    by hand."""
    fits, short = lockout_of(low, gate=(12e-9, 2.5)), lockout_of(low, gate=(12e-9, 4.5))
    assert value(fits.lines[0]) == pytest.approx(2.5 + 10.0 * (12e-9 * 150e3 + 2e-3)) and fits.met and len(fits.lines) == 4
    assert not short.met and 'column "drive voltage"' in short.unmet and "it is the gate drive" in short.unmet
    assert not lockout_of(gauge, gate=(12e-9, 10.0)).met and lockout_of(gauge, gate=(12e-9, 3.3)).met


def test_a_source_below_any_gate_voltage_is_not_met():
    """From 1.6 V no ordinary switch is fully on, invented or not: the driver must be fed from elsewhere."""
    made = design(Spec.from_dict({"title": "one cell", "source": {"voltage": 1.6}, "load": {"voltage": 3.3, "current": 0.05}}))
    assert "another supply" in lockout_of(made).unmet and "another supply" in lockout_of(made, gate=(1e-9, 2.5)).unmet
