"""The set of a class: made, gone on with where it stopped, and marked.

    FOLDER/copies/KEY/     answers_KEY.toml, answers_KEY.csv, the blanked workbook, scenario.toml (the learner's own numbers, or the
                           example's where the lab says so), and lab_KEY.md where the lab goes to the bench; PDFs of answer sheet,
                           lab sheet and workbook: the key, no name
    FOLDER/returned/       where the teacher puts what comes back
    FOLDER/teacher/        set.json (names, numbers, seed), the lab, its scenario, keys/KEY.md, and after marking marks.csv,
                           feedback.csv and hard.csv
"""

from __future__ import annotations

import hashlib
import math
import re
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from ..files import read_json, to_json, write_all
from ..paper import workbook
from ..units import quoted, read
from . import labsheet, on_paper, outcome
from .copies import blanked, copy_text, given_away, is_tagged, key_text, shown_numbers, told_numbers
from .handed_in import collect
from .lab import Lab, Vary
from .lab_file import read_lab, ready_labs
from .numbers import Variant, numbers_at, path_of
from .outcome import Outcome
from .roster import Learner, Roster, read_roster
from .sheets import csv_sheet, toml_sheet
from .tasks import Answer, expected
from .variants import DRAWS, variant, variants

SEED = 1
LEFT = re.compile(r"\.boostkit-[0-9a-f]+\.tmp")  # what `write_all` leaves where it is killed
UNTAGGED = "has no cell with the tag answer-here or key-only: the copies hold everything that it holds, solutions too"
Progress = Callable[[int, int, str], None]
Tells = Callable[[Variant], list[str]]


@dataclass(frozen=True)
class Made:
    """What `make` did: how many learners there are, how many of them were new or incomplete, and what to tell the teacher."""

    learners: int
    written: int
    notes: tuple[str, ...] = ()


def make(folder: str | Path, lab_file: str | Path, roster_file: str | Path, books: Iterable[str | Path] = (), seed: int | None = None,
         pdf: bool = False, progress: Progress | None = None) -> Made:  # fmt: skip
    """Make the set of a class, or go on with it. What is there already stays as it is.

    lab_file: a file, or a ready lab by its name ("03"). books: folders in which the lab's workbook may lie, after that of the lab file.
    seed: a whole number (default: that of the set, or 1). pdf: a PDF of each sheet and key too. progress(done, total, words).
    Raises ValueError where lab, roster or workbook cannot be used, and where the folder holds the set of another lab or seed.
    """
    folder, lab_path = Path(folder).absolute(), ready_labs().get(str(lab_file), Path(lab_file))
    lab, roster = read_lab(lab_path), read_roster(roster_file)
    notebook = workbook.read(_book(lab, (lab_path.parent, *map(Path, books))))
    raw = lab_path.read_bytes()
    teachers = _teachers(folder, lab, lab_path, raw)
    before = _set_before(folder, lab, hashlib.sha256(raw).hexdigest(), seed, teachers)
    seed = before.get("seed", SEED) if seed is None else seed
    people = _people(before, roster)
    found = _numbers(lab, people, seed, before, _tells(lab, lab_path, notebook), progress)
    answers = {key: expected(one) for key, one in found.items()}
    _check_sheets(lab, found)
    _write_teachers(folder, {} if before else teachers, _set(lab, raw, seed, people, found, answers), before)
    written = 0
    for number, (key, one) in enumerate(found.items(), 1):
        written += _write_one(folder, lab, notebook, one, answers[key], pdf)
        if progress:
            progress(number, len(found), f"copies for {key}")
    return Made(len(found), written, () if is_tagged(notebook) else (f"{lab.workbook} {UNTAGGED}",))


def mark(folder: str | Path, sheets: Iterable[str | Path] = (), force: bool = False, progress: Progress | None = None) -> Outcome:
    """Mark what came back: the files and folders named, else FOLDER/returned. Writes marks.csv, feedback.csv and hard.csv.

    Raises ValueError where the folder holds no set, nothing came back, or a table of marks was changed by hand since (unless `force`).
    """
    folder = Path(folder).absolute()
    kept = _read_set(folder)
    if kept is None:
        raise ValueError(f"{folder.name}: holds no teacher/set.json, so no set was made in it")
    lab = read_lab(folder / "teacher" / kept["lab"])
    learners = tuple(Learner(key, one["name"], one["group"]) for key, one in kept["learners"].items())
    places = list(sheets) or [folder / "returned"]
    if missing := [Path(place).name for place in places if not Path(place).exists()]:
        raise ValueError(f"{', '.join(missing[:5])}: is not there; put what came back into {folder.name}/returned, or name it")
    came = collect(places, [learner.key for learner in learners], progress)
    found = outcome.mark_class(lab, learners, came, lambda key: _again(lab, key, kept), progress)
    tables = {"marks.csv": outcome.marks_table, "feedback.csv": outcome.feedback_table, "hard.csv": outcome.hard_table}
    write_all({folder / "teacher" / name: text(found) for name, text in tables.items()}, "returned sheets", force)
    return found


# what the set remembers


