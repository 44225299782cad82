"""A class on one server: the shipped configuration, setting by setting, and files that go to homes and come back."""

import io
import os
import pwd
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from importlib.resources import files
from pathlib import Path
from types import SimpleNamespace

import pytest
from traitlets.config.loader import PyFileConfigLoader

from boostkit.classroom import server

DATA = Path(str(files("boostkit"))) / "data" / "classroom"
NOBODY = 65534
linux = pytest.mark.skipif(sys.platform != "linux", reason="the server is a Linux machine, with GNU tar")


@pytest.fixture
def open_place():
    """A folder that every account may open, as are those above it; that of the tests themselves may be closed."""
    with tempfile.TemporaryDirectory(prefix="boostkit-server-") as folder:
        os.chmod(folder, 0o755)
        yield Path(folder)


@pytest.fixture
def shut(open_place):
    """A folder of a server with configuration, certificate and a set of two, closed to everybody else."""
    folder = open_place / "class"
    server.write(folder)
    put_set(folder / "lesson", "t01", "t02")
    for name in ("server.crt", "server.key"):
        (folder / name).write_text("a certificate, invented")
    return folder


def put_set(lesson, *keys):
    """As much of a set as the server looks at."""
    (lesson / "teacher").mkdir(parents=True)
    (lesson / "teacher" / "set.json").write_text("{}")
    for key in keys:
        (lesson / "copies" / key).mkdir(parents=True)
        for name, text in {f"answers_{key}.toml": "duty = ''", f"book_{key}.ipynb": "{}", "scenario.toml": "x = 1", ".hidden": ""}.items():
            (lesson / "copies" / key / name).write_text(text)


def loaded(folder):
    """The configuration as JupyterHub's own loader reads it; JupyterHub itself need not be there."""
    return PyFileConfigLoader(server.CONFIG, path=str(folder)).load_config()


# the configuration


