"""Reading a lab file into a Lab; the head of `lab` shows one."""

from __future__ import annotations

from importlib.resources import as_file, files
from pathlib import Path

from ..algebra import is_known
from ..algebra.quantity import known
from ..circuit.converter import LETTERS
from ..files import Section, read_toml
from ..units import quoted, read, show
from .lab import COPIES, MODES, TRAPS, WHICH, Kit, Lab, Measure, Task, Vary, three_digits
from .quantities import NAMES, asked
from .ratings import can_be_filled, names_in_braces

SCENARIO_KEYS = {  # a key of the scenario that a lab may set: its unit
    **{f"source.voltage.{which}": "V" for which in ("min", "usual", "max")},
    "load.voltage": "V",
    **{f"load.current.{which}": "A" for which in ("min", "usual", "max")},
    "load.step.from": "A", "load.step.to": "A", "limits.ripple": "V", "limits.step_deviation": "V",
    "choices.frequency": "Hz", "choices.ripple_fraction": "", "choices.inductance": "H", "choices.capacitance": "F",
    "choices.series_resistance": "Ω", "choices.crossover": "Hz",
}  # fmt: skip
OF_SCENARIO = ("v_in", "v_out", "i_out", "i_step", "f_sw", "inductance", "capacitance", "r_capacitor")
SET_BY_KIT = ("duty", "peak_current", "r_load", "saturation", "rectifier")
MOST_STEPS = 1000
LONGEST = 600  # characters of a sentence on the lab sheet
MOST_LINES, WIDEST = 30, 88  # of a drawing on the lab sheet: more does not fit across the page


def ready_labs() -> dict[str, Path]:
    """The labs that come with the kit: name (the workbook's number) and file."""
    with as_file(files("boostkit") / "data" / "labs") as folder:
        return {path.stem: path for path in sorted(Path(folder).glob("*.toml"))}


def read_lab(path: str | Path) -> Lab:
    """A lab file, or a ready lab by its name ("03"). Errors: ValueError of one line naming file, key, value and rule."""
    ready = ready_labs()
    if str(path).isdecimal() and str(path) not in ready:
        raise ValueError(f"LAB = {quoted(str(path))} must be a file or one of the ready labs: {', '.join(ready)}")
    path = ready.get(str(path), Path(path))
    top = read_toml(path)
    name = top.text("scenario")
    scenario = _scenario(top, name, path.parent)
    given = _given(top.section("given", optional=True))
    vary = _vary(top.section("vary", optional=True), dict(given))
    point = top.section("point", optional=True) or Section({}, top.where, "point")
    lab = Lab(
        title=top.text("title"), workbook=_plain_name(top, "workbook", ".ipynb"), scenario=scenario, scenario_name=name,
        tasks=_tasks(top), vary=vary, given=given, mode=top.choice("mode", MODES, "continuous"),
        source=point.choice("source", WHICH, "usual"), load=point.choice("load", WHICH, "max"),
        above_touch_limit=_yes(top, "above_touch_limit"), kit=_kit(top), check=_sentences(top, "check"), measure=_measure(top),
        cautions=_sentences(top, "cautions"), drawing=_drawing(top), copies=top.choice("copies", COPIES, COPIES[0]), where=top.where,
    )  # fmt: skip
    top.finish()
    return lab


def _plain_name(top: Section, key: str, ending: str) -> str:
    name = top.text(key)
    if Path(name).name != name or "\\" in name or not name.endswith(ending):
        top.fail(key, quoted(name), f"must be the name of a file that ends in {ending}, without a folder")
    return name


def _scenario(top: Section, name: str, folder: Path) -> dict:
    _plain_name(top, "scenario", ".toml")
    beside = folder / name
    if beside.is_file():
        return read_toml(beside).data
    with as_file(files("boostkit") / "data" / name) as path:
        if not path.is_file():
            top.fail("scenario", quoted(name), "is neither beside the lab file nor among the kit's own")
        return read_toml(path).data


