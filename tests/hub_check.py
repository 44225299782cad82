"""The class on one server, for real: JupyterHub with the shipped configuration, and learners who all come in at once.

    python tests/hub_check.py [--learners 10] [--lab 03] [--idle]

Everything stands on the page of instructions: this makes a set, a certificate and accounts with the commands of that page, starts
the Hub with the shipped file as it is, and prints what was measured. The accounts, homes, ports and processes live in namespaces of
their own (`unshare`): the machine's own files stay as they are, nothing listens to the outside, and nothing is left behind.
`--idle` waits up to four minutes more, with shortened times, until an unused server has ended by itself.

It installs nothing. It needs Linux, root, a Python that every account may run (not one below /root) with boostkit and jupyterhub in
it, node, `configurable-http-proxy` on the PATH, openssl, GNU tar, ip, and useradd. It ends by itself within LONGEST seconds.
"""

import argparse
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from importlib.util import find_spec
from pathlib import Path

HOME = Path(__file__).resolve().parents[1]
MANUAL = HOME / "boostkit" / "data" / "classroom" / "server.md"
LONGEST = 900
MOVES = 5
INSIDE = "BOOSTKIT_HUB_CHECK_FOLDER"
PROGRAMS = ("unshare", "ip", "node", "configurable-http-proxy", "openssl", "tar", "useradd", "chpasswd", "prlimit", "pgrep", "hostname")
NOBODY = 65534


def main() -> int:
    """Check what is needed, then do everything inside namespaces of our own."""
    words = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    words.add_argument("--learners", type=int, default=10, choices=range(1, 31), metavar="1..30")
    words.add_argument("--lab", default="03")
    words.add_argument("--idle", action="store_true")
    asked = words.parse_args()
    if folder := os.environ.get(INSIDE):
        return inside(Path(folder), asked)
    if missing := lacking():
        print("hub_check needs:", *missing, sep="\n  ")
        return 2
    with tempfile.TemporaryDirectory(prefix="boostkit-hub-") as folder:
        os.chmod(folder, 0o755)
        command = ["unshare", "--mount", "--net", "--pid", "--fork", "--mount-proc", "--kill-child", sys.executable, *sys.argv]
        try:
            return subprocess.run(command, env=os.environ | {INSIDE: folder}, timeout=LONGEST, check=False).returncode
        except subprocess.TimeoutExpired:
            print(f"hub_check: stopped after {LONGEST} s")
            return 1


def lacking() -> list[str]:
    """What this machine lacks, in words."""
    if sys.platform != "linux" or os.geteuid():
        return ["Linux, and root's rights on it: it makes accounts (in a namespace of its own)"]
    found = [f"the program {name}" for name in PROGRAMS if not shutil.which(name)]
    found += [f"the Python package {name}" for name in ("jupyterhub", "requests", "websocket") if not find_spec(name)]
    trial = subprocess.run([sys.executable, "-c", "import boostkit"], user=NOBODY, group=NOBODY, extra_groups=[], cwd="/",
                           env={"PYTHONPATH": str(HOME)}, capture_output=True, check=False) if os.access(sys.executable, os.X_OK) else None
    if trial is None or trial.returncode:
        found.append(f"a Python and a boostkit that every account may run; {sys.executable} is not")
    return found


# the machine of the class


def inside(folder: Path, asked) -> int:
    """In our own namespaces: the machine, the Hub, the learners; numbers and findings to the terminal."""
    machine(folder)
    server = folder / "class"
    passwords = lesson(server, asked.learners, asked.lab)
    address, certificate = f"https://{_out('hostname')}", str(server / "server.crt")
    with hub(server, "jupyterhub_config.py", address, certificate):
        found = [*strangers(address, certificate, passwords), *the_lesson(server, address, certificate, passwords)]
    found += marks(server, len(passwords))
    if asked.idle:
        found.append(idle(server, address, certificate, passwords))
    print("\nchecked:", *found, sep="\n  ")
    return 0


def machine(folder: Path) -> None:
    """Copies of /etc and /home that only we see, and a loopback of our own."""
    for place in ("etc", "home"):
        shutil.copytree("/etc", folder / place, symlinks=True) if place == "etc" else (folder / place).mkdir()
        _do("mount", "--bind", folder / place, f"/{place}")
    for place in ("/var/log", "/var/mail"):
        _do("mount", "-t", "tmpfs", "none", place)
    _do("ip", "link", "set", "lo", "up")
    Path("/etc/hosts").write_text(f"127.0.0.1 localhost {_out('hostname')}\n", encoding="utf-8")
    _do("groupadd", "--force", "users")


def lesson(server: Path, learners: int, lab: str) -> dict[str, str]:
    """Everything before the lesson, by the commands of the page; passwords by key."""
    os.umask(0o022)
    _boostkit("class", "server", "-o", server)
    roster = server / "roster.csv"
    roster.write_text("key,name\n" + "".join(f"t{n:02d},Learner Number {n}\n" for n in range(1, learners + 1)), encoding="utf-8")
    _boostkit("class", "make", lab, roster, "-o", server / "lesson")
    for block in ("certificate", "accounts"):
        _do("bash", "-e", "-c", told(block), cwd=server)
    return dict(line.split() for line in (server / "passwords.txt").read_text(encoding="utf-8").splitlines())


