"""Moving pictures: what moves is the integral of the exact flows, states and words are true, and the still is a picture.

The right answers need no book: charge and water are kept, and a mark's travel is compared with an integral taken otherwise.
The browser's part (it waits to be started, a step shows, reduced motion is kept) is checked by `browser_latency.py`.
"""

import io
import json
import re
from dataclasses import replace

import numpy as np
import pytest
from PIL import Image
from stages import SECOND, stage

from boostkit.circuit.switched import steady_state
from boostkit.show import courses, player, scenes, shapes
from boostkit.show.courses import BACKWARDS, CLOSED, CONDUCTING, IDLE, RELEASING
from boostkit.water.ram import Ram

CASES = {
    "continuous": {},
    "discontinuous": {"duty": 0.4, "r_load": 900.0},
    "two thresholds": {"duty": None, "f_sw": None, "peak_current": 2.0},
}
BACK = {**SECOND, "r_load": 300.0}  # so light a load that the current runs back through the second switch


def circuit(**letters):
    """The course of the tide gauge's stage, some letters changed."""
    return courses.of_converter(steady_state(stage(**letters)))


def ram(**letters):
    """The course of the ram that is like it: 1 V for 10 kPa, 1 A for 1 L/s, 1 µs for 0.2 s."""
    like = Ram.like(stage(**letters), pressure_per_volt=1e4, flow_per_ampere=1e-3, seconds_per_second=2e5)
    return courses.of_ram(like.steady())


@pytest.fixture(scope="module", params=CASES)
def both(request):
    """Ram and converter, in each way of running."""
    return ram(**CASES[request.param]), circuit(**CASES[request.param])


def test_marks_travel_by_the_exact_charge():
    """The travel over a period is the mean current, which the solver integrates exactly, times the period."""
    for letters in (*CASES.values(), BACK):
        state = steady_state(stage(**letters))
        course = courses.of_converter(state)
        for conduit, summary in (("drive", state.inductor_current), ("waste", state.switch_current),
                                 ("delivery", state.rectifier_current), ("store", state.capacitor_current)):
            size = state.inductor_current.rms * state.period
            # trapezoids between 400 samples of bends far longer than a period
            assert course.moved(conduit)[-1] == pytest.approx(summary.mean * state.period, abs=1e-5 * size)


def test_nothing_is_lost_on_the_way(both):
    """What leaves the coil or drive pipe has gone through switch or rectifier, at every instant; so in the picture."""
    for course in both:
        whole = course.moved("drive")
        assert np.allclose(whole, course.moved("waste") + course.moved("delivery"), atol=1e-12 * whole.max())
        travel = {name: numbers for name, (how, numbers) in course.moving.items() if how == "carry"}
        assert np.allclose(travel["move_drive"], travel["move_waste"] + travel["move_delivery"], atol=1e-9)
        assert np.allclose(travel["move_delivery"], travel["move_store"] + travel["move_out"], atol=1e-9)
        assert travel["move_drive"][-1] == pytest.approx(courses.TRAVEL)  # these currents never turn


def test_travel_is_in_proportion_to_the_integral(both):
    """One scale for every conduit of a picture."""
    for course in both:
        scale = courses.TRAVEL / course.moved("drive")[-1]
        for conduit in courses.CONDUITS:
            assert np.allclose(course.moving[f"move_{conduit}"][1], scale * course.moved(conduit), atol=1e-9)


def test_the_arrays_are_those_of_the_solver():
    """A course holds the solver's own samples, and the browser gets the same numbers in 32 bits."""
    state = steady_state(stage())
    wave, course = state.waveforms(400), courses.of_converter(state)
    assert np.array_equal(course.drive, wave.i_inductor) and np.array_equal(course.pressure, wave.v_out)
    made = player.of(course)
    numbers = np.frombuffer(made.canvas.numbers, "<f4")
    for name, (how, start, count) in made.canvas.scene["pictures"][0]["arrays"].items():
        assert how == course.moving[name][0]
        assert np.array_equal(numbers[start : start + count], course.moving[name][1].astype(np.float32))


def test_ram_and_converter_go_in_step(both):
    """Scaled alike, the two pictures move alike at every share of the period."""
    water, current = both
    for share in np.linspace(0, 0.999, 37):
        one, two = water.at(share), current.at(share)
        assert all(one[name] == two[name] for name in one if name == "state" or name.startswith(("tone", "way")))
        for name in ("move_drive", "move_store", "height", "level", "gauge_valve", "gauge_out"):
            assert one[name] == pytest.approx(two[name], abs=1e-6 * (courses.TRAVEL if "move" in name else 1))  # rounding


