"""Pictures: what is drawn is what was handed in, and the same numbers give the same bytes.

The right answers here need no book: an artist is read back and compared with the numbers that it was given.
"""

import os
import re
import subprocess
import sys

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from boostkit.circuit import Converter
from boostkit.circuit.switched import steady_state
from boostkit.show import figures, labels, lettering, schematics, style, traces
from boostkit.show.labels import place

STAGE = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=47e-6, r_inductor=0.04, r_switch=0.02, v_rectifier=0.4,
                     r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30)
DRY = STAGE.change(duty=0.4, r_load=900)  # so light a load that the current runs dry
PNG = b"\x89PNG\r\n\x1a\n"
CORNERS = [{"v_in": v, "i_out": i, "efficiency": 0.95 - 0.05 * i / v, "ripple_voltage": 0.08 * i}
           for v in (5.5, 6.0, 7.2) for i in (0.02, 0.35, 0.6)]


@pytest.fixture(scope="module")
def steady():
    """The example stage in continuous conduction."""
    return steady_state(STAGE)


def every_figure(steady):
    """One of each figure, drawn afresh."""
    duty = np.linspace(0, 0.9, 50)
    x = np.geomspace(1e-6, 1e-4, 40)
    wave = steady.waveforms()
    return {
        "waveforms": figures.waveforms(steady),
        "two_slopes": figures.two_slopes(steady),
        "gain": figures.gain(duty, {"no loss": 1 / (1 - duty)}, {"here": (0.5, 2.0)}, top=8),
        "energy_cycle": figures.energy_cycle({"here": (5e-5, 2e-5)}, {"here": (wave.time, wave.i_inductor)}),
        "compare": figures.compare(x, 1e-6 / x, 1.01e-6 / x, np.full(40, 0.02), x > 1e-5, along=("inductance", "H"),
                                   of=("ripple current", "A"), logarithmic=True),
        "corners": figures.corners(CORNERS, limits={"efficiency": (0.88, (6.0, 0.6)), "ripple_voltage": (0.06, None)}),
        "circuit": schematics.circuit_states(),
    }


def lines(figure):
    """Every labelled line of a figure: its label and its two arrays."""
    return {line.get_label(): line.get_data() for ax in figure.axes for line in ax.lines}


def test_same_numbers_same_bytes(steady):
    """Two pictures of the same numbers are equal byte by byte, as PNG and as SVG."""
    for one, two in zip(every_figure(steady).values(), every_figure(steady).values(), strict=True):
        assert one.png() == two.png()
        assert one.vector() == two.vector()


def test_other_numbers_other_bytes(steady):
    """A picture of other numbers differs, so the test above can fail."""
    assert figures.two_slopes(steady).png() != figures.two_slopes(steady_state(DRY)).png()


def test_what_a_workbook_stores(steady, monkeypatch):
    """PNG and one line of text, nothing else; SVG as well when the PDF asks for it."""
    monkeypatch.delenv("BOOSTKIT_VECTORS", raising=False)
    for figure in every_figure(steady).values():
        bundle = figure._repr_mimebundle_()
        assert set(bundle) == {"image/png", "text/plain"}
        assert bundle["image/png"].startswith(PNG)
        assert bundle["text/plain"] == figure.says == repr(figure)
        assert len(figure.says) > 20 and "\n" not in figure.says and "0x" not in figure.says
    monkeypatch.setenv("BOOSTKIT_VECTORS", "1")
    assert set(figure._repr_mimebundle_()) == {"image/png", "text/plain", "image/svg+xml"}


def test_vectors_carry_no_date_and_no_font(steady):
    """The SVG has a title for a screen reader, letters as outlines, and nothing that changes from day to day."""
    for figure in every_figure(steady).values():
        text = figure.vector().decode()
        assert not re.search(r"<dc:date>|20\d\d-\d\d-\d\d|matplotlib v|<text", text)
        assert "<title>" in text


