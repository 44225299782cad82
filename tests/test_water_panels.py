"""Pictures of water: what stands in them is what the wave and the ram give, on paper and under sliders."""

import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from boostkit.show import water_panels
from boostkit.units import show
from boostkit.water import Pipe, Ram, linear_fall, sudden

FILE = Path(__file__).parent.parent / "workbooks" / "water.toml"
VELOCITY = 1.2


@pytest.fixture
def pipe() -> Pipe:
    """The example's pipe without friction, so that right answers are round."""
    return Pipe.from_file(FILE).change(friction=0.0)


def drawn(ax, label: str):
    """x and y of the line with this label."""
    line = next(line for line in ax.lines if line.get_label() == label)
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


def longest(ax):
    """x and y of the line with most points: the exact course."""
    line = max(ax.lines, key=lambda line: len(line.get_xdata()))
    return np.asarray(line.get_xdata(), float), np.asarray(line.get_ydata(), float)


def test_a_tank_so_high_that_no_column_tears(pipe):
    """Whatever the echo takes off, the pressure stays above that at which water boils."""
    for closing in (sudden(), linear_fall(0.3 * pipe.return_time), linear_fall(3 * pipe.return_time)):
        assert water_panels.whole(pipe, VELOCITY, closing, 9 * pipe.return_time).separates is None


def test_at_the_valve_rise_and_mean_stand_in_the_picture(pipe):
    """A slow closure: the drawn peak is 2 ρ l v/T, the dashed line ρ l v/T, and before the valve moves there is no rise."""
    time = 4 * pipe.return_time
    figure = water_panels.at_valve(water_panels.whole(pipe, VELOCITY, linear_fall(time), 2 * time))
    mean = pipe.density * pipe.length * VELOCITY / time
    x, y = longest(figure.axes[1])
    assert y.max() == pytest.approx(2 * mean, rel=1e-9)
    assert x[0] < 0 and (y[x < 0] == 0).all()
    assert drawn(figure.axes[1], "mean ρ ℓ v/T_shut")[1] == pytest.approx(mean)
    assert longest(figure.axes[0])[1][0] == VELOCITY
    assert show(2 * mean, "Pa") in figure.says and show(mean, "Pa") in figure.says


def test_a_rapid_closure_promises_no_rigid_mean(pipe):
    """Below one return time only the line of a sudden stop is drawn beside the course."""
    figure = water_panels.at_valve(water_panels.whole(pipe, VELOCITY, linear_fall(0.5 * pipe.return_time)))
    assert "mean ρ ℓ v/T_shut" not in [line.get_label() for line in figure.axes[1].lines]
    assert max(longest(figure.axes[1])[1]) == pytest.approx(pipe.density * pipe.wave_speed * VELOCITY)


@pytest.mark.parametrize(("share", "place", "sides", "way"), [
    (0.25, 0.5, (0, 1), "tank"), (0.4, 0.2, (0, 1), "tank"), (0.75, 0.5, (0, 1), "valve"),
    (1.1, 0.8, (0, -1), "tank"), (1.9, 0.8, (0, -1), "valve"),
])  # fmt: skip
def test_along_the_pipe_the_front_is_where_the_wave_speed_puts_it(pipe, share, place, sides, way):
    """The front stands where it has run in that time, with ρ a v on the valve's side, first above and then below."""
    found = water_panels.whole(pipe, VELOCITY, sudden(), 2 * pipe.return_time)
    figure = water_panels.along_pipe(found, [share])
    x, y = longest(figure.axes[0])
    stop = pipe.density * pipe.wave_speed * VELOCITY
    cell = pipe.length / 100
    assert x[np.argmax(np.abs(np.diff(y)))] == pytest.approx(place * pipe.length, abs=1.01 * cell)
    near, far = y[x < place * pipe.length - 2 * cell], y[x > place * pipe.length + 2 * cell]
    assert near == pytest.approx(sides[0] * stop, abs=1e-9 * stop) and far == pytest.approx(sides[1] * stop, rel=1e-9)
    assert f"on its way to the {way}" in figure.says