INSTANTS = [(0.0, CLOSED), (0.39, CLOSED), (0.41, CONDUCTING), (0.54, CONDUCTING), (0.56, IDLE), (0.99, IDLE)]


@pytest.mark.parametrize("share, state", INSTANTS)
def test_states_at_known_instants(share, state):
    """Discontinuous conduction at duty 0.4: closed up to there, then conducting, then idle, and the words say so."""
    course = circuit(duty=0.4, r_load=900.0)
    assert steady_state(stage(duty=0.4, r_load=900.0)).conduction_end == pytest.approx(0.5448, abs=1e-4)  # so 0.54 and 0.56 straddle it
    now = course.at(share)
    assert now["state"] == state
    assert (now["waste_open"], now["check_open"]) == (state == CLOSED, state == CONDUCTING)
    assert now["tone_waste"] == (CLOSED if state == CLOSED else 0) and now["tone_drive"] == state
    assert courses.WORDS["circuit"]["states"][state].lower() in course.reading(share)


def test_nothing_flows_in_an_idle_coil():
    """In the idle stretch marks in coil, switch and rectifier stand, and the capacitor feeds the load."""
    early, late = (circuit(duty=0.4, r_load=900.0).at(share) for share in (0.6, 0.95))
    for conduit in ("drive", "waste", "delivery"):
        assert early[f"way_{conduit}"] == 0 and early[f"move_{conduit}"] == pytest.approx(late[f"move_{conduit}"], abs=1e-6)
    assert early["way_store"] == -1 and early["tone_store"] == RELEASING and late["move_store"] < early["move_store"]


def test_an_instant_counts_to_what_comes_after_it(both):
    """Steps stop at every switching instant, and there the new state already shows, in the still as in the browser."""
    made = player.side_by_side(*both)
    for start, _, state in both[1].stretches:
        share = made.instants[np.argmin(np.abs(made.instants - start))]
        assert abs(share - start) < 1e-5
        assert both[1].at(share)["state"] == state and both[0].at(share)["state"] == state


def test_marks_turn_with_the_current():
    """A current that runs back moves its marks back, turns them, and has a sentence of its own."""
    course = circuit(**BACK)
    assert course.drive.min() < 0 < course.drive.max()
    back, forth = course.at(0.01), course.at(0.5)
    assert (back["way_drive"], forth["way_drive"]) == (-1, 1)
    assert course.at(0.03)["move_drive"] < back["move_drive"] and course.at(0.6)["move_drive"] > forth["move_drive"]
    assert course.at(0.98)["told"] == BACKWARDS and course.at(0.7)["told"] == CONDUCTING


def test_current_through_the_body_diode_is_said_and_drawn():
    """In the dead time of a second switch the current that has turned runs through the first switch's body diode: the coil is
    not empty, its path is live, and the diode stands in the picture only then."""
    course = circuit(**BACK, dead_time=5e-8)
    late, line = course.at(0.999), course.reading(0.999)
    assert course.drive[-1] < -0.01 and late["state"] == IDLE and late["told"] == courses.RETURNING
    assert (late["tone_drive"], late["tone_waste"], late["tone_delivery"]) == (CLOSED, CLOSED, 0) and late["way_waste"] == -1
    assert "body diode" in line and "body diode" not in course.reading(0.5)
    drawn = [shape for shape in scenes.scene(course) if shape.get("when") == ["told", courses.RETURNING] and shape["do"] == "path"]
    assert len(drawn) == 3
    empty = circuit(duty=0.4, r_load=900.0)
    assert courses.RETURNING not in empty.moving["told"][1] and empty.at(0.95)["told"] == IDLE


@pytest.mark.parametrize("share", ["0.5", "50 %", [0.5], np.array([0.1, 0.2]), True, float("nan"), -1e-9])
def test_a_share_is_a_number(share):
    """Each use says so in one line."""
    made = player.of(circuit())
    for call in (lambda: player.of(circuit(), share=share), lambda: made.readings(share), lambda: made.frames(share)):
        with pytest.raises(ValueError, match="^share = .* must"):
            call()


def test_a_course_is_a_course():
    """Nothing, a text or a converter is refused by name."""
    for wrong in (None, "x", stage()):
        with pytest.raises(ValueError, match="^course = .* must be a Course"):
            player.side_by_side(circuit(), wrong)


def test_the_sentence_names_who_feeds_the_load():
    """While the rectifier brings less than the load takes, the capacitor is named as feeding, and only then."""
    course = circuit(duty=0.4, r_load=900.0)
    told = course.moving["told"][1][course.state == CONDUCTING]
    store = course.store[course.state == CONDUCTING]
    assert set(told) == {CONDUCTING, RELEASING}
    assert np.array_equal(told == RELEASING, store < 0)