def _set(lab: Lab, raw: bytes, seed: int, people: dict[str, Learner], found: dict[str, Variant], answers: dict) -> dict:
    return {
        "title": lab.title, "lab": lab.where, "lab_sha256": hashlib.sha256(raw).hexdigest(), "seed": seed,
        "learners": {
            key: {"name": people[key].name, "group": people[key].group, "draw": one.draw, "numbers": one.numbers,
                  "answers": {name: each.value for name, each in answers[key].items()}}
            for key, one in found.items()
        },
    }  # fmt: skip


def _read_set(folder: Path) -> dict | None:
    path = folder / "teacher" / "set.json"
    if not path.exists():
        return None
    kept = read_json(path).data
    try:
        entries = [(kept["lab"] + kept["lab_sha256"], one["name"] + one["group"], one["draw"] + kept["seed"], dict(one["numbers"]),
                    dict(one["answers"])) for one in kept["learners"].values()]  # fmt: skip
    except (KeyError, TypeError, AttributeError, ValueError):
        entries = []
    if not entries or Path(kept["lab"]).name != kept["lab"]:
        raise ValueError("set.json: is not as this kit wrote it; take it from your backup, or make the set again in another folder")
    return kept


def _set_before(folder: Path, lab: Lab, sha: str, seed: int | None, teachers: dict[Path, bytes]) -> dict:
    kept = _read_set(folder)
    if kept is None:
        if taken := [name for name in ("copies", "teacher") if (folder / name).exists() and not _is_begun(folder / name, teachers)]:
            raise ValueError(f"{folder.name}: holds {' and '.join(taken)} of another origin; take another folder")
        return {}
    if kept["lab_sha256"] != sha:
        raise ValueError(f"{folder.name}: holds the set of {kept['title']}, made from another lab file or an earlier version of it; "
                         "take another folder")  # fmt: skip
    if seed is not None and seed != kept["seed"]:
        raise ValueError(f"{folder.name}: holds a set of seed {kept['seed']}, not {seed}; take another folder")
    return kept


def _is_begun(there: Path, teachers: dict[Path, bytes]) -> bool:
    """Whether the teacher's folder holds no more than a run leaves that was killed before it had written set.json."""
    return there.name == "teacher" and there.is_dir() and all(
        path.is_file() and (bool(LEFT.fullmatch(path.name)) or path.read_bytes() == teachers.get(path)) for path in there.iterdir())


def _people(before: dict, roster: Roster) -> dict[str, Learner]:
    """Those who had their copies already, then the new ones; who left the roster stays, so that their sheet is still known."""
    people = {key: Learner(key, one["name"], one["group"]) for key, one in before.get("learners", {}).items()}
    return people | {learner.key: learner for learner in roster.learners}


def _again(lab: Lab, key: str, kept: dict) -> Variant:
    """A learner's numbers as they were handed out. Raises ValueError where the lab would ask for other answers now."""
    one = kept["learners"][key]
    found = numbers_at(lab, one["numbers"], key, kept["seed"], one["draw"])
    for name, each in expected(found).items():
        # far above the rounding of another computer, far below any tolerance
        if name in one["answers"] and not math.isclose(each.value, one["answers"][name], rel_tol=1e-6):
            raise ValueError(f"{lab.where}: gives {key} another answer to {name} than the one handed out; only points, tolerances and "
                             "words of a lab may change once its set is made")  # fmt: skip
    return found


# numbers that no copy gives away


def _tells(lab: Lab, lab_path: Path, notebook) -> Tells:
    """What says of a learner's numbers which answers their copy gives away, in words."""
    told = told_numbers(blanked(notebook, lab, ""))
    if lab.copies == "own numbers":
        return lambda one: given_away(told, expected(one).values())
    scenario = {"cells": [{"source": _scenario_file(lab, lab_path).read_text(encoding="utf-8")}], "metadata": {}}
    told |= shown_numbers(notebook) | dict.fromkeys(told_numbers(scenario), "the scenario")
    example = expected(numbers_at(lab, _example_numbers(lab)))
    return lambda one: given_away(told, expected(one).values()) + _same_as(example, expected(one))