SETTINGS = {  # what the page of instructions promises
    "JupyterHub.authenticator_class": "pam",
    "Authenticator.allowed_users": {"t01", "t02"},
    "Authenticator.admin_users": set(),
    "JupyterHub.bind_url": "https://:443/",
    "JupyterHub.spawner_class": "localprocess",
    "Spawner.notebook_dir": "~",
    "Spawner.default_url": "/lab/tree/lesson",
    "JupyterHub.concurrent_spawn_limit": 32,
    "JupyterHub.active_server_limit": 32,
    "Spawner.start_timeout": 300,
    "Spawner.http_timeout": 300,
    "Spawner.environment": {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
    "Spawner.cmd": ["prlimit", "--data=2000000000", "--nproc=500", "--core=0", sys.executable, "-m", "jupyterhub.singleuser"],
    "JupyterHub.shutdown_on_logout": True,
    "Spawner.args": ["--KernelManager.transport=ipc", "--MappingKernelManager.cull_idle_timeout=3600",
                     "--MappingKernelManager.cull_interval=60", "--MappingKernelManager.cull_connected=True",
                     "--ServerApp.shutdown_no_activity_timeout=1800", "--ServerApp.terminals_enabled=False"],
}  # fmt: skip
IN_THE_FOLDER = {"JupyterHub.ssl_cert": "server.crt", "JupyterHub.ssl_key": "server.key", "JupyterHub.cookie_secret_file": "cookie_secret",
                 "ConfigurableHTTPProxy.pid_file": "proxy.pid"}  # fmt: skip


def test_every_setting_is_the_one_that_was_tried(shut):
    """The configuration holds these settings and no others."""
    found = {f"{part}.{name}": value for part, inner in loaded(shut).items() for name, value in inner.items()}
    assert callable(found.pop("Spawner.pre_spawn_hook"))
    assert found.pop("JupyterHub.db_url") == f"sqlite:///{shut.resolve() / 'hub.sqlite'}"
    assert {name: found.pop(name) for name in IN_THE_FOLDER} == {name: str(shut.resolve() / file) for name, file in IN_THE_FOLDER.items()}
    assert found == SETTINGS


def test_no_way_in_without_a_password():
    """Neither the authenticator that believes everybody, nor the spawner that runs all as one account, nor plain HTTP."""
    text = (DATA / server.CONFIG).read_text(encoding="utf-8").lower()
    assert not any(word in text for word in ("dummy", "simplelocal", "\"simple\"", "allow_all", "http://"))


def test_the_hook_puts_the_copies_of_the_one_who_logs_in(shut, monkeypatch):
    """Each learner's start puts that learner's copies and nobody else's."""
    asked = []
    monkeypatch.setattr(server, "put", lambda lesson, key: asked.append((lesson.name, key)))
    loaded(shut).Spawner.pre_spawn_hook(SimpleNamespace(user=SimpleNamespace(name="t02")))
    assert asked == [("lesson", "t02")]


@pytest.mark.parametrize("spoil, words", [
    (lambda f: f.chmod(0o755), "teacher: could be read by every learner; chmod 700"),
    (lambda f: f.chmod(0o710), "could be read by every learner"),
    (lambda f: shutil.rmtree(f / "lesson"), "lesson: holds no set of a class; make it there"),
    (lambda f: (f / "server.key").unlink(), "server.key: is not there"),
    (lambda f: (f / "server.crt").unlink(), "server.crt: is not there"),
    (lambda f: (f / "lesson" / "copies" / "T03").mkdir(), "key = 'T03' makes no account"),
    (lambda f: (f / "lesson" / "copies" / "3").mkdir(), "key = '3' makes no account"),
])  # fmt: skip
def test_the_server_does_not_start_where(shut, spoil, words):
    """learners could read the keys, there is no set, no certificate, or a key makes no account."""
    spoil(shut)
    with pytest.raises(ValueError, match=re.escape(words).replace("'", "['\"]")) as trouble:
        loaded(shut)
    assert "\n" not in str(trouble.value)


def test_a_folder_is_shut_by_any_folder_above_it(open_place):
    """A set may be open where a folder around it is closed; group and others both count."""
    inner = open_place / "a" / "b"
    inner.mkdir(parents=True)
    for mode, closed in ((0o755, False), (0o750, False), (0o701, False), (0o700, True)):
        (open_place / "a").chmod(mode)
        assert server.is_shut(inner) is closed


# the command


def test_the_command_writes_three_files_into_a_shut_folder(run, tmp_path):
    """Configuration and instructions as shipped, a PDF of these, and a folder that is its owner's alone; a second run says the same."""
    for _ in range(2):
        assert run("class", "server", "-o", "class")[::2] == (0, "")
    assert (tmp_path / "class").stat().st_mode & 0o777 == 0o700
    assert (tmp_path / "class" / server.CONFIG).read_bytes() == (DATA / server.CONFIG).read_bytes()
    assert (tmp_path / "class" / server.MANUAL).read_bytes() == (DATA / server.MANUAL).read_bytes()
    assert (tmp_path / "class" / "server.pdf").read_bytes().startswith(b"%PDF-")


def test_the_command_keeps_what_the_teacher_changed(run, tmp_path):
    """A configuration with one's own settings is not written over, and nothing else is written then."""
    run("class", "server", "-o", "class")
    mine = tmp_path / "class" / server.CONFIG
    mine.write_text("mine")
    (tmp_path / "class" / "server.pdf").unlink()
    status, out, err = run("class", "server", "-o", "class")
    assert (status, out) == (2, "") and err.count("\n") == 1 and f"{server.CONFIG}: exists and has been changed" in err
    assert mine.read_text() == "mine" and not (tmp_path / "class" / "server.pdf").exists()


def test_the_command_warns_of_an_open_folder(run, tmp_path, monkeypatch):
    """A folder that was there keeps its rights; who made it is told."""
    (tmp_path / "class").mkdir(mode=0o755)
    monkeypatch.setattr(server, "is_shut", lambda folder: folder.stat().st_mode & 0o077 == 0)  # wherever the tests' own folder lies
    status, _, err = run("class", "server", "-o", "class")
    assert status == 0 and "chmod 700 class" in err


def test_fetching_where_there_is_no_set(run, tmp_path):
    """One line, exit status 2."""
    (tmp_path / "empty").mkdir()
    assert run("class", "fetch", "empty") == (2, "", "boostkit: empty: holds no copies, so no set was made in it\n")


def test_the_page_says_what_the_configuration_sets():
    """Each number and name in the page's table of settings stands in the configuration, and its blocks for the check are there."""
    page, config = ((DATA / name).read_text(encoding="utf-8") for name in (server.MANUAL, server.CONFIG))
    table = page.partition("## What the settings are for")[2].partition("\n## ")[0]
    named = [setting for cell in re.findall(r"^\| (`.*?) \|", table, re.M) for setting in re.findall(r"`([^`]+)`", cell)]
    assert len(named) >= 10
    values = config.replace("SEATS", "32")  # the number's name in the configuration
    assert "SEATS = 32 " in config
    assert [setting for setting in named if setting not in values] == []
    assert re.findall(r"<!-- (\w+) -->\n```bash", page) == ["certificate", "accounts"]


def test_the_page_for_paper_holds_the_page():
    """Title apart, no marks for the check, every section."""
    page = server.manual_page()
    assert page.title == "A class on one server" and "<!--" not in page.blocks[0].text
    assert page.blocks[0].text.count("\n## ") == 7


# homes


@pytest.fixture
def homes(tmp_path, open_place, monkeypatch):
    """Homes of t01 and t02 (of a real other account where the tests run as root), and the set; gives home of t01, set."""
    uid, gid = (NOBODY, NOBODY) if os.geteuid() == 0 else (os.getuid(), os.getgid())
    entries = {}
    for key in ("t01", "t02"):
        (open_place / key).mkdir(mode=0o700)
        os.chown(open_place / key, uid, gid)
        entries[key] = SimpleNamespace(pw_uid=uid, pw_gid=gid, pw_dir=str(open_place / key))
    monkeypatch.setattr(pwd, "getpwnam", lambda name: entries[name])
    monkeypatch.setattr(server, "FIRST_PERSON", min(uid, server.FIRST_PERSON))
    put_set(tmp_path / "lesson", "t01", "t02")
    return open_place / "t01", tmp_path / "lesson"


def contents(folder):
    """Files below a folder and what they hold."""
    return {path.relative_to(folder).as_posix(): path.read_text() for path in sorted(folder.rglob("*")) if path.is_file()}


@linux
def test_copies_are_put_and_never_put_over_work(homes):
    """The learner's own files, as the learner's own; what was changed stays, what was deleted comes back."""
    home, lesson = homes
    assert server.put(lesson, "t01")
    handed = {"lesson/answers_t01.toml": "duty = ''", "lesson/book_t01.ipynb": "{}", "lesson/scenario.toml": "x = 1"}
    assert contents(home) == handed
    assert {path.stat().st_uid for path in home.rglob("*")} == {home.stat().st_uid}
    (home / "lesson" / "answers_t01.toml").write_text("duty = '0.5'")
    (home / "lesson" / "book_t01.ipynb").unlink()
    server.put(lesson, "t01")
    assert contents(home) == handed | {"lesson/answers_t01.toml": "duty = '0.5'"}


@linux
def test_who_is_on_no_roster_gets_nothing(homes):
    """A teacher who logs in, and a name that leads out of the folder."""
    assert not server.put(homes[1], "teacher") and not server.put(homes[1], "../teacher")


@linux
def test_sheets_are_fetched_as_far_as_they_were_filled_in(homes):
    """Changed sheets come, untouched ones and other files stay; fetched again the later one counts, but not over a teacher's change."""
    home, lesson = homes
    server.put(lesson, "t01")
    server.put(lesson, "t02")
    (home / "lesson" / "answers_t01.toml").write_text("duty = '0.5'")
    (home / "lesson" / "scenario.toml").write_text("x = 2")
    (home / "lesson" / "diary.txt").write_text("nobody's business")
    found = server.fetch(lesson)
    assert (found.brought, found.learners, found.notes) == (1, 2, ("t02: has filled in nothing yet",))
    back = lesson / "returned" / "t01" / "answers_t01.toml"
    assert {path.name for path in back.parent.iterdir() if not path.name.startswith(".")} == {back.name}
    (home / "lesson" / "answers_t01.toml").write_text("duty = '0.6'")
    assert server.fetch(lesson).brought == 1 and back.read_text() == "duty = '0.6'"
    back.write_text("corrected by hand")
    assert "t01: answers_t01.toml: exists and has been changed" in server.fetch(lesson).notes[0] and back.read_text() == "corrected by hand"


@linux
@pytest.mark.skipif(os.name != "posix" or os.geteuid() != 0, reason="needs two accounts, so root")
def test_a_link_in_a_home_leads_nowhere(homes, tmp_path):
    """Neither is the file behind a learner's link written to, nor is it fetched: not of a file, and not of a folder."""
    home, lesson = homes
    tmp_path.chmod(0o755)
    secret = tmp_path / "answers_t01.toml"
    secret.write_text("the key")
    secret.chmod(0o600)
    (home / "lesson").symlink_to(tmp_path)
    with pytest.raises(ValueError, match="^t01: the copies could not be put into the home: "):
        server.put(lesson, "t01")
    assert server.fetch(lesson).brought == 0
    (home / "lesson").unlink()
    (home / "lesson").mkdir()
    (home / "lesson" / "answers_t01.toml").symlink_to(secret)
    assert server.fetch(lesson).brought == 0
    assert secret.read_text() == "the key" and sorted(p.name for p in tmp_path.iterdir()) == ["answers_t01.toml", "lesson"]


@linux
def test_odd_files_hold_nobody_up(homes, monkeypatch):
    """A pipe, a folder, a file too large and a missing file are no sheets; the next learner's sheet is fetched."""
    home, lesson = homes
    monkeypatch.setattr(server, "LARGEST", 10_000)
    for odd in (lambda p: os.mkfifo(p), lambda p: p.mkdir(), lambda p: p.write_bytes(b"x" * 20_000), lambda p: None):
        shutil.rmtree(home / "lesson", ignore_errors=True)
        (home / "lesson").mkdir()
        odd(home / "lesson" / "answers_t01.toml")
        other = home.parent / "t02" / "lesson"
        other.mkdir(exist_ok=True)
        (other / "answers_t02.toml").write_text("duty = '0.7'")
        found = server.fetch(lesson)
        assert found.brought == 1 and found.notes[0].startswith("t01: "), found


def test_what_a_learners_tar_says_is_data_from_a_stranger(homes, monkeypatch):
    """Names that lead out, links, sizes that are lies and plain rubbish: nothing is taken but known names of ordinary files."""
    lesson = homes[1]

    def bundle(*members):
        out = io.BytesIO()
        with tarfile.open(fileobj=out, mode="w") as tar:
            for name, kind, text in members:
                info = tarfile.TarInfo(name)
                info.type, info.size, info.linkname = kind, len(text), "/etc/shadow"
                tar.addfile(info, io.BytesIO(text))
        return out.getvalue()

    said = {
        "t01": bundle(("../../../book_t01.ipynb", tarfile.REGTYPE, b"own"), ("answers_t01.toml", tarfile.SYMTYPE, b""),
                      ("authorized_keys", tarfile.REGTYPE, b"x"), ("scenario.toml", tarfile.REGTYPE, b"y = 2")),
        "t02": b"rubbish" * 1000,
    }  # fmt: skip
    monkeypatch.setattr(server, "_as_learner", lambda key, words: subprocess.CompletedProcess(words, 0, said[key], b""))
    found = server.fetch(lesson)
    assert contents(lesson / "returned" / "t01").keys() - {".made_by_boostkit.json"} == {"book_t01.ipynb"}
    assert found.brought == 1 and found.notes == ("t02: the files could not be fetched (ReadError)",)
    assert not (lesson.parents[1] / "book_t01.ipynb").exists()


def test_accounts_that_may_not_be_used(homes, monkeypatch):
    """No account, an account of the system, and somebody else's without root's rights."""
    monkeypatch.undo()
    with pytest.raises(ValueError, match="^nobody-has-this-key: has no account on this machine"):
        server._account("nobody-has-this-key")
    with pytest.raises(ValueError, match="^root: is an account of the system itself"):
        server._account("root")
    monkeypatch.setattr(pwd, "getpwnam", lambda name: SimpleNamespace(pw_uid=12345, pw_gid=12345, pw_dir="/home/t01"))
    monkeypatch.setattr(os, "geteuid", lambda: 1001)
    with pytest.raises(ValueError, match="^t01: only root may reach into a learner's home"):
        server._account("t01")