def test_the_vessel_is_fullest_when_its_flow_turns(both):
    """The level stands highest where water stops flowing in, and ends the stroke where it began."""
    for course in both:
        level, store = course.moving["level"][1], course.store
        top = int(np.argmax(level))
        assert store[top - 2] >= 0 >= store[(top + 2) % len(store)]  # from period to period
        assert level[-1] == pytest.approx(level[0], abs=1e-3)  # trapezoids, against the swing
        assert (level.min(), level.max()) == (0.0, 1.0)


def test_a_still_shows_something_and_follows_the_instant(both):
    """The picture on paper is no blank, is the same for the same numbers and another one at another instant."""
    made = player.side_by_side(*both)
    data = made.figure().png()
    dots = np.asarray(Image.open(io.BytesIO(data)).convert("L"))
    assert dots.shape[1] == 700 and 0.02 < np.mean(dots < 200) < 0.5
    for half in (dots[:, :350], dots[:, 350:]):
        assert half.std() > 20
    assert made.figure().png() == data != made.figure(0.1).png()
    assert made.frames().get_figheight() > made.figure().get_figheight()


def test_what_a_workbook_stores(both, monkeypatch):
    """The widget's address, the still and one stable line."""
    monkeypatch.delenv("BOOSTKIT_VECTORS", raising=False)
    first, again = (player.side_by_side(*both)._repr_mimebundle_() for _ in range(2))
    assert set(first) == {"text/plain", "image/png", "application/vnd.jupyter.widget-view+json"}
    assert first["text/plain"] == again["text/plain"] and first["image/png"] == again["image/png"]
    assert "0x" not in first["text/plain"] and "\n" not in first["text/plain"]
    assert "rectifier conducts" in first["text/plain"]  # by default the middle of that stretch


def test_readings_agree_with_the_solver():
    """The numbers in the line are the waveform's at that instant."""
    state = steady_state(stage())
    line = circuit().reading(0.34)
    middle = (state.inductor_current.min + state.inductor_current.max) / 2  # half of the closed stretch, nearly straight
    coil, load = float(re.search(r"coil ([\d.]+) A", line)[1]), float(re.search(r"load ([\d.]+) mA", line)[1])
    assert coil == pytest.approx(middle, abs=0.01)  # three digits, and a slope a little bent
    assert load == pytest.approx(1e3 * state.output_voltage.mean / 30, abs=2)  # mA; three digits and the ripple
    assert "switch closed" in line and "rectifier 0 A" in line


def test_every_shape_is_known_to_both_drawers(both):
    """The script draws each kind of shape that the scenes use, and every array that they name exists."""
    script = player.Canvas._esm
    for course in both:
        for shape in scenes.scene(course):
            assert re.search(rf"^  {shape['do']}\(pen", script, re.M), shape["do"]
            named = [shape.get(key) for key in ("tone", "by", "move", "way", "height")]
            named += [shape[key][0] for key in ("turn", "slide", "when") if key in shape]
            assert {name for name in named if name} <= set(course.moving)
            points = np.array(shape.get("points", [[0, 0]]))
            assert points.min() >= 0 and points[:, 0].max() <= shapes.WIDE and points[:, 1].max() <= shapes.HIGH
    json.dumps(player.side_by_side(*both).canvas.scene, allow_nan=False)


def test_no_physics_in_the_script():
    """The script knows no quantity of circuit or water; it reads arrays by the names that a shape gives."""
    code = re.sub(r"//.*", "", player.Canvas._esm)
    physics = r"volt|ampere|current|pressure|inductance|capacit|resist|duty|flow|charge|Math\.(exp|sqrt|pow|log)|\*\*"
    assert not re.search(physics, code, re.I)


@pytest.mark.parametrize("change, words", [
    ({"kind": "steam"}, "kind"), ({"drive": np.zeros(3)}, "drive"), ({"time": np.array([0.0, 0.0])}, "time"),
])
def test_courses_that_do_not_fit_are_refused(change, words):
    """Unknown kind, an array of another length, a time that does not pass."""
    two = circuit()
    short = {name: getattr(two, name)[:2] for name in ("time", "drive", "waste", "delivery", "out", "pressure", "valve_pressure",
                                                      "waste_open", "check_open")}
    with pytest.raises(ValueError, match=words):
        replace(two, **short | change)
    with pytest.raises(ValueError, match="share"):
        player.of(two, share=1.0)