def told(block: str) -> str:
    """A block of commands of the page of instructions."""
    return re.search(rf"<!-- {block} -->\n```bash\n(.*?)```", MANUAL.read_text(encoding="utf-8"), re.S)[1]


class hub:  # noqa: N801  (used like a function)
    """The Hub, started with a configuration, and ended."""

    def __init__(self, server: Path, config: str, address: str, certificate: str):
        import requests

        with open(server / "hub.log", "ab") as log:
            self.process = subprocess.Popen([sys.executable, "-m", "jupyterhub", "--config", server / config], cwd=server,
                                            env=os.environ | {"PYTHONPATH": str(HOME)}, stdout=log, stderr=log)
        end = time.monotonic() + 120
        while True:
            try:
                requests.get(f"{address}/hub/health", verify=certificate, timeout=5).raise_for_status()
                return
            except requests.RequestException:
                if self.process.poll() is not None or time.monotonic() > end:
                    raise RuntimeError("the Hub did not start:\n" + (server / "hub.log").read_text()[-2000:]) from None
                time.sleep(0.5)

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.process.terminate()
        self.process.wait(60)


# the learners


def strangers(address: str, certificate: str, passwords: dict[str, str]) -> list[str]:
    """Who must not come in."""
    from hub_learner import Learner

    _do("useradd", "--create-home", "outsider")
    _do("chpasswd", text="outsider:a-right-password\n")
    key = next(iter(passwords))
    assert not Learner(address, certificate, key, "wrong").log_in(), "a wrong password was let in"
    assert not Learner(address, certificate, "outsider", "a-right-password").log_in(), "an account outside the class was let in"
    return ["a wrong password, and an account that is not in the class, are refused"]


def the_lesson(server: Path, address: str, certificate: str, passwords: dict[str, str]) -> list[str]:
    """All at once: log in, open, run, move. Then what no learner may do."""
    from hub_learner import Learner

    people = [Learner(address, certificate, key, password) for key, password in passwords.items()]
    with ThreadPoolExecutor(len(people)) as pool:
        times = list(pool.map(attend, people))
        names = ("log-in and first page", "workbook run", "slider to picture, median of each learner", "slider to picture, worst")
        print(f"{len(people)} learners at once, {os.cpu_count()} cores")
        for name, column in zip(names, zip(*times, strict=True), strict=True):
            print(f"  {name:45} median {statistics.median(column):7.3f} s   worst {max(column):7.3f} s")
        print(f"  {'memory of a learner (server and kernel)':45} {memory(people)}")
        found = kept_apart(server, people)
        list(pool.map(fill_in, people))
    return found


def attend(one) -> tuple[float, float, float, float]:
    """One learner's lesson: seconds to the first page, to the end of the workbook, and of a slider's answer (median, worst)."""
    begun = time.monotonic()
    assert one.log_in(), f"{one.key} was not let in"
    where = one.open_page()
    first = time.monotonic() - begun
    assert f"/user/{one.key}/lab/tree/lesson" in where, where
    name = next(each["name"] for each in one.ask("GET", "contents/lesson")["content"] if each["name"].endswith(f"_{one.key}.ipynb"))
    cells = one.ask("GET", f"contents/lesson/{name}")["content"]["cells"]
    begun = time.monotonic()
    one.start_kernel(f"lesson/{name}")
    one.run("import os; os.chdir(os.path.expanduser('~/lesson'))")  # as JupyterLab does: the workbook's own folder
    for cell in cells:
        if cell["cell_type"] == "code" and "answer-here" not in cell["metadata"].get("tags", []):
            one.run("".join(cell["source"]))
    ran = time.monotonic() - begun
    number, state = one.sliders()[0]
    places = [state["min"] + share * (state["max"] - state["min"]) for share in (0.2, 0.8, 0.35, 0.65, 0.5)][:MOVES]
    moved = [one.move(number, place) for place in places]
    assert len({dots for _, dots in moved}) == len(places), f"{one.key}: the picture did not follow the slider"
    return first, ran, statistics.median(took for took, _ in moved), max(took for took, _ in moved)


def memory(people) -> str:
    """Median and worst over the learners, in MB: shared pages counted by share (Pss of proc(5))."""
    import pwd

    total = {pwd.getpwnam(one.key).pw_uid: 0.0 for one in people}
    for process in Path("/proc").glob("[0-9]*"):
        try:
            owner = int(re.search(r"^Uid:\s+(\d+)", (process / "status").read_text(), re.M)[1])
            if owner in total:
                total[owner] += int(re.search(r"^Pss:\s+(\d+)", (process / "smaps_rollup").read_text(), re.M)[1]) / 1000
        except (OSError, TypeError):
            continue  # it has just ended
    return f"median {statistics.median(total.values()):7.0f} MB  worst {max(total.values()):7.0f} MB"


