"""A fault that a switch in the source lead ends: against the exponential of coil, resistance and two diodes."""

import math

import pytest

from boostkit.circuit import Converter, faults

L, R_L, R_D, V_F = 56e-6, 0.047, 0.02, 0.4
STAGE = Converter.of(v_in=7.2, duty=0.6, f_sw=150e3, inductance=L, r_inductor=R_L, r_switch=0.02, v_rectifier=V_F, r_rectifier=R_D,
                     capacitance=47e-6, r_capacitor=0.01, i_out=0.3, r_source=0.05)  # fmt: skip
SHORT = faults.shorted(STAGE, 1e-3, duration=1e-3)


def test_an_opened_series_switch_leaves_only_diodes_to_drive_the_current_down():
    """Until it opens the course is the fault's own; then the current falls along the exponential of coil, resistance and two diodes."""
    at = 4e-5
    ended = faults.opened(SHORT, at, v_diode=0.5)
    assert ended.reaches("i_inductor", 5.0) == SHORT.reaches("i_inductor", 5.0)
    start = ended.inductor_current.max
    assert ended.inductor_current.max_at == pytest.approx(at) and ended.duration == pytest.approx(SHORT.duration)
    r, down = R_L + R_D, 0.5 + V_F  # winding and rectifier; battery and leads are cut off
    empty = L / r * math.log(1 + start * r / down)  # where (I + V/R) exp(-t R/L) - V/R comes to nought
    died = next(piece.start for piece in ended.pieces if piece.start > at and abs(piece.state[0]) < 1e-9)
    assert died - at == pytest.approx(empty, rel=0.02)  # the short's own 1 mΩ and what is left on the capacitor
    assert ended.extreme("i_inductor").min == pytest.approx(0.0, abs=1e-9)
    assert (ended.what, ended.caution, ended.converter) == (SHORT.what, SHORT.caution, SHORT.converter)


def test_the_time_it_takes_adds_the_slope():
    """Twenty microseconds more let the current grow by driving voltage over inductance times twenty microseconds."""
    (early, first), (late, second) = (faults.tripped(SHORT, 6.0, delay) for delay in (5e-6, 25e-6))
    assert early == pytest.approx(SHORT.reaches("i_inductor", 6.0) + 5e-6) and late - early == pytest.approx(20e-6)
    grown = second.inductor_current.max - first.inductor_current.max
    steepest = (7.2 - V_F) / L * 20e-6
    assert 0.8 * steepest < grown < steepest  # the resistance takes its part


def test_at_once_it_goes_no_farther_than_its_level():
    """Without delay the coil comes to the trip level and not beyond."""
    _, ended = faults.tripped(SHORT, 6.0)
    assert ended.inductor_current.max == pytest.approx(6.0)


def test_a_switch_that_opens_after_the_end_is_refused():
    """The course of a fault can be cut only where it was followed."""
    brief = faults.shorted(STAGE, 1e-3, duration=1e-4)
    with pytest.raises(ValueError, match="followed no farther"):
        faults.opened(brief, 1e-4)
    with pytest.raises(ValueError, match="does not open within"):
        faults.tripped(brief, 6.0, 9e-5)
    with pytest.raises(ValueError, match="delay"):
        faults.tripped(brief, 6.0, -1e-6)


@pytest.mark.parametrize("more", [{}, {"l_source": 1e-6}])
def test_what_would_drive_on_behind_the_switch_is_refused(more):
    """An input capacitor goes on feeding the short: the course would be another."""
    short = faults.shorted(STAGE.change(c_input=1e-5, r_input_capacitor=0.01, **more), duration=1e-4)
    with pytest.raises(ValueError, match="carry current on"):
        faults.opened(short, 5e-5)