def test_the_closing_panel_follows_its_sliders(pipe):
    """Peak 2 ρ l v/T from its own numbers, and ρ a v once the valve is faster than the wave; reset brings the start back."""
    panel = water_panels.closing(pipe, VELOCITY, 4 * pipe.return_time)
    start = panel.readings
    panel.move(time=10 * pipe.return_time, velocity=2.0)
    values = panel.values  # a slider stands on its grid
    rise = 2 * pipe.density * pipe.length * values["velocity"] / values["time"]
    assert f"valve {show(rise, 'Pa')}" in panel.readings
    panel.move(length=2 * pipe.length, friction=0.1)
    values = panel.values
    rise = 2 * pipe.density * values["length"] * values["velocity"] / values["time"]
    shown = re.search(r"at the valve ([0-9.]+) kPa", panel.readings)
    assert 1.005 * rise < 1e3 * float(shown[1]) < 1.2 * rise  # friction that ends comes on top
    panel.move(length=pipe.length, friction=0.0, time=0.3 * pipe.return_time)
    assert f"valve {show(pipe.density * pipe.wave_speed * values['velocity'], 'Pa')}" in panel.readings
    assert panel.reset() == start


@pytest.mark.parametrize("of", ["mean", "peak"])
def test_the_column_panel_tells_formula_and_exact(pipe, of):
    """At whole return times the rigid column is exact without friction, and the reading says so; with friction it errs low."""
    from boostkit.derivations import column

    derivation = {"mean": column.mean_rise, "peak": column.slow_rise}[of]()
    panel = water_panels.column(pipe, VELOCITY, derivation, of)
    rise = (1 if of == "mean" else 2) * pipe.density * pipe.length * VELOCITY / (3 * pipe.return_time)
    assert f"formula {show(rise, 'Pa')}, exact {show(rise, 'Pa')}" in panel.readings
    panel.move(friction=0.1)
    assert re.search(r"error −[1-9]", panel.readings)
    panel.move(closing_time=0.8 * pipe.return_time)
    assert "does not hold" in panel.readings


def test_a_stroke_shows_flows_and_pressures_of_the_ram():
    """Waste flow up to the set flow, check flow after it, in litres per second; both stretches named in order."""
    settled = Ram.from_file(FILE).steady()
    figure = water_panels.stroke(settled)
    for name, values in (("waste valve", settled.waveforms(600).waste_flow), ("check valve", settled.waveforms(600).check_flow)):
        assert np.nanmax(drawn(figure.axes[0], name)[1]) == pytest.approx(1e3 * values.max())
    assert drawn(figure.axes[1], "in the vessel")[1].mean() == pytest.approx(settled.vessel_pressure.mean, rel=0.02)  # unevenly sampled
    assert [text.get_text() for text in figure.axes[0].texts][:2] == ["waste valve open", "check open"]
    assert show(settled.daubuisson, "%") in figure.says and water_panels.litres(settled.delivered) in figure.says


def test_a_clocked_stroke_that_rests_is_told_so():
    """A third stretch, in which both valves are shut, stands between."""
    ram = Ram.from_file(FILE)
    ram = replace(ram, waste_valve=replace(ram.waste_valve, shuts_at=None, frequency=0.6, share=0.4))
    words = [text.get_text() for text in water_panels.stroke(ram.steady()).axes[0].texts]
    assert words[:3] == ["waste valve open", "check open", "both shut"]


def test_the_ram_panel_follows_its_sliders():
    """What it reads is what the ram gives at those values; an impossible one is told and the picture stays."""
    ram = Ram.from_file(FILE)
    panel = water_panels.ram(ram)
    assert panel.readings == water_panels.reading(ram.steady())
    panel.move(fall=3.0)
    assert panel.readings == water_panels.reading(replace(ram, fall=panel.values["fall"]).steady())
    panel.move(throttle=2.0)
    line = replace(ram.delivery, flow=ram.delivery.flow / panel.values["throttle"])
    assert panel.readings == water_panels.reading(replace(ram, fall=panel.values["fall"], delivery=line).steady())


def test_with_lift_stands_at_that_lift():
    """The vessel's mean is just the lift asked for, with the gas volume as before."""
    ram = Ram.from_file(FILE)
    raised = water_panels.with_lift(ram, 24.0)
    assert raised.steady().head == pytest.approx(24.0, rel=1e-9)
    assert raised.vessel.volume_at(101325 + ram.pipe.pressure(24.0)) == pytest.approx(ram.vessel.gas_volume)
