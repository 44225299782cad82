"""The house rules, as tests: who may import whom, where each outside library lives, and what every formula must say."""

import ast
import importlib
import pkgutil
import subprocess
import sys
from pathlib import Path

import pytest

import boostkit
from boostkit import derivations
from boostkit.algebra import Derivation

HOME = Path(boostkit.__file__).parent
ROOMS = ["units", "files", "algebra", "derivations", "circuit", "water", "control", "parts", "design", "bench", "show", "paper",
         "classroom", "__main__"]
HOMES = {
    "pint": {"units"}, "ipywidgets": {"show/live", "show/stepping", "show/player"}, "anywidget": {"show/player", "show/slate"},
    "nbformat": {"paper/workbook"}, "nbclient": {"paper/workbook"}, "pypandoc": {"paper/typeset"}, "typst": {"paper/typeset"},
    "click": {"__main__"}, "rich": {"__main__"}, "matplotlib": {"show/*"}, "schemdraw": {"show/schematics"},
    "uncertainties": {"bench/uncertain"},
}  # fmt: skip
FILES = sorted(path for path in HOME.rglob("*.py") if not {"workbooks", "data"} & set(path.parts))  # data: what other programs load


def _place(path: Path) -> list[str]:
    """Room and file of a module, as in ['circuit', 'flow']."""
    return list(path.relative_to(HOME).with_suffix("").parts)


def _imports(path: Path):
    """Every module that a file imports, as a dotted name with relative ones resolved, wherever in the file it does so."""
    package = ["boostkit", *_place(path)[:-1]]
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            base = package[: len(package) - node.level + 1] if node.level else []
            module = ".".join([*base, *([node.module] if node.module else [])])
            yield from (f"{module}.{alias.name}" for alias in node.names) if node.level or "boostkit" in module else [module]


def _order(room: str) -> list[str]:
    """The files of a room in the order that its `__init__` gives."""
    return list(importlib.import_module(f"boostkit.{room}").FILES)


def broken_imports(path: Path) -> list[str]:
    """What a file imports from a room below its own, or from a file below itself."""
    here, found = _place(path), []
    for name in _imports(path):
        parts = name.split(".")
        if parts[0] != "boostkit" or len(parts) < 2 or parts[1] not in ROOMS or here[0] == "__init__":
            continue
        if ROOMS.index(parts[1]) > ROOMS.index(here[0]):
            found.append(name)
        elif parts[1] == here[0] and len(here) > 1 and len(parts) > 2 and "__init__" not in here:
            order = _order(here[0])
            if parts[2] in order and order.index(parts[2]) >= order.index(here[1]):
                found.append(name)
    return found


@pytest.mark.parametrize("path", FILES, ids=lambda path: "/".join(_place(path)))
def test_a_file_imports_only_from_above(path):
    """A room imports only from rooms above it on the map, and a file only from files above it in its room."""
    assert broken_imports(path) == []


@pytest.mark.parametrize("path", FILES, ids=lambda path: "/".join(_place(path)))
def test_each_outside_library_has_one_home(path):
    """A library with a home is imported nowhere else."""
    here = "/".join(_place(path))
    for name in _imports(path):
        homes = HOMES.get(name.split(".")[0])
        assert homes is None or here in homes or f"{_place(path)[0]}/*" in homes, f"{here} imports {name}"


@pytest.mark.parametrize("room", [r for r in ROOMS if (HOME / r).is_dir()])
def test_every_file_of_a_room_is_in_its_reading_order(room):
    """The reading order names each file of the room, once, and none that is not there."""
    there = {path.stem for path in (HOME / room).glob("*.py")} - {"__init__"}
    assert sorted(_order(room)) == sorted(there)


@pytest.mark.parametrize("path", FILES, ids=lambda path: "/".join(_place(path)))
def test_files_stay_short(path):
    """No file is longer than 350 lines."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= 350


def all_derivations() -> list[Derivation]:
    """Every derivation that the derivations room offers: its public functions without arguments."""
    found = {}
    for module in pkgutil.iter_modules(derivations.__path__):
        made = importlib.import_module(f"boostkit.derivations.{module.name}")
        for name, function in vars(made).items():
            if callable(function) and hasattr(function, "cache_info") and not name.startswith("_"):
                derivation = function()
                found[derivation.name] = derivation
    return list(found.values())


@pytest.mark.parametrize("derivation", all_derivations(), ids=lambda d: d.name)
def test_every_derivation_verifies(derivation):
    """Each step follows from those before it."""
    derivation.verify()


@pytest.mark.parametrize("derivation", all_derivations(), ids=lambda d: d.name)
def test_every_data_sheet_is_complete(derivation):
    """Meaning, source, and an example that runs."""
    formula = derivation.formula
    assert formula.meaning and formula.source
    formula.check_dimensions()
    if formula.inputs and formula.example:
        assert formula.worked(**formula.example).text.count("=") >= 1


def test_importing_the_package_loads_nothing_heavy():
    """`import boostkit` leaves the heavy libraries alone."""
    code = "import sys, boostkit; print([m for m in ('numpy','sympy','scipy','pint','matplotlib','ipywidgets') if m in sys.modules])"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


def test_the_rules_can_fail(tmp_path, monkeypatch):
    """A file that imports from below is caught, so the check above is a check."""
    monkeypatch.setitem(globals(), "HOME", tmp_path)
    (tmp_path / "circuit").mkdir()
    bad = tmp_path / "circuit" / "flow.py"
    bad.write_text("from ..design import spec\nfrom .walk import period\n")
    assert broken_imports(bad) == ["boostkit.design.spec", "boostkit.circuit.walk.period"]
