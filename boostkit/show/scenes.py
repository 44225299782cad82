"""The two moving pictures: the boost circuit, and the hydraulic ram that does the same with water."""

from __future__ import annotations

from .courses import RETURNING, Course
from .shapes import TONES, arc, box, fade, gauges, heading, marks, path, waveform, words
from .style import BLUE, INK, PAPER, PLUM, RUST, TINT


def scene(course: Course) -> list[dict]:
    """Every shape of the picture that suits the course, in drawing order."""
    picture = circuit(course) if course.kind == "circuit" else water(course)
    return [*heading(course), *picture, *waveform(course)]


# the circuit

TOP, LOW = 88.0, 200.0  # the two rails
SOURCE, COIL, SWITCH, STORE, LOAD = 34.0, (64.0, 120.0), 158.0, 246.0, 306.0
CELL, PLATES, BODY = (138.0, 146.0), (140.0, 148.0), (122.0, 166.0)  # heights of battery, capacitor plates, load


def circuit(course: Course) -> list[dict]:
    """Source, coil, switch, rectifier, capacitor and load, by the symbols of IEC 60617."""
    return [*_wires(), *_source_and_coil(), *_switch(), *_rectifier(course), *_capacitor_and_load(), *_circuit_marks(),
            *gauges(course, (SWITCH + 13, 114.0), (STORE + 19, 114.0)), *_circuit_names()]


def wire(conduit: str, *points) -> dict:
    """A line that is thin and grey until its conduit lies on the live path."""
    return path(points, **_live(conduit))


def _live(conduit: str) -> dict:
    return {"tone": f"tone_{conduit}", "tones": TONES, "width": 1.3, "live": 3.0}


def _wires() -> list[dict]:
    return [
        wire("drive", (SWITCH, LOW), (SOURCE, LOW), (SOURCE, CELL[1])),
        wire("drive", (SOURCE, CELL[0]), (SOURCE, TOP), (COIL[0], TOP)),
        wire("drive", (COIL[1], TOP), (SWITCH, TOP)),
        wire("waste", (SWITCH, TOP), (SWITCH, 122)), wire("waste", (SWITCH, 166), (SWITCH, LOW)),
        wire("delivery", (SWITCH, TOP), (STORE, TOP)), wire("delivery", (STORE, LOW), (SWITCH, LOW)),
        wire("store", (STORE, TOP), (STORE, PLATES[0])), wire("store", (STORE, PLATES[1]), (STORE, LOW)),
        wire("out", (STORE, TOP), (LOAD, TOP), (LOAD, BODY[0])), wire("out", (LOAD, BODY[1]), (LOAD, LOW), (STORE, LOW)),
    ]


def _source_and_coil() -> list[dict]:
    step = (COIL[1] - COIL[0]) / 4
    humps = [point for k in range(4) for point in arc(COIL[0] + (k + 0.5) * step, TOP, step / 2, 180, 360)]
    return [path([(SOURCE - 12, CELL[0]), (SOURCE + 12, CELL[0])], **_live("drive")),
            path([(SOURCE - 6, CELL[1]), (SOURCE + 6, CELL[1])], **_live("drive")),
            words(SOURCE - 17, CELL[0] - 9, "+", size=11), path(humps, **_live("drive"))]


def _switch() -> list[dict]:
    return [path([(SWITCH, 166), (SWITCH, 122)], turn=["waste_open", SWITCH, 166, -30, 0], **_live("waste")), *_body_diode()]


def _body_diode() -> list[dict]:
    """Bridges the open switch, and is drawn only while it conducts."""
    middle, live = (BODY[0] + BODY[1]) / 2, {"when": ["told", RETURNING], **_live("waste")}
    triangle = [(SWITCH - 8, middle + 8), (SWITCH, middle - 8), (SWITCH + 8, middle + 8)]
    return [path([(SWITCH, BODY[1]), (SWITCH, BODY[0])], **live), path(triangle, shut=True, fill=PAPER, **live),
            path([(SWITCH - 8, middle - 8), (SWITCH + 8, middle - 8)], **live)]


