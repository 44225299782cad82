"""Panels: sliders that move a picture, readings in words, and a quick picture equal to the full one."""

import io

import numpy as np
import pytest
from PIL import Image

from boostkit.circuit import Converter
from boostkit.circuit.switched import steady_state
from boostkit.derivations import switching
from boostkit.show import break_it, figures, live, panels

STAGE = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=47e-6, r_inductor=0.04, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30)
PNG = b"\x89PNG\r\n\x1a\n"

READY = (panels.two_slopes, panels.waveforms, panels.gain, panels.energy)


@pytest.mark.parametrize("make", READY)
def test_a_slider_changes_picture_and_readings(make):
    """Moving the duty changes both; the reset button brings back the very same bytes."""
    panel = make(STAGE)
    picture, readings = panel.png, panel.readings
    changed = panel.move(duty=0.5)
    assert changed == panel.readings != readings and panel.png != picture
    panel.move(duty=0.75)  # beyond the first axes, which the reset has to bring back
    panel.reset()
    assert panel.readings == readings and panel.values["duty"] == 0.68
    assert panel.png == picture and picture.startswith(PNG)


def breaking(converter):
    return break_it.panel(switching.ideal_gain(), converter)


@pytest.mark.parametrize("make", [*READY, breaking])
def test_quick_picture_is_the_full_picture(make):
    """The kept frame with the rest drawn over it shows dot for dot what a full drawing shows, move after move."""
    panel = make(STAGE)
    moves = [{"duty": 0.6}, {"duty": 0.59}, {"duty": 0.3}, {"r_load": 500.0}, {"r_load": 20.0}]
    moves += [{"pushed": "r_inductor"}, {"pushed": "inductance"}] if make is breaking else []  # other axes, even and in decades
    for move in moves:
        panel.move(**move)
        np.testing.assert_array_equal(_opened(panel.png), _opened(panel.figure.png()))


def _opened(data):
    return np.asarray(Image.open(io.BytesIO(data)).convert("RGB"))


def test_moving_a_widget_is_moving_a_slider():
    """A slider moved in the browser (its widget's value set) draws anew, in SI units inside."""
    panel = panels.two_slopes(STAGE)
    before = panel.png
    widget = next(w for w in panel.box.children if getattr(w, "description", "").startswith("inductance"))
    assert widget.description == "inductance, µH" and widget.value == pytest.approx(47)
    widget.value = 100.0
    assert panel.values["inductance"] == pytest.approx(100e-6) and panel.png != before


def test_a_refusal_is_a_line_and_the_picture_stays():
    """Where there is nothing to draw the panel says why in words and keeps its last good picture."""
    def compute(duty):
        if duty > 0.9:
            raise ValueError("duty = 0.95 is <too> high")
        return steady_state(STAGE.change(duty=duty))

    panel = live.Panel(compute, figures.two_slopes, [live.Slider("duty", "duty D", "", 0.1, 0.99, 0.68)])
    picture = panel.png
    assert panel.move(duty=0.95) == "duty = 0.95 is <too> high"
    assert panel.png == picture
    assert "&lt;too&gt;" in panel.box.children[-1].value  # shown as text, never as markup
    assert "µV·s" in panel.reset()


def test_a_panel_stores_picture_and_line():
    """Without a browser a panel is a picture and one stable line, as a viewer or a PDF needs."""
    one, two = panels.two_slopes(STAGE), panels.two_slopes(STAGE)
    bundles = [panel._repr_mimebundle_() for panel in (one, two)]
    assert bundles[0]["text/plain"] == bundles[1]["text/plain"] == one.readings
    assert bundles[0]["image/png"] == bundles[1]["image/png"]
    assert "application/vnd.jupyter.widget-view+json" in bundles[0]


def test_energies_by_way_balance():
    """Without loss, energy into the field and straight through is what the source gives in a period, and the share
    through the field is 1 - V_in/V_out in both modes (design: energy by the way it takes)."""
    for change in ({}, {"duty": 0.4, "r_load": 900}):
        ideal = STAGE.change(r_inductor=0, r_switch=0, v_rectifier=0, r_rectifier=0, r_capacitor=0, **change)
        state = steady_state(ideal)
        field, straight = state.energy_by_way
        assert field + straight == pytest.approx(state.input_power * state.period, rel=1e-10)  # rounding only
        assert field / (field + straight) == pytest.approx(1 - 6 / state.output_voltage.mean, rel=1e-3)  # output ripple