FORBIDDEN = """
import pathlib
for place in {places!r}:
    try:
        path = pathlib.Path(place)
        print('READ', place, list(path.iterdir()) if path.is_dir() else path.read_bytes()[:20])
    except PermissionError:
        print('refused')
"""
TRANSPORT = "import ipykernel, json; print(json.load(open(ipykernel.get_connection_file()))['transport'])"
GREEDY = """
try:
    much = bytearray(4_000_000_000)
    print('GOT IT')
except MemoryError:
    print('refused')
"""


def kept_apart(server: Path, people) -> list[str]:
    """What a learner's own program cannot read, and that memory has an end."""
    first, other = people[0], people[-1].key
    places = [str(server), str(server / "lesson" / "teacher" / "keys" / f"{first.key}.md"), str(server / "lesson" / "copies" / other),
              str(server / "server.key"), str(server / "passwords.txt"), f"/home/{other}/lesson", "/etc/shadow"]
    if other == first.key:
        places = [place for place in places if not place.startswith("/home")]
    said = first.printed(FORBIDDEN.format(places=places)).split("\n")
    assert said == ["refused"] * len(places) + [""], said
    assert first.printed(GREEDY).strip() == "refused", "a program of a learner got 4 GB"
    assert first.printed(TRANSPORT).strip() == "ipc", "a kernel can be listened to over the network of the machine"
    # the server's own, and one into which children of a kernel print: it gives nothing out (a kernel over TCP has five more)
    assert (ports := listening(first.key)) <= 2, f"{first.key} listens on {ports} ports"
    return ["a learner's program reads no key, no certificate, no password, no other learner's home or copies",
            "a kernel gives out nothing over the network of the machine: it talks through files of its learner",
            "a learner's program that asks for 4 GB is refused, and goes on"]


def listening(key: str) -> int:
    """On how many TCP ports programs of an account listen (proc(5): state 0A)."""
    import pwd

    rows = [row.split() for name in ("tcp", "tcp6") for row in Path(f"/proc/net/{name}").read_text().splitlines()[1:]]
    return sum(row[3] == "0A" and row[7] == str(pwd.getpwnam(key).pw_uid) for row in rows)


def fill_in(one) -> None:
    """Write an answer into the sheet in one's own home, through the own server."""
    path = f"contents/lesson/answers_{one.key}.toml"
    text = one.ask("GET", path)["content"]
    filled = re.sub(r'^(\w+) = ""', r'\1 = "0.123"', text, count=1, flags=re.M)
    assert filled != text
    one.ask("PUT", path, json={"type": "file", "format": "text", "content": filled})


def marks(server: Path, learners: int) -> list[str]:
    """Fetched and marked; a learner who lays a link to the keys in place of the sheet gets nobody's key fetched."""
    sheet = Path("/home/t01/lesson/answers_t01.toml")
    sheet.unlink()
    sheet.symlink_to(server / "lesson" / "teacher" / "keys" / "t01.md")
    said = _boostkit("class", "fetch", server / "lesson", status=1)
    assert f"sheets of {learners - 1} of {learners}" in said, said
    assert not (server / "lesson" / "returned" / "t01").exists()
    if learners > 1:
        said = _boostkit("class", "mark", server / "lesson")
        assert f"{learners - 1} of {learners} sheets marked" in said, said
    return ["sheets filled in in the browser come back and are marked; a link laid in place of a sheet fetches nothing"]


def idle(server: Path, address: str, certificate: str, passwords: dict[str, str]) -> str:
    """With times cut to seconds: a server that nobody uses ends, with its kernel, while the page's line is still open."""
    from hub_learner import Learner

    text = (server / "jupyterhub_config.py").read_text(encoding="utf-8")
    short = text.replace("IDLE = 3600", "IDLE = 20").replace("cull_interval=60", "cull_interval=5")
    assert short.count("IDLE = 20") == short.count("cull_interval=5") == 1
    (server / "short.py").write_text(short, encoding="utf-8")
    key, password = next(iter(passwords.items()))
    with hub(server, "short.py", address, certificate):
        one = Learner(address, certificate, key, password)
        assert one.log_in()
        one.open_page()
        one.start_kernel("lesson/nothing.ipynb")
        begun = time.monotonic()
        while subprocess.run(["pgrep", "--runstates", "R,S,D", "-u", key], capture_output=True, check=False).stdout:
            assert time.monotonic() - begun < 240, "an unused server did not end"
            time.sleep(2)
        return f"an unused kernel and its server ended by themselves after {time.monotonic() - begun:.0f} s (times shortened)"


# programs


def _do(*words, cwd=None, text=None) -> str:
    """Run a program that must succeed; what it said."""
    done = subprocess.run(list(map(str, words)), cwd=cwd, input=text, capture_output=True, text=True, check=False)
    if done.returncode:
        raise RuntimeError(f"{words[0]}: {done.stderr.strip()[-500:]}")
    return done.stdout


def _out(*words) -> str:
    return _do(*words).strip()


def _boostkit(*words, status: int = 0) -> str:
    done = subprocess.run([sys.executable, "-m", "boostkit", *map(str, words)], cwd=HOME, capture_output=True, text=True, check=False)
    assert done.returncode == status, (done.returncode, done.stderr[-1000:])
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