def _rectifier(course: Course) -> list[dict]:
    """A diode, or a second switch on its side."""
    middle, live = (SWITCH + STORE) / 2, _live("delivery")
    if course.rectifier == "switch":
        clear = box(middle - 20, TOP - 3, 40, 6, fill=PAPER)
        return [clear, path([(middle - 20, TOP), (middle + 20, TOP)], turn=["check_open", middle - 20, TOP, 30, 0], **live)]
    triangle = path([(middle - 9, TOP - 10), (middle + 9, TOP), (middle - 9, TOP + 10)], shut=True, fill=PAPER, **live)
    return [triangle, path([(middle + 9, TOP - 10), (middle + 9, TOP + 10)], **live)]


def _capacitor_and_load() -> list[dict]:
    plates = [path([(STORE - 13, y), (STORE + 13, y)], **_live("store")) for y in PLATES]
    return [*plates, box(LOAD - 8, BODY[0], 16, BODY[1] - BODY[0], fill=PAPER, **_live("out"))]


def _circuit_marks() -> list[dict]:
    across, up = SWITCH - SOURCE, LOW - TOP
    cell, coil = across + LOW - CELL[1], across + up + COIL[0] - SOURCE
    body = LOAD - STORE + BODY[0] - TOP
    middle = (STORE - SWITCH) / 2
    return [
        marks("drive", [(SWITCH, LOW), (SOURCE, LOW), (SOURCE, TOP), (SWITCH, TOP)], [(cell - 6, cell + 14), (coil - 2, coil + 58)]),
        marks("waste", [(SWITCH, TOP), (SWITCH, LOW)], [(BODY[0] - TOP - 2, BODY[1] - TOP + 2)]),
        marks("delivery", [(SWITCH, TOP), (STORE, TOP)], [(middle - 22, middle + 22)]), marks("delivery", [(STORE, LOW), (SWITCH, LOW)]),
        marks("store", [(STORE, TOP), (STORE, LOW)], [(PLATES[0] - TOP - 5, PLATES[1] - TOP + 5)]),
        marks("out", [(STORE, TOP), (LOAD, TOP), (LOAD, LOW), (STORE, LOW)], [(body - 4, body + 48)]),
    ]


def _circuit_names() -> list[dict]:
    return [words(SOURCE + 8, CELL[1] + 17, "source", size=10, align="left"), words(sum(COIL) / 2, TOP - 16, "coil", size=10),
            words(SWITCH - 8, 180, "switch", size=10, align="right"), words((SWITCH + STORE) / 2, TOP - 18, "rectifier", size=10),
            words(STORE - 6, 168, "capacitor", size=10, align="right"), words(LOAD, TOP - 12, "load", size=10)]


# the ram

AXIS, TANK = 190.0, (10.0, 96.0, 46.0, 46.0)  # height of the main pipe; supply tank: left, top, width, height
VALVE, FLAP, VESSEL, RISER = 154.0, 192.0, 244.0, 310.0  # where waste valve, check valve, vessel and delivery pipe stand
DOME, FULLEST, EMPTIEST, BOWL, ROUND = 112.0, 118.0, 146.0, 150.0, 24.0  # heights in the vessel, its half width
WATER = TINT["closed"]
WATERS = (WATER, fade(BLUE, 0.25), fade(RUST, 0.25), fade(PLUM, 0.25))
FALL = [(55.0, 132.0), (64.0, 132.0), (118.0, AXIS), (VALVE, AXIS)]  # the drive pipe


def water(course: Course) -> list[dict]:
    """Supply tank, drive pipe, waste valve, check valve, air vessel and delivery pipe, plainly drawn."""
    return [*_tanks(), *_pipes(), *_vessel(), *_water_marks(), *_valves(), *gauges(course, (199.0, 106.0), (278.0, 106.0)),
            *_water_names()]


def _tanks() -> list[dict]:
    """The supply tank, and the higher one that is delivered to: water, then three walls."""
    shapes = []
    for x, y, wide, high in (TANK, (RISER - 22, 68.0, 44.0, 22.0)):
        shapes += [box(x, y + 6, wide, high - 6, fill=WATER), path([(x, y + 6), (x + wide, y + 6)], ink=BLUE, width=1.2),
                   path([(x, y), (x, y + high), (x + wide, y + high), (x + wide, y)], ink=INK, width=2.0)]
    return shapes