def test_the_same_in_a_notebook_whether_or_not_pyplot_is_loaded():
    """A display shows our bundle once, even after pyplot has registered its own renderer for figures."""
    code = (
        "from IPython.core.interactiveshell import InteractiveShell\n"
        "from IPython.utils.capture import capture_output\n"
        "shell = InteractiveShell.instance()\n"
        "import matplotlib.figure, numpy as np\n"
        "from boostkit.show import figures\n"
        "fig = figures.gain(np.array([0, 0.5]), {'no loss': np.array([1, 2.0])})\n"
        "shell.display_formatter.formatters['image/png'].for_type(matplotlib.figure.Figure, lambda f: b'not ours')\n"
        "shell.display_formatter.active_types = ['text/plain', 'image/png']\n"
        "shown = []\n"
        "shell.display_pub.publish = lambda data, metadata=None, **more: shown.append(data)\n"
        "print(shell.display_formatter.format(fig), len(shown), shown[0]['image/png'] == fig.png())\n"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, env=_plain())
    assert out.stdout.strip() == "({}, {}) 1 True"


def _plain():
    return {key: value for key, value in os.environ.items() if key != "BOOSTKIT_VECTORS"}


def test_no_pyplot_and_no_lasting_settings():
    """Drawing figures and panels loads no pyplot and leaves matplotlib's settings as they were."""
    code = (
        "import sys, matplotlib\n"
        "before = matplotlib.rcParams.copy()\n"
        "from boostkit.circuit import Converter\n"
        "from boostkit.show import figures, panels\n"
        "c = Converter.of(v_in=6, duty=0.6, f_sw=150e3, inductance=47e-6, capacitance=1e-4, r_load=30)\n"
        "panels.two_slopes(c).move(duty=0.5)\n"
        "print('matplotlib.pyplot' in sys.modules)\n"  # first, since asking for the backend would load it
        "print([k for k in before if k != 'backend' and before[k] != matplotlib.rcParams[k]])\n"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.split() == ["False", "[]"]


def test_importing_boostkit_loads_no_pictures():
    """`import boostkit` and the room itself stay light."""
    code = "import sys, boostkit.show; print(sorted({'matplotlib', 'ipywidgets', 'schemdraw'} & set(sys.modules)))"
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert out.stdout.strip() == "[]"


@pytest.mark.parametrize("converter", [STAGE, DRY], ids=["continuous", "discontinuous"])
def test_waveforms_are_drawn_as_handed_in(converter):
    """Every curve read back from the picture equals the samples, in SI units."""
    state = steady_state(converter)
    wave, drawn = state.waveforms(traces.SAMPLES), lines(figures.waveforms(state))
    for name in ("v_switch", "v_inductor", "i_inductor", "i_switch", "i_rectifier", "i_capacitor", "v_out"):
        np.testing.assert_array_equal(drawn[name][0], wave.time)
        np.testing.assert_array_equal(drawn[name][1], getattr(wave, name))


def test_waveforms_alone_carry_no_summary(steady):
    """Bare waveforms are drawn without means and peaks, which only a SteadyState has."""
    bare, full = figures.waveforms(steady.waveforms()), figures.waveforms(steady)
    words = [" ".join(t.get_text() for ax in f.axes for t in ax.texts) for f in (bare, full)]
    assert "peak" not in words[0] and "peak 2.16 A" in words[1]


def test_states_are_named_where_they_are():
    """Closed, conducting, both off: the ends of the stretches are the switching instants of the solver."""
    state = steady_state(DRY)
    found = traces.spans(state.waveforms())
    assert [kind for _, _, kind in found] == ["closed", "conducting", "idle"]
    ends = [0.4 * state.period, state.conduction_end * state.period, state.period]
    assert [end for _, end, _ in found] == pytest.approx(ends, rel=1e-12)  # rounding only


def test_volt_seconds_written_in_are_equal_and_right(steady):
    """The two areas cancel, and each is L times the rise of the current."""
    figure = figures.two_slopes(steady)
    written = re.findall(r"([+−][\d.]+) µV·s", figure.says)
    assert written[0][1:] == written[1][1:] and {written[0][0], written[1][0]} == {"+", "−"}
    assert float(written[0]) == pytest.approx(47 * steady.ripple_current, rel=5e-3)  # three digits are written


def test_gain_curves_marks_and_peaks():
    """Gain curves are drawn as handed in, the mark where it belongs, and a peak only where the curve turns."""
    duty = np.linspace(0, 0.9, 91)
    turning = np.where(duty < 0.7, duty, 1.4 - duty)
    figure = figures.gain(duty, {"climbing": 1 / (1 - duty), "turning": turning}, {"here": (0.5, 2.0)},
                          peaks=("climbing", "turning"), top=3)
    drawn = lines(figure)
    np.testing.assert_array_equal(drawn["climbing"][1], 1 / (1 - duty))
    np.testing.assert_array_equal(drawn["turning"][1], turning)
    points = [tuple(np.ravel(line.get_data())) for line in figure.axes[0].lines if len(line.get_xdata()) == 1]
    assert (0.5, 2.0) in points and (duty[70], turning[70]) in points and len(points) == 2


def test_energy_bars_are_the_numbers():
    """Widths of the bars are the energies; the course is drawn as handed in."""
    time, energy = np.linspace(0, 1e-5, 5), np.array([1, 2, 3, 2, 1]) * 1e-6
    figure = figures.energy_cycle({"a": (5e-5, 2e-5), "b": (1e-6, 3e-6)}, {"a": (time, energy)})
    bars, _ = figure.axes
    assert [bar.get_width() for bar in bars.patches] == pytest.approx([5e-5, 2e-5, 1e-6, 3e-6])
    assert [bar.get_x() for bar in bars.patches] == pytest.approx([0, 5e-5, 0, 1e-6])
    np.testing.assert_array_equal(lines(figure)["a"][1], energy)


def test_compare_draws_error_promise_and_where_it_ends():
    """Formula 3 % high: the error curve is 3 %, and the grey ends at the last point where the formula holds."""
    x = np.linspace(1.0, 10.0, 10)
    figure = figures.compare(x, 1.03 * x, x, (0 * x, 0 * x + 0.05), x >= 4, along=("load", "Ω"), of=("gain", ""))
    drawn = lines(figure)
    np.testing.assert_allclose(drawn["error"][1], 0.03, rtol=1e-12)  # rounding only
    np.testing.assert_array_equal(drawn["formula"][1], 1.03 * x)
    upper = figure.axes[0]
    shade = next(drawn for drawn in upper.collections if drawn.get_hatch())
    assert [path.get_extents().x1 for path in shade.get_paths()] == [4]
    assert "worst error where it holds 3 %" in figure.says


def test_corners_are_the_rows():
    """Each source voltage is a line through its three corners; the limit lies where it was set."""
    figure = figures.corners(CORNERS, limits={"efficiency": (0.88, (6.0, 0.6))})
    upper = figure.axes[0]
    line = next(line for line in upper.lines if line.get_label() == "6 V")
    np.testing.assert_array_equal(line.get_ydata(), [row["efficiency"] for row in CORNERS if row["v_in"] == 6.0])
    assert any(np.array_equal(line.get_ydata(), [0.88, 0.88]) for line in upper.lines)


@pytest.mark.parametrize("converter", [STAGE, DRY, STAGE.change(duty=0.08), STAGE.change(duty=0.92)])
@pytest.mark.parametrize("draw", [figures.waveforms, figures.two_slopes])
def test_no_label_covers_another(draw, converter):
    """At ordinary, light-load, lowest and highest duty no two texts of a row overlap and none leaves the picture."""
    figure = draw(steady_state(converter))
    renderer = figure.canvas.get_renderer()
    for ax in figure.axes:
        boxes = [t.get_window_extent(renderer) for t in ax.texts if t.get_text()]
        for n, box in enumerate(boxes):
            assert not any(box.overlaps(other) for other in boxes[:n])
            assert box.x0 > 0 and box.x1 < figure.bbox.width and box.y0 > 0 and box.y1 < figure.bbox.height


def test_words_stand_where_matplotlib_puts_them():
    """Words from our own store lie within a dot of those that plain Agg draws letter by letter, and are as dark."""
    for words in ("ripple 43 mV", "−12.3 µV·s", "Ω", "two\nlines"):
        dark = []
        for canvas in (lettering.Canvas, FigureCanvasAgg):
            figure = Figure(figsize=(2, 1), dpi=100)
            canvas(figure)
            figure.text(0.503, 0.507, words, ha="center", va="center", color="#7b2d5e", fontsize=9)
            figure.canvas.draw()
            dark.append(255.0 - np.asarray(figure.canvas.buffer_rgba())[..., 1])
        ours, theirs = dark
        assert ours.sum() == pytest.approx(theirs.sum(), rel=0.02)  # dots rounded to 8 bits, one letter at a time or all
        for axis in (0, 1):
            centre = [np.average(np.arange(d.shape[axis]), weights=d.sum(axis=1 - axis)) for d in dark]
            assert abs(centre[0] - centre[1]) < 1.0


def test_the_cheapest_spot_is_found_without_asking_for_all():
    """Asked for the dear part of the cost only where it may matter, the search finds what asking everywhere finds."""
    rng = np.random.default_rng(3)
    for _ in range(50):
        cost, extra = rng.integers(0, 9, 300) / 4, rng.integers(0, 30, 300) / 4
        assert labels._cheapest(cost, lambda few, extra=extra: extra[few], few=5) == np.argmin(cost + extra)


def test_labels_of_one_curve_keep_apart():
    """Three labels for the same curve find three places."""
    figure, (ax,) = style.frame([2.0])
    ax.set(xlim=(0, 1), ylim=(0, 1))
    (line,) = ax.plot([0, 1], [0.5, 0.5])
    boxes = [text.get_window_extent(figure.canvas.get_renderer()) for text in place(ax, [(line, "a label")] * 3)]
    assert not any(one.overlaps(two) for n, one in enumerate(boxes) for two in boxes[:n])


def test_a_label_keeps_off_the_curves():
    """Between two crossing lines each label finds a spot that no line runs through."""
    figure, (ax,) = style.frame([2.0])
    ax.set(xlim=(0, 1), ylim=(0, 1))
    pair = [ax.plot([0, 1], ends)[0] for ends in ([0, 1], [1, 0])]
    for text in place(ax, [(line, "a label of some length") for line in pair]):
        box = text.get_window_extent(figure.canvas.get_renderer())
        across = np.linspace(0, 1, 2000)
        for height in (across, 1 - across):
            dots = ax.transData.transform(np.column_stack([across, height]))
            assert not ((dots > (box.x0, box.y0)) & (dots < (box.x1, box.y1))).all(axis=1).any()


@pytest.mark.parametrize(("value", "unit", "label"), [
    (30e-6, "H", "x, µH"), (0.5, "A", "x, mA"), (18.0, "V", "x, V"),
    (0.4, "", "x"), (0.9, "%", "x, %"), (2e3, "m²", "x, m²"),
])
def test_an_axis_counts_in_the_prefix_that_suits(value, unit, label):
    """The label names the prefix; a tick at the end of the axis reads the value in it."""
    figure, (ax,) = style.frame([1.0])
    ax.set_ylim(0, value)
    style.name_axis(ax.yaxis, "x", unit)
    assert ax.get_ylabel() == label
    scale = {"H": 1e-6, "A": 1e-3, "%": 0.01}.get(unit, 1.0)
    assert float(ax.yaxis.get_major_formatter()(value)) == pytest.approx(value / scale)
    assert len(figure.axes) == 1


@pytest.mark.parametrize("rectifier", ["diode", "switch"])
def test_live_path_of_the_circuit(rectifier):
    """Closed: the switch is thick and coloured, the rectifier thin and grey. Conducting: the other way round."""
    at, top = schematics.Places(), schematics.HEIGHT
    for state, closed in (("closed", True), ("conducting", False)):
        pens = {_ends(line): (line.get_color(), line.get_linewidth())
                for line in schematics.circuit_states((state,), rectifier).axes[0].lines}
        switch, gate = pens[at.switch, top, at.switch, 0.0], pens[at.switch, top, at.capacitor, top]
        alive, dead = (switch, gate) if closed else (gate, switch)
        assert dead == (style.QUIET, 1.0)
        assert alive[0] in (style.BLUE, style.RUST) and alive[1] > 2


def _ends(line):
    x, y = (np.asarray(part, float) for part in line.get_data())
    return tuple(round(float(value), 6) for value in (x[0], y[0], x[-1], y[-1]))


def test_circuit_refuses_what_does_not_exist():
    """No idle state with a second switch, no unknown state, no unknown rectifier: one line with the value each."""
    for arguments, words in (
        ({"rectifier": "switch"}, "idle"), ({"states": ("open",)}, "open"), ({"rectifier": "valve"}, "valve"),
    ):
        with pytest.raises(ValueError, match=words):
            schematics.circuit_states(**arguments)
