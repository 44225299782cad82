"""Curves of any kind: what is drawn and told is what was handed in."""

import numpy as np
import pytest

from boostkit.show.curves import curves, rows

TIME = np.linspace(0.0, 2e-3, 101)
ALONG = ("time", "s")


def labelled(ax):
    """Every labelled line of an axes."""
    return {line.get_label(): line.get_data() for line in ax.lines if not line.get_label().startswith("_")}


def words(ax):
    return [text.get_text() for text in ax.texts if text.get_visible()]


def test_curves_are_drawn_as_handed_in():
    """Each curve along the common x or its own; marks, levels and stretches where they were put."""
    own = (TIME[::10], 3 + 0 * TIME[::10])
    figure = curves(TIME, {"rise": 1e3 * TIME, "own": own}, along=ALONG, of=("voltage", "V"), marks={"end": (2e-3, 2.0)},
                    spans=[(0, 1e-3, "first half")], level={"limit": 2.5})
    (ax,) = figure.axes
    drawn = labelled(ax)
    np.testing.assert_array_equal(drawn["rise"], (TIME, 1e3 * TIME))
    np.testing.assert_array_equal(drawn["own"], own)
    assert {"rise", "own", "end", "limit", "first half"} <= set(words(ax))
    assert any(list(line.get_ydata()) == [2.5, 2.5] for line in ax.lines)
    assert any((*line.get_xdata(), *line.get_ydata()) == (2e-3, 2.0) for line in ax.lines)
    assert ax.get_ylabel() == "voltage, V" and ax.get_xlabel() == "time, ms"
    box = ax.collections[0].get_paths()[0].get_extents()
    assert (box.x0, box.x1) == pytest.approx((0, 1e-3))


def test_the_sentence_names_ends_turning_points_marks_and_levels():
    """Whoever cannot see the picture hears where a curve begins, turns and ends."""
    bow = 4 - (TIME * 1e3 - 1) ** 2
    says = curves(TIME, {"bow": bow}, along=ALONG, of=("current", "A"), marks={"top": (1e-3, 4.0)}, level={"limit": 5}).says
    assert says == ("current against time: bow from 3 A at 0 s to 3 A at 2 ms (highest 4 A at 1 ms), top: 4 A at 1 ms, "
                    "limit: 5 A")
    assert curves(TIME, {"": bow}, along=ALONG, of=("current", "A"), says="A bow.").says == "A bow."


def test_axes_end_where_they_are_told_to():
    """`top` and `bottom` cut the picture, zero included; decades are counted where asked for."""
    (ax,) = curves(TIME, {"": 1e3 * TIME}, along=ALONG, of=("voltage", "V"), top=1.5, bottom=0).axes
    assert ax.get_ylim() == (0, 1.5)
    load = np.geomspace(1, 1e4, 9)
    (ax,) = curves(load, {"": 1 / load}, along=("load", "Ω"), of=("current", "A"), logarithmic="xy").axes
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "log") and ax.get_xlim() == pytest.approx((1, 1e4))
    (ax,) = curves(load, {"": 1 / load}, along=("load", "Ω"), of=("current", "A"), logarithmic="x").axes
    assert (ax.get_xscale(), ax.get_yscale()) == ("log", "linear")


def test_gaps_and_nothing_at_all():
    """A curve with nan is drawn with its gap, and one that is nan throughout is nowhere."""
    holed = np.where(TIME < 1e-3, np.nan, 1.0)
    figure = curves(TIME, {"holed": holed, "nothing": np.nan * TIME}, along=ALONG, of=("voltage", "V"))
    np.testing.assert_array_equal(labelled(figure.axes[0])["holed"][1], holed)
    assert "holed from 1 V at 1 ms to 1 V at 2 ms, nothing nowhere" in figure.says


def test_rows_share_their_x_axis():
    """Every row has its own curves and unit; only the last is numbered below."""
    figure = rows(TIME, [({"p": 1e5 * TIME}, ("pressure", "Pa")), ({"v": TIME}, ("speed", "m/s"), {"level": {"limit": 1e-3}})],
                  along=ALONG, spans=[(0, 1e-3, "closing")])
    upper, lower = figure.axes
    assert set(labelled(upper)) == {"p"} and set(labelled(lower)) == {"v"}
    assert upper.get_xlim() == lower.get_xlim() and lower.get_xlabel() == "time, ms" and upper.get_xlabel() == ""
    assert "limit" in words(lower) and "closing" in words(upper) and "closing" not in words(lower)
    assert figure.says.startswith("pressure against time: p from 0 Pa at 0 s to 200 Pa at 2 ms; speed against time: v ")


def test_drawn_anew_into_the_same_frame():
    """Under a slider the second picture in the same frame is what a fresh one would be, once the axes are the same."""
    def draw(factor, onto=None):
        return curves(TIME, {"a": factor * TIME}, along=ALONG, of=("voltage", "V"), top=3e-3, bottom=0, onto=onto)

    again = draw(1.0, onto=draw(0.5))
    assert again.png() == draw(1.0).png() != draw(0.5).png()


def test_what_cannot_be_told_apart_or_does_not_fit_is_refused():
    """A fifth curve in one row; an array that is longer than its x."""
    with pytest.raises(ValueError, match="5 curves in one row: at most 4"):
        curves(TIME, dict.fromkeys("abcde", TIME), along=ALONG, of=("voltage", "V"))
    with pytest.raises(ValueError, match="curve 'a' has"):
        curves(TIME, {"a": TIME[1:]}, along=ALONG, of=("voltage", "V"))
