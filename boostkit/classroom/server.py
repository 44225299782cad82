"""A class on one server: its JupyterHub configuration, copies put into the learners' homes, and sheets fetched from there.

The server runs as root, and a learner may lay a link into their home that leads anywhere. So nothing here writes or reads in a
home itself: a `tar` that runs as that learner does, and reaches no further than the learner does. What it hands out is taken as
data from a stranger.
"""

from __future__ import annotations

import io
import os
import re
import subprocess
import tarfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from .. import __version__
from ..files import write_all
from ..paper.blocks import Page, Prose
from ..units import quoted
from . import on_paper
from .sheets import KINDS

CONFIG, MANUAL = "jupyterhub_config.py", "server.md"
ACCOUNT = re.compile(r"[a-z][a-z0-9_-]{0,31}")  # what becomes an account everywhere, and a JupyterHub user of the same name
FIRST_PERSON = 1000  # numbers below are accounts of the system (common practice of Linux distributions, in their login.defs)
LARGEST, PATIENCE = 5_000_000, 60.0  # bytes of one sheet; seconds for one learner's files
SOURCE = "the learners' homes"
Progress = Callable[[int, int, str], None]


@dataclass(frozen=True)
class Fetched:
    """What `fetch` brought: how many learners' sheets, of how many learners, and why others did not come."""

    learners: int
    brought: int
    notes: tuple[str, ...] = ()


# the folder of the server


def write(folder: str | Path) -> tuple[str, ...]:
    """Write configuration and instructions (Markdown and PDF) into a folder; one made here is its owner's alone.

    Returns what the teacher should mind. Raises ValueError where a file there is not this kit's own, or was changed.
    """
    folder, ours = Path(folder), files("boostkit") / "data" / "classroom"
    new = not folder.exists()
    texts = {name: (ours / name).read_bytes() for name in (CONFIG, MANUAL)}
    write_all({folder / name: text for name, text in texts.items()} | {folder / "server.pdf": on_paper.pdf(manual_page())}, "boostkit")
    if new:
        folder.chmod(0o700)
    return () if is_shut(folder) else (f"others on this machine may open {folder.name}: chmod 700 {folder.name}, for keys will lie in it",)


def manual_page() -> Page:
    """The page of instructions, for paper."""
    title, _, rest = (files("boostkit") / "data" / "classroom" / MANUAL).read_text(encoding="utf-8").partition("\n")
    words = re.sub(r"<!--.*?-->\n?", "", rest)
    maker = f"boostkit {__version__}"
    return Page(title.lstrip("# "), "", (Prose(words, lift=1),), f"Printed by {maker}.", contents=False, maker=maker)


def is_shut(folder: str | Path) -> bool:
    """Whether none but its owner can reach a folder: it, or a folder above it, is closed to group and others."""
    place = Path(folder).resolve()
    return any(each.stat().st_mode & 0o077 == 0 for each in (place, *place.parents))


def checked(lesson: str | Path, *certificates: str | Path) -> list[str]:
    """The keys of a lesson's set, each to be an account. The configuration asks for them before the server starts.

    Raises ValueError where the set is not there, where learners could read its keys, where a key makes no account, and where a file of
    the certificate is missing, or others could read it.
    """
    lesson = Path(lesson)
    if not (lesson / "teacher" / "set.json").is_file():
        raise ValueError(f"{lesson.name}: holds no set of a class; make it there: boostkit class make LAB ROSTER.csv -o {lesson.name}")
    for place in (lesson / "teacher", *map(Path, certificates)):
        if not place.exists():
            raise ValueError(f"{place.name}: is not there; server.md says how to come by a certificate")
        if not is_shut(place if place.is_dir() else place.parent):
            raise ValueError(f"{place.name}: could be read by every learner; chmod 700 the folder that it lies in")
    keys = _keys(lesson)
    for key in keys:
        if not ACCOUNT.fullmatch(key):
            raise ValueError(f"{lesson.name}: key = {quoted(key)} makes no account; here a key is 1 to 32 small letters a-z, digits, - or "
                             "_, and begins with a letter")  # fmt: skip
    return keys


def _keys(lesson: Path) -> list[str]:
    copies = lesson / "copies"
    return sorted(each.name for each in copies.iterdir() if each.is_dir()) if copies.is_dir() else []


# files to and from a home