def _unit(section: Section, key: str) -> str:
    """The unit of a key under [given] or [vary]."""
    if key in SCENARIO_KEYS:
        return SCENARIO_KEYS[key]
    if key in OF_SCENARIO:
        section.fail(key, "a letter", "is one that the scenario sets; write its key of the scenario instead, as in \"choices.inductance\"")
    if key in SET_BY_KIT or (key in LETTERS and LETTERS[key][2] is None):
        section.fail(key, "a letter", "is set by the kit, so that the output is the one asked for")
    if key in LETTERS:
        return LETTERS[key][2]
    if "." not in key and is_known(key):
        return known(key).unit
    return section.fail(key, "a key", f"is neither a letter nor one of {', '.join(SCENARIO_KEYS)}")


def _given(section: Section | None) -> tuple[tuple[str, float], ...]:
    found = []
    for key in section.data if section else ():
        value = section.quantity(key, _unit(section, key))
        _check_digits(section, key, value)
        found.append((key, value))
    return tuple(found)


def _vary(section: Section | None, given: dict[str, float]) -> tuple[Vary, ...]:
    found = []
    for key in section.data if section else ():
        unit, steps = _unit(section, key), section.section(key)
        if key in given:
            section.fail(key, "a range", "stands under [given] as well: a number is either the same for all or it varies")
        values = sorted(set(_listed(section, key, steps, unit) if steps.has("values") else _stepped(section, key, steps, unit)))
        for value in values:
            _check_digits(section, key, value)
        found.append(Vary(key, unit, tuple(float(f"{value:.2e}") for value in values)))
    return tuple(found)


def _listed(section: Section, key: str, steps: Section, unit: str) -> list[float]:
    values = steps.value("values")
    if not isinstance(values, list) or not 0 < len(values) <= MOST_STEPS:
        section.fail(key, quoted(values), f"must list 1 to {MOST_STEPS} values")
    return [read(value, unit, f"{section.where}: vary.{key}.values") for value in values]


def _stepped(section: Section, key: str, steps: Section, unit: str) -> list[float]:
    low, high, step = (read(steps.value(name), unit, f"{section.where}: vary.{key}.{name}") for name in ("from", "to", "step"))
    if step <= 0 or high < low:
        section.fail(key, f"{show(low, unit)} to {show(high, unit)} by {show(step, unit)}", "must rise in steps above zero")
    count = (high - low) / step + 1e-9
    if count >= MOST_STEPS:
        section.fail(key, f"{show(low, unit)} to {show(high, unit)} by {show(step, unit)}", f"must be at most {MOST_STEPS} steps")
    return [low + n * step for n in range(int(count) + 1)]


def _check_digits(section: Section, key: str, value: float) -> None:
    if not three_digits(value):
        section.fail(key, f"{value:.7g}", "must have at most three digits, at every step: nobody should have to copy more")


def _tables(top: Section, key: str) -> list[Section]:
    data = top.value(key, [])
    if not isinstance(data, list) or not all(isinstance(each, dict) for each in data):
        top.fail(key, quoted(data), f"must be tables, each under its own [[{key}]]")
    return [Section(each, top.where, f"{key}[{n}]") for n, each in enumerate(data, 1)]


def _tasks(top: Section) -> tuple[Task, ...]:
    found: list[Task] = []
    for section in _tables(top, "task"):
        found.append(_task(section, {task.id: task for task in found}))
        section.finish()
    if not found:
        raise ValueError(f"{top.where}: has no [[task]]: there is nothing to ask")
    return tuple(found)