def _pipes() -> list[dict]:
    """Every pipe as a broad line of wall with a narrower one of water on it, so that they run into each other."""
    runs = [("waste", [(VALVE, AXIS), (VALVE, AXIS + 27)], 16), ("delivery", [(VALVE, AXIS), (VESSEL, AXIS)], 16),
            ("store", [(VESSEL, AXIS), (VESSEL, BOWL + 20)], 12), ("out", [(VESSEL, AXIS), (RISER, AXIS), (RISER, 87)], 12),
            ("drive", FALL, 16)]
    chamber = box(VALVE - 20, AXIS - 11, 40, 22, ink=INK, fill=WATER, width=4.0)
    walls = [path(points, ink=INK, width=wide + 4) for _, points, wide in runs]
    filled = [path(points, tone=f"tone_{conduit}", tones=WATERS, width=wide) for conduit, points, wide in runs]
    inside = box(VALVE - 20, AXIS - 11, 40, 22, fill=WATER)
    return [*walls, chamber, inside, *filled]


def _vessel() -> list[dict]:
    """Water below, air above; the level is drawn larger than life."""
    left, wide = VESSEL - ROUND, 2 * ROUND
    bowl = [(VESSEL + ROUND, EMPTIEST), *arc(VESSEL, BOWL, ROUND, 0, 180), (VESSEL - ROUND, EMPTIEST)]
    shell = [(VESSEL - 6, BOWL + 23.3), *arc(VESSEL, BOWL, ROUND, 104, 180), *arc(VESSEL, DOME, ROUND, 180, 360, 24),
             *arc(VESSEL, BOWL, ROUND, 0, 76), (VESSEL + 6, BOWL + 23.3)]
    return [path([*arc(VESSEL, DOME, ROUND, 180, 360, 24), (VESSEL + ROUND, BOWL), (VESSEL - ROUND, BOWL)], shut=True, fill=PAPER),
            path(bowl, shut=True, fill=WATER),
            {"do": "bar", "box": [left, FULLEST, wide, EMPTIEST - FULLEST], "by": "level", "fill": WATER, "top": BLUE},
            path(shell, ink=INK, width=2.0), words(VESSEL, DOME - 8, "air", size=9)]


def _valves() -> list[dict]:
    """The waste valve's disc on its stem, held up by a spring; the check valve's flap, hung from above."""
    roof, seat = AXIS - 13, AXIS + 9
    lift = ["waste_open", 0, -10]
    springs = [path([(VALVE - 6 + 12 * (k % 2), roof - k * long / 6) for k in range(7)], ink=INK, width=1.1, when=["waste_open", state])
               for state, long in ((0, 12), (1, 22))]
    return [*springs, path([(VALVE, seat), (VALVE, roof - 13)], ink=INK, width=2.0, slide=lift),
            path([(VALVE - 9, roof - 13), (VALVE + 9, roof - 13)], ink=INK, width=3.0, slide=lift),
            path([(VALVE - 11, seat), (VALVE + 11, seat)], ink=INK, width=4.0, slide=lift),
            path([(FLAP, AXIS - 8), (FLAP, AXIS + 8)], ink=INK, width=3.0, turn=["check_open", FLAP, AXIS - 8, 0, -68]),
            path(arc(FLAP, AXIS - 9, 2.5, 0, 360), shut=True, fill=INK)]


def _water_marks() -> list[dict]:
    return [marks("drive", [(30, 132), *FALL]), marks("waste", [(VALVE, AXIS), (VALVE, AXIS + 27)], [(0, 12)]),
            marks("delivery", [(VALVE, AXIS), (VESSEL, AXIS)]), marks("store", [(VESSEL, AXIS), (VESSEL, EMPTIEST + 2)]),
            marks("out", [(VESSEL, AXIS), (RISER, AXIS), (RISER, 80)])]


def _water_names() -> list[dict]:
    return [words(TANK[0], TANK[1] - 9, "supply", size=10, align="left"), words(74, 186, "drive pipe", size=10, align="right"),
            words(VALVE - 12, AXIS + 25, "waste valve", size=10, align="right"), words(FLAP + 6, AXIS + 22, "check valve", size=10),
            words(VESSEL, DOME - ROUND - 9, "air vessel", size=10), words(RISER - 4, AXIS + 22, "delivery", size=10)]