def _example_numbers(lab: Lab) -> dict[str, float]:
    """The scenario's own numbers for what varies; where it has none, as for a part, the middle one of the lab's."""
    return {each.key: _own(lab.scenario, each) or each.values[len(each.values) // 2] for each in lab.vary}


def _own(data, varied: Vary) -> float | None:
    for name in path_of(varied.key):
        data = data.get(name) if isinstance(data, dict) else None
    return None if data is None else read(data, varied.unit, f"scenario: {varied.key}")


def _same_as(example: dict[str, Answer], answers: dict[str, Answer]) -> list[str]:
    """The answers that the example's own would pass for, in words; what is measured nobody takes from a copy."""
    return [f"the example itself answers {name} right" for name, each in answers.items()
            if not each.task.measured and abs(example[name].value / each.value - 1) <= each.tolerance]  # fmt: skip


def _numbers(lab: Lab, people: Iterable[str], seed: int, before: dict, tells: Tells, progress) -> dict[str, Variant]:
    """Each learner's numbers, drawn again where the copy would give an answer away."""
    drawn = {key: one["draw"] for key, one in before.get("learners", {}).items()}
    found = variants(lab, people, seed, drawn, progress and (lambda done, total, key: progress(done, total, f"numbers for {key}")))
    taken = {tuple(one.numbers.values()) for one in found.values()}
    for key, one in found.items():
        if key not in drawn and (told := tells(one)):
            found[key] = _other(lab, one, tells, taken, told[0])
            taken.add(tuple(found[key].numbers.values()))
    return found


def _other(lab: Lab, one: Variant, tells: Tells, taken: set, why: str) -> Variant:
    for draw in range(one.draw + 1, DRAWS):
        try:
            other = variant(lab, one.key, one.seed, draw)
        except ValueError:
            continue
        if tuple(other.numbers.values()) not in taken and not tells(other):
            return other
    cure = "" if why.startswith("the example") else "tag that cell answer-here or key-only, or "
    raise ValueError(f"{lab.workbook}: {why}; {cure}vary more numbers")


# files


def _book(lab: Lab, homes: tuple[Path, ...]) -> Path:
    for home in homes:
        if (home / lab.workbook).is_file():
            return home / lab.workbook
    raise ValueError(f"{lab.where}: workbook = {quoted(lab.workbook)} is not there; put it beside the lab file")


def _check_sheets(lab: Lab, found: dict[str, Variant]) -> None:
    """A sentence of the lab sheet that cannot be filled for somebody is named before anything is written."""
    for key, one in found.items():
        try:
            labsheet.text(one)
        except ValueError as trouble:
            raise ValueError(f"{lab.where}: {str(trouble).removeprefix(f'{lab.where}: ')}, with the numbers of {key}") from None


def _teachers(folder: Path, lab: Lab, lab_path: Path, raw: bytes) -> dict[Path, bytes]:
    """The lab and its scenario as the set keeps them."""
    there = folder / "teacher"
    return {there / lab.where: raw, there / lab.scenario_name: _scenario_file(lab, lab_path).read_bytes()}


def _write_teachers(folder: Path, teachers: dict[Path, bytes], kept: dict, before: dict) -> None:
    """set.json, and with the first run the lab and its scenario, so that a later version of either changes no marks."""
    missing = {path: content for path, content in teachers.items() if not path.exists()}
    if kept != before:
        # forced, for what set.json says is carried on, and a run killed before it had noted the file would leave it for ever
        write_all(missing | {folder / "teacher" / "set.json": to_json(kept)}, "the set of a class", force=True)
    (folder / "returned").mkdir(exist_ok=True)


def _scenario_file(lab: Lab, lab_path: Path):
    beside = lab_path.parent / lab.scenario_name
    return beside if beside.is_file() else files("boostkit") / "data" / lab.scenario_name


def _example_text(folder: Path, lab: Lab, key: str) -> str:
    """The scenario as the set keeps it, under a line that says whose numbers these are not."""
    kept = (folder / "teacher" / lab.scenario_name).read_text(encoding="utf-8")
    return f"# The example's numbers, not those of {key}: they stand on the answer sheet.\n{kept}"


def _write_one(folder: Path, lab: Lab, notebook, one: Variant, answers: dict[str, Answer], pdf: bool) -> bool:
    """The files of one learner that are not there yet, all or none; whether any was written."""
    key, home, keys = one.key, folder / "copies" / one.key, folder / "teacher" / "keys"
    right, book = tuple(answers.values()), f"{Path(lab.workbook).stem}_{key}"
    texts = {
        home / f"answers_{key}.toml": lambda: toml_sheet(one),
        home / f"answers_{key}.csv": lambda: csv_sheet(one),
        home / f"{book}.ipynb": lambda: copy_text(notebook, lab, key),
        home / "scenario.toml": one.scenario_text if lab.copies == "own numbers" else lambda: _example_text(folder, lab, key),
        keys / f"{key}.md": lambda: key_text(one, right) + labsheet.key_text(one),
    }
    pages = {home / f"answers_{key}.pdf": lambda: on_paper.sheet_page(one),
             keys / f"{key}.pdf": lambda: on_paper.key_page(one, right, labsheet.key_blocks(one)),
             home / f"{book}.pdf": lambda: on_paper.copy_page(blanked(notebook, lab, key), f"{book}.ipynb")}  # fmt: skip
    if labsheet.has_sheet(lab):
        texts[home / f"lab_{key}.md"] = lambda: labsheet.text(one)
        pages[home / f"lab_{key}.pdf"] = lambda: labsheet.page(one)
    contents = {path: text() for path, text in texts.items() if not path.exists()}
    wanted = {path: page() for path, page in pages.items() if pdf and not path.exists()}
    with ThreadPoolExecutor(2) as pool:  # each PDF is made by programs of its own, so two run side by side
        contents |= dict(zip(wanted, pool.map(on_paper.pdf, wanted.values()), strict=True))
    if contents:
        write_all(contents, lab.where)  # not the seed: the register lies among the copies
    return bool(contents)
