"""The command line. Exit status 0: done; 1: done and written, but something fell short; 2: the input cannot be used."""

from __future__ import annotations

import gc
import os
import re
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import click

from . import __version__
from .files import to_json, write_all
from .units import show

DONE, FELL_SHORT, UNUSABLE = 0, 1, 2
GARBAGE = 100_000  # objects made before unreachable rings among them are looked for: a command ends soon, and looking took a tenth of it


@click.group(context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="boostkit")
def cli():
    """Workbooks and exact mathematics for teaching and designing a boost converter."""


@cli.command("open")
@click.argument("folder", default="boostkit-workbooks", type=click.Path(file_okay=False, path_type=Path))
@click.option("--scenario", type=click.Path(path_type=Path), help="A specification to feed the workbooks with.")
@click.option("--copy-only", is_flag=True, help="Copy the workbooks, and do not open JupyterLab.")
@click.option("--force", is_flag=True, help="Put the scenario in place of one that you have changed.")
def open_command(folder: Path, scenario: Path | None, copy_only: bool, force: bool):
    """Copy the workbooks into FOLDER, never over your own work, and open JupyterLab there."""
    home, given, kept = _workbooks(), _checked_scenario(scenario), []
    if given:  # first: where it is refused, nothing is copied
        _put_in_place(given, scenario.name, folder / "scenario.toml", home, force)
    for source in sorted(path for path in home.iterdir() if path.suffix in (".ipynb", ".toml")):
        target = folder / source.name
        if given and source.name == "scenario.toml":
            continue
        try:
            write_all({target: source.read_bytes()}, "the boostkit workbooks")
        except ValueError:
            if not os.path.lexists(target):  # not kept, but impossible to write
                raise
            kept.append(source.name)
    click.echo(f"workbooks in {folder}" + (f"; kept as they are: {', '.join(kept)}" if kept else ""))
    if not copy_only:
        sys.exit(subprocess.run([sys.executable, "-m", "jupyterlab", str(folder)], check=False).returncode)


def _workbooks() -> Path:
    """Where the workbooks lie: inside an installed package, or beside it in a checkout."""
    inside = Path(str(files("boostkit"))) / "workbooks"
    beside = Path(str(files("boostkit"))).parent / "workbooks"
    for place in (inside, beside):
        if (place / "scenario.toml").is_file():
            return place
    raise ValueError("the workbooks are missing from this installation")


def _checked_scenario(scenario: Path | None) -> bytes | None:
    if scenario is None:
        return None
    from .design import Spec

    Spec.from_file(scenario)
    return scenario.read_bytes()


def _put_in_place(given: bytes, name: str, target: Path, home: Path, force: bool) -> None:
    """The learner's scenario, also over the built-in one where that is as it came."""
    as_it_came = target.is_file() and target.read_bytes() == (home / "scenario.toml").read_bytes()
    write_all({target: given}, name, force or as_it_came)


@cli.command("design")
@click.argument("spec_file", required=False, type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(file_okay=False, path_type=Path), help="Folder to write into.")
@click.option("--parts", "tables_folder", type=click.Path(path_type=Path),
              help="A folder with tables of your own parts: switches.csv, rectifiers.csv, inductors.csv, capacitors.csv.")
@click.option("--force", is_flag=True, help="Replace files that this command did not write.")
def design_command(spec_file: Path | None, output: Path | None, tables_folder: Path | None, force: bool):
    """A specification to design.json and design.pdf; the built-in example where no file is given."""
    from .design import Spec, design, realise
    from .parts import tables

    source = spec_file or Path(str(files("boostkit"))) / "data" / "tide_gauge.toml"
    with _progress() as tell:
        spec = Spec.from_file(source)
        own = tables.read_folder(tables_folder) if tables_folder else None
        drawn = design(spec, lambda done, _, words: tell(done, 9, words))
        made = realise(drawn, own, progress=lambda done, _, words: tell(4 + done, 9, words))
        tell(8, 9, "drawing and typesetting")
        from .paper import handout

        folder = output or Path(_slug(spec.title))
        contents = {folder / "design.json": to_json(made.to_dict()), folder / "design.pdf": handout.pdf(made)}
        write_all(contents, source.name, force)
        tell(9, 9, "done")
    for verdict in made.verdicts:
        mark = "met    " if verdict.met else "NOT MET"
        click.echo(f"{mark}  {verdict.demand} {show(verdict.limit, verdict.unit)}: {show(verdict.value, verdict.unit)}")
    for words in made.shortfalls:
        click.echo(f"NOT MET  {words}")
    for guard in made.protections:
        if not guard.met:
            click.echo(f"NOT MET  {guard.what}: {guard.unmet}")
    for words in made.unjudged:
        click.echo(words.replace("*", ""))
    click.echo(f"written: {', '.join(str(path) for path in contents)}")
    sys.exit(DONE if made.met else FELL_SHORT)