def put(lesson: str | Path, key: str) -> bool:
    """Put a learner's copies into the folder of the lesson's name in their home, as that learner; what lies there already stays.

    Returns whether there were copies to put. Raises ValueError where the learner has no account, or the files cannot be put.
    """
    lesson = Path(lesson)
    copies = lesson / "copies" / key
    if not ACCOUNT.fullmatch(key) or not copies.is_dir():
        return False  # a teacher, say
    bundle = io.BytesIO()
    with tarfile.open(fileobj=bundle, mode="w") as tar:
        for path in sorted(copies.iterdir()):
            if path.is_file() and not path.name.startswith("."):
                tar.add(path, f"{lesson.name}/{path.name}", filter=_plain)
    done = _as_learner(key, ["--extract", "--skip-old-files", "--no-same-owner"], bundle.getvalue())
    if done.returncode:
        raise ValueError(f"{key}: the copies could not be put into the home: {_last_line(done.stderr)}")
    return True


def fetch(lesson: str | Path, progress: Progress | None = None) -> Fetched:
    """Fetch every learner's sheets from their homes into FOLDER/returned/KEY. A sheet as it was handed out is left where it is.

    Fetched again, a sheet takes the place of the one fetched before, unless the teacher has changed that.
    """
    lesson, brought, notes = Path(lesson), 0, []
    keys = _keys(lesson)
    if not keys:
        raise ValueError(f"{lesson.name}: holds no copies, so no set was made in it")
    for number, key in enumerate(keys, 1):
        try:
            if sheets := _sheets_of(lesson, key):
                write_all({lesson / "returned" / key / name: raw for name, raw in sheets.items()}, SOURCE)
                brought += 1
            else:
                notes.append(f"{key}: has filled in nothing yet")
        except ValueError as trouble:
            notes.append(str(trouble) if str(trouble).startswith(f"{key}:") else f"{key}: {trouble}")
        if progress:
            progress(number, len(keys), f"sheets of {key}")
    return Fetched(len(keys), brought, tuple(notes))


def _sheets_of(lesson: Path, key: str) -> dict[str, bytes]:
    """The files of a learner that could be sheets and differ from what was handed out."""
    given = {path.name: path.read_bytes() for path in (lesson / "copies" / key).iterdir() if path.suffix in KINDS}
    given.pop("scenario.toml", None)
    done = _as_learner(key, ["--create", "--ignore-failed-read", *(f"{lesson.name}/{name}" for name in sorted(given))])
    found = {}
    try:
        with tarfile.open(fileobj=io.BytesIO(done.stdout)) as tar:
            for member in tar:
                name = Path(member.name).name
                if member.isreg() and name in given and member.size <= LARGEST:
                    found[name] = tar.extractfile(member).read()
    except Exception as trouble:  # whatever a learner's own tar may say, the next learner's sheets are fetched
        if not done.stdout:
            return {}
        raise ValueError(f"{key}: the files could not be fetched ({type(trouble).__name__})") from None
    return {name: raw for name, raw in found.items() if raw != given[name]}


def _as_learner(key: str, words: list[str], data: bytes = b"") -> subprocess.CompletedProcess:
    """Run tar in a learner's home with their rights and no others; the answer is cut off where it grows beyond reason."""
    home, identity = _account(key)
    most = 4 * LARGEST
    # head ends a stream without end, and timeout a program that waits for ever
    command = f'timeout {PATIENCE:.0f} tar "$@" --file - | head -c {most}' if not data else f'timeout {PATIENCE:.0f} tar "$@" --file -'
    return subprocess.run(["/bin/sh", "-c", command, "tar", "--directory", home, *words], input=data, capture_output=True, check=False,
                          cwd="/", env={"PATH": "/usr/bin:/bin", "LC_ALL": "C.UTF-8"}, **identity)  # fmt: skip


def _account(key: str) -> tuple[str, dict]:
    """A learner's home, and how a program is started as that learner."""
    import pwd  # Linux and its kin only, as is the server

    try:
        entry = pwd.getpwnam(key)
    except KeyError:
        raise ValueError(f"{key}: has no account on this machine; server.md says how to make it") from None
    if entry.pw_uid < FIRST_PERSON:
        raise ValueError(f"{key}: is an account of the system itself; give this learner another key")
    if os.geteuid() not in (0, entry.pw_uid):
        raise ValueError(f"{key}: only root may reach into a learner's home; run this as root")
    return entry.pw_dir, {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []} if os.geteuid() == 0 else {}


def _plain(info: tarfile.TarInfo) -> tarfile.TarInfo:
    """Of the teacher's file only its content; the learner may change it."""
    info.uid = info.gid = 0
    info.uname = info.gname = ""
    info.mode = 0o644
    return info


def _last_line(raw: bytes) -> str:
    lines = raw.decode("utf-8", "replace").strip().splitlines()
    return "".join(c if c.isprintable() else "?" for c in lines[-1])[:200] if lines else "no reason was given"