@pytest.mark.parametrize("make", READY)
def test_a_slider_starts_on_its_own_grid(make):
    """A browser snaps a slider to its nearest step: the example's value must be one, or the picture would change."""
    for widget in make(STAGE).box.children:
        if hasattr(widget, "step"):
            value = np.log10(widget.value) if hasattr(widget, "base") else widget.value
            steps = (value - widget.min) / widget.step
            assert steps == pytest.approx(round(steps), abs=1e-6)
            assert widget.min <= value * (1 + 1e-12) and value <= widget.max * (1 + 1e-12)


def test_sliders_span_the_usual_range_and_the_start():
    """A converter outside the usual range widens its slider; letters that it does not have get none."""
    wide = STAGE.change(v_in=48)
    found = {slider.name: slider for slider in panels.sliders_for(wide, "v_in", "duty", "i_out", "r_load")}
    assert set(found) == {"v_in", "duty", "r_load"}
    assert found["v_in"].low == 3 and found["v_in"].high == 48 == found["v_in"].start




@pytest.mark.parametrize(("make", "draw"), [(panels.two_slopes, figures.two_slopes), (panels.waveforms, figures.waveforms)])
def test_what_is_used_again_looks_as_if_made_anew(make, draw):
    """After moves through both modes a panel shows, on the same axes, what a figure that was never used before shows."""
    panel, light = make(STAGE), STAGE.change(duty=0.4, r_load=900)
    panel.move(duty=0.3)
    kept = panel.figure.axes[0].lines[-1]
    panel.move(duty=0.4, r_load=900)
    assert kept in panel.figure.axes[0].lines
    args = () if draw is figures.two_slopes else (panels.FOUR_ROWS,)
    fresh = draw(steady_state(light), *args)
    for old, new in zip(panel.figure.axes, fresh.axes, strict=True):
        new.set(xlim=old.get_xlim(), ylim=old.get_ylim())      # under a slider an axis moves only when it must
        assert sorted(text.get_text() for text in old.texts) == sorted(text.get_text() for text in new.texts)
        for one, other in zip(old.lines, new.lines, strict=True):
            np.testing.assert_array_equal(one.get_xydata(), other.get_xydata())
            for looks in ("get_color", "get_linestyle", "get_linewidth", "get_marker", "get_zorder"):
                assert getattr(one, looks)() == getattr(other, looks)()
        assert [text.get_rotation() for text in old.texts] == [text.get_rotation() for text in new.texts]


def test_axes_give_back_only_what_looks_alike():
    """A line of another colour, or a word that was hidden or turned, does not come back as it was left."""
    figure = figures.gain([0, 0.5, 0.9], {"one": [1, 2, 10]})
    (ax,) = figure.axes
    ax.lay_aside([*ax.lines, *ax.texts])
    (blue,) = ax.plot([0, 1], [0, 1], color="blue")
    word = ax.text(0, 0, "old", ha="left")
    word.set(visible=False, rotation=90)
    ax.lay_aside([blue, word])
    (red,) = ax.plot([0, 1], [0, 1], color="red")
    (again,) = ax.plot([0, 1], [3, 4], color="blue")
    new = ax.text(1, 1, "new", ha="left")
    framed = ax.text(0, 0, "framed", bbox={"facecolor": "white"})
    ax.lay_aside([framed])
    assert ax.text(0, 0, "framed", bbox={"facecolor": "white"}) is framed and framed.get_bbox_patch() is not None
    assert red is not blue and again is blue and list(again.get_ydata()) == [3, 4]
    assert new is word and new.get_visible() and new.get_rotation() == 0 and new.get_text() == "new"


def test_the_browser_is_handed_the_very_dots():
    """The dots that a slate holds are the picture, before and after a move, and its words are the readings."""
    panel = panels.waveforms(STAGE)
    for duty in (0.68, 0.4):
        panel.move(duty=duty)
        kept = panel._slate
        tones = np.frombuffer(kept.dots, np.uint8).reshape(kept.size[::-1])
        np.testing.assert_array_equal(np.frombuffer(kept.palette, np.uint8).reshape(-1, 3)[tones], _opened(panel.figure.png()))
        assert kept.words == panel.readings