def _slug(title: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-") or "design"


@cli.command("waveforms")
@click.argument("converter_file", type=click.Path(path_type=Path))
@click.option("--json", "as_json", is_flag=True, help="Print the summary as JSON.")
@click.option("--csv", "csv_file", type=click.Path(dir_okay=False, path_type=Path), help="Write the waveforms to this file.")
@click.option("--from-rest", "periods", type=click.IntRange(1, 1_000_000), help="Follow the switch-on for so many periods.")
@click.option("--points", type=click.IntRange(10, 1_000_000), default=1000, help="How many samples go into the CSV file.")
@click.option("--force", is_flag=True, help="Replace a file that this command did not write.")
def waveforms_command(converter_file: Path, as_json: bool, csv_file: Path | None, periods: int | None, points: int, force: bool):
    """Exact waveforms of a converter, and their summary."""
    from .circuit import Converter, switched

    converter = Converter.from_file(converter_file)
    if periods:
        with _progress() as tell:
            result = switched.from_rest(converter, periods, keep=csv_file is not None,
                                        progress=lambda done, total: tell(done, total, "following the switch-on"))
        summary = _transient_summary(result)
    else:
        result = switched.steady_state(converter)
        summary = _steady_summary(result)
    if csv_file:
        write_all({csv_file: _csv(result.waveforms(points))}, converter_file.name, force)
    click.echo(to_json(summary).rstrip() if as_json else _plain(summary))


def _steady_summary(s) -> dict:
    """The summary that `--json` prints, see DEVELOPERS.md."""
    def of(summary, *names):
        return {name: getattr(summary, name) for name in names}

    return {
        "mode": s.mode,
        "output_voltage": of(s.output_voltage, "mean", "min", "max"),
        "inductor_current": of(s.inductor_current, "mean", "min", "max", "rms"),
        "switch_current": of(s.switch_current, "mean", "rms"),
        "rectifier_current": of(s.rectifier_current, "mean", "rms"),
        "capacitor_current": of(s.capacitor_current, "rms"),
        "input_power": s.input_power,
        "output_power": s.output_power,
        "losses": s.losses,
        "efficiency": s.efficiency,
        "conduction_end": s.conduction_end,
    }


def _transient_summary(t) -> dict:
    return {
        "periods": t.periods,
        "duration": t.duration,
        "output_voltage": {"max": t.output_voltage.max, "max_at": t.output_voltage.max_at},
        "inductor_current": {"max": t.inductor_current.max, "max_at": t.inductor_current.max_at, "end": t.state[0]},
        "capacitor_voltage": {"end": t.state[1]},
    }


UNITS = {"voltage": "V", "current": "A", "power": "W", "losses": "W", "duration": "s", "efficiency": "%"}


def _plain(summary: dict) -> str:
    """The summary as a table for people."""
    lines = []
    for name, value in summary.items():
        unit = next((unit for word, unit in UNITS.items() if word in name), "")
        for key, number in (value.items() if isinstance(value, dict) else [("", value)]):
            text = number if isinstance(number, str) else show(number, "s" if key.endswith("_at") else unit, 4)
            lines.append(f"{(name + ' ' + key).replace('_', ' '):28} {text}")
    return "\n".join(lines)


def _csv(wave) -> str:
    """Time and every waveform, a column each, the unit in its head."""
    columns = ["time", "i_inductor", "v_out", "v_capacitor", "v_inductor", "v_switch", "i_switch", "i_rectifier", "i_capacitor",
               "i_load", "i_source", "v_input"]
    unit = {"t": "s", "i": "A", "v": "V"}
    head = ",".join(f"{name} ({unit[name[0]]})" for name in columns)
    rows = zip(*(getattr(wave, name).tolist() for name in columns), strict=True)
    return "\n".join([head, *(",".join(f"{value:.10g}" for value in row) for row in rows)]) + "\n"


@cli.command("handout")
@click.argument("workbook", type=click.Path(path_type=Path))
@click.option("-o", "--output", type=click.Path(dir_okay=False, path_type=Path), help="The PDF to write.")
@click.option("--no-code", is_flag=True, help="Leave the code cells out.")
@click.option("--force", is_flag=True, help="Replace a file that this command did not write.")
def handout_command(workbook: Path, output: Path | None, no_code: bool, force: bool):
    """Run a workbook and print it as a PDF."""
    from .paper import handout

    target = output or Path(workbook.with_suffix(".pdf").name)
    with _progress() as tell:
        failed = handout.write_workbook(workbook, target, code=not no_code, force=force,
                                        progress=lambda done, total, name: tell(done, total, f"running {name}"))
    for line in failed:
        click.echo(line, err=True)
    click.echo(f"written: {target}")
    sys.exit(FELL_SHORT if failed else DONE)


@cli.group("class")
def class_group():
    """A class: each learner's own numbers, copies of a workbook, answer sheets and marks."""


@class_group.command("make")
@click.argument("lab_file", metavar="LAB")
@click.argument("roster_file", metavar="ROSTER.csv", type=click.Path(path_type=Path))
@click.option("-o", "--output", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder of the set.")
@click.option("--seed", type=click.IntRange(0, 2**53), help="A whole number that the learners' numbers follow from (default 1).")
@click.option("--pdf", is_flag=True, help="A PDF of each sheet, lab sheet, copy and key too.")
def class_make_command(lab_file: str, roster_file: Path, output: Path, seed: int | None, pdf: bool):
    """Copies, answer sheets and keys for every learner on the roster.

    LAB is a lab file (TOML), or a ready lab by its number, as in 03. What is in the folder already stays as it is, so that a run
    that was stopped goes on where it stopped.
    """
    from .classroom import session

    with _progress() as tell:
        made = session.make(output, lab_file, roster_file, (_workbooks(),), seed, pdf, tell)
    for note in made.notes:
        click.echo(f"mind: {note}", err=True)
    who = "1 learner" if made.learners == 1 else f"{made.learners} learners"
    click.echo(f"{who}, {made.written} of them written now; hand out {output / 'copies'}, keep {output / 'teacher'}")


@class_group.command("mark")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
@click.argument("sheets", nargs=-1, type=click.Path(path_type=Path))
@click.option("--force", is_flag=True, help="Replace tables of marks that were changed by hand.")
def class_mark_command(folder: Path, sheets: tuple[Path, ...], force: bool):
    """Mark the SHEETS that came back (files or folders; else FOLDER/returned). Answers are read as text, and never run."""
    from .classroom import outcome, session

    with _progress() as tell:
        found = session.mark(folder, sheets, force, tell)
    for one in found.unreadable:
        click.echo(f"{one.key}: {outcome.status(one)}", err=True)
    for words in found.strays:
        click.echo(f"of no learner: {words}", err=True)
    for hard in found.hard:
        click.echo(f"{show(hard.share, '%'):>7} of the points  {hard.task.id:20} {outcome.told(hard.verdicts)}")
    written = f"marks.csv, feedback.csv and hard.csv in {folder / 'teacher'}"
    click.echo(f"{len(found.read)} of {len(found.marks)} sheets marked; written: {written}")
    sys.exit(FELL_SHORT if found.unreadable or found.strays else DONE)


@class_group.command("server")
@click.option("-o", "--output", required=True, type=click.Path(file_okay=False, path_type=Path), help="Folder of the server.")
def class_server_command(output: Path):
    """A JupyterHub configuration for a class on one machine, and a page that says how to use it."""
    from .classroom import server

    for note in server.write(output):
        click.echo(f"mind: {note}", err=True)
    click.echo(f"written: {', '.join(str(output / name) for name in (server.CONFIG, server.MANUAL, 'server.pdf'))}")


@class_group.command("fetch")
@click.argument("folder", type=click.Path(file_okay=False, path_type=Path))
def class_fetch_command(folder: Path):
    """On the class's server, as root: fetch the sheets from the learners' homes into FOLDER/returned, to be marked."""
    from .classroom import server

    with _progress() as tell:
        found = server.fetch(folder, tell)
    for note in found.notes:
        click.echo(note, err=True)
    click.echo(f"sheets of {found.brought} of {found.learners} learners fetched into {folder / 'returned'}")
    sys.exit(FELL_SHORT if found.notes else DONE)


class _progress:  # noqa: N801  (used like a function)
    """A progress line on a terminal, nothing elsewhere: `tell(done, total, words)`."""

    def __enter__(self):
        if not sys.stderr.isatty():
            return lambda done, total, words: None
        from rich.console import Console
        from rich.progress import Progress

        self.bar = Progress(console=Console(stderr=True), transient=True)
        self.bar.start()
        task = self.bar.add_task("starting", total=None)
        return lambda done, total, words: self.bar.update(task, completed=done, total=total, description=words)

    def __exit__(self, *_):
        if hasattr(self, "bar"):
            self.bar.stop()


def main() -> None:
    """Run the command line; whatever the input is to blame for is one line and exit status 2."""
    gc.set_threshold(GARBAGE)
    try:
        # standing alone, click would end an interrupted command with 1, which here means done and written
        cli(prog_name="boostkit", standalone_mode=False)
    except click.ClickException as trouble:
        trouble.show()
        sys.exit(UNUSABLE)
    except click.Abort:
        sys.exit(130)
    except ValueError as trouble:
        click.echo(f"boostkit: {trouble}", err=True)
        sys.exit(UNUSABLE)


if __name__ == "__main__":
    main()
