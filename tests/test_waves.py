"""Reasons about small swings and waves: what follows is accepted, a wrong sign, a forgotten part or a wrong angle is refused."""

import pytest

from boostkit.algebra import Derivation, Step, angle_of_wave, assumption, definition, size_of_wave, small_swings
from boostkit.derivations import asymptotes, swings  # noqa: F401  (their letters)

POLE = ("transfer_pole = 1/(1 + s/(2*pi*f_pole))", definition())
COIL = ("inductance*slope_current_mean = v_in - duty_off*v_out", assumption("the averaged coil"))
SWINGS = {"slope_current_mean": "slope_current_swing", "v_in": "v_in_swing", "v_out": "v_out_swing", "duty_off": "-duty_swing"}


def steps(*given):
    """A derivation from (equation, reason)."""
    return Derivation("trial", "a trial", tuple(Step(f"step {n}", *one) for n, one in enumerate(given, 1)))


def refuses(text, *given):
    """The derivation is refused at its last step, with these words."""
    with pytest.raises(ValueError, match=rf"trial, step {len(given)} .*{text}"):
        steps(*given).verify()


def test_small_swings_of_a_product():
    """Each factor swings in its turn, the other standing still; the open share falls as the duty rises."""
    steps(COIL, ("inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing", small_swings(**SWINGS))).verify()


@pytest.mark.parametrize("wrong", [
    "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing - v_out*duty_swing",
    "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing",
    "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing + duty_swing*v_out_swing",
    "slope_current_swing = v_in_swing/inductance - v_out_swing/inductance",
])  # fmt: skip
def test_wrong_swings_are_refused(wrong):
    """A sign, a part forgotten, a product of two swings kept, the share forgotten."""
    refuses("not how both sides swing", COIL, (wrong, small_swings(**SWINGS)))


def test_what_swings_must_be_there():
    """To let something swing that the equation does not have is a slip."""
    line = "inductance*slope_current_swing = v_in_swing - duty_off*v_out_swing + v_out*duty_swing"
    refuses("i_out is not in", COIL, (line, small_swings(**SWINGS, i_out="i_draw_swing")))


def test_size_of_a_pole():
    """A single pole: one over the root of one plus the square."""
    steps(POLE, ("size_pole = 1/sqrt(1 + (f/f_pole)**2)", size_of_wave())).verify()
    steps(POLE, ("size_pole = 1/sqrt(1 + (omega/(2*pi*f_pole))**2)", size_of_wave("omega"))).verify()


@pytest.mark.parametrize("wrong", ["1/sqrt(1 - (f/f_pole)**2)", "1/(1 + f/f_pole)", "sqrt(1 + (f/f_pole)**2)", "1/sqrt(1 + f/f_pole)"])
def test_wrong_sizes_are_refused(wrong):
    """A sign, sizes added as if they lay along one line, upside down, a square forgotten."""
    refuses("not the size", POLE, (f"size_pole = {wrong}", size_of_wave()))


def test_a_size_is_positive():
    """The negative root has the same square and is refused."""
    refuses("never negative", POLE, ("angle_pole = -(1/sqrt(1 + (f/f_pole)**2))", size_of_wave()))


def test_angle_of_a_pole():
    """A single pole comes late by the arc tangent; a whole turn more is the same angle to a ratio."""
    steps(POLE, ("angle_pole = -atan(f/f_pole)", angle_of_wave())).verify()
    steps(POLE, ("angle_pole = -atan(f/f_pole) - 2*pi", angle_of_wave())).verify()


@pytest.mark.parametrize("wrong", ["atan(f/f_pole)", "-atan(f_pole/f)", "-atan(f/f_pole) - pi", "-f/f_pole"])
def test_wrong_angles_are_refused(wrong):
    """A sign, upside down, half a turn, the angle of a wave too slow to matter."""
    refuses("not the angle", POLE, (f"angle_pole = {wrong}", angle_of_wave()))


def test_a_wave_needs_a_ratio_in_s_and_a_letter_of_its_own():
    """Without s nothing is asked; a letter that has a meaning already is no place for the answer."""
    refuses("no s in", ("transfer_pole = f_pole/f", definition()), ("size_pole = f_pole/f", size_of_wave()))
    refuses("new letter", POLE, ("transfer_pole = 1/sqrt(1 + (f/f_pole)**2)", size_of_wave()))
    refuses("new letter", POLE, ("2*angle_pole = -2*atan(f/f_pole)", angle_of_wave()))