def _task(section: Section, earlier: dict[str, Task]) -> Task:
    name = section.text("id")
    if not name.isascii() or not name.replace("_", "").isalnum() or len(name) > 32:
        section.fail("id", quoted(name), "must be letters, digits and _, at most 32")
    if name in earlier:
        section.fail("id", quoted(name), "stands above already")
    quantity = asked(section.text("quantity"), f"{section.where}: {section.key}.quantity")
    by = section.choice("by", ("formula", "circuit"), "formula")
    if (quantity.derivation if by == "formula" else quantity.read) is None:
        section.fail("by", quoted(by), f"does not give {quantity.name}; the other way does")
    follows = section.value("follows", [])
    if not isinstance(follows, list) or any(not isinstance(each, str) or each not in earlier for each in follows):
        section.fail("follows", quoted(follows), "must be a list of ids of tasks that stand above")
    if follows and by == "circuit":
        section.fail("follows", quoted(follows), "does not go with by = \"circuit\": the exact circuit takes no answers")
    if idle := [each for each in follows if not asked(earlier[each].quantity).letter]:
        section.fail("follows", quoted(idle[0]), "gives no letter that a formula could take")
    return Task(
        name, section.text("ask"), quantity.name, by, section.quantity("points", "", 1.0, low=0, high=100, open_low=True),
        section.quantity("tolerance", "", 0.02, low=0, high=0.2, open_low=True,
                         why="beyond a fifth, a wrong answer would pass for a right one"),
        tuple(follows), section.choice("trap", tuple(TRAPS), None), _yes(section, "measured"),
    )  # fmt: skip


def _yes(section: Section, key: str) -> bool:
    value = section.value(key, False)
    if not isinstance(value, bool):
        section.fail(key, quoted(value), "must be true or false")
    return value


def _kit(top: Section) -> tuple[Kit, ...]:
    found = []
    for each in _tables(top, "kit"):
        found.append(Kit(each.text("part"), _passage(each, "value"), _passage(each, "substitute", "")))
        each.finish()
    return tuple(found)


def _measure(top: Section) -> tuple[Measure, ...]:
    found = []
    for each in _tables(top, "measure"):
        expect = each.text("expect", "")
        tolerance = each.quantity("tolerance", "", low=0, high=1) if expect else 0.0
        found.append(Measure(each.text("what"), _passage(each, "how"), _expected(each, expect), tolerance, _passage(each, "caution", "")))
        each.finish()
    return tuple(found)


def _expected(section: Section, name: str) -> str:
    """What a measurement expects: a quantity that the circuit tells, or a letter."""
    if not name or (name not in NAMES and is_known(name)):
        return name
    quantity = asked(name, f"{section.where}: {section.key}.expect")
    if quantity.read is None:
        section.fail("expect", quoted(quantity.name), "cannot be read off the circuit")
    return name


def _drawing(top: Section) -> str:
    """A drawing in letters, lines kept."""
    text = top.value("drawing", "")
    lines = text.strip("\n").split("\n") if isinstance(text, str) else [""] * (MOST_LINES + 1)
    if len(lines) > MOST_LINES or any(len(line) > WIDEST or not line.isprintable() for line in lines):
        top.fail("drawing", quoted(text), f"must be text of at most {MOST_LINES} lines, {WIDEST} letters each, without tabs")
    return "\n".join(line.rstrip() for line in lines)


def _sentences(top: Section, key: str) -> tuple[str, ...]:
    data = top.value(key, [])
    if not isinstance(data, list):
        top.fail(key, quoted(data), "must be a list of sentences")
    numbered = Section({str(n): each for n, each in enumerate(data, 1)}, top.where, key)
    return tuple(_passage(numbered, name) for name in numbered.data)


def _passage(section: Section, key: str, default: str | None = None) -> str:
    """A sentence or a few, on one line."""
    text = section.value(key) if default is None else section.value(key, default)
    line = text.strip() if isinstance(text, str) else ""
    if (not line and text != default) or len(line) > LONGEST or not line.isprintable():
        section.fail(key, quoted(text), f"must be one line of text, at most {LONGEST} characters")
    if unknown := [name for name in names_in_braces(line) if not can_be_filled(name)]:
        section.fail(key, quoted("{" + unknown[0] + "}"), "is neither a letter nor a number that a lab sheet knows; they stand in ratings")
    return line
