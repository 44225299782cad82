"""A learner in front of a browser, as far as a JupyterHub can tell: logs in, opens a workbook, runs it, moves a slider.

Only for `hub_check.py`. Needs requests and websocket-client, which JupyterLab brings.
"""

import json
import re
import ssl
import struct
import time
import uuid
from itertools import pairwise
from urllib.parse import urlsplit

import requests
import websocket

PATIENCE = 200.0  # seconds for any one thing


class Learner:
    """One log-in; every address is asked over TLS, with the certificate checked."""

    def __init__(self, address: str, certificate: str, key: str, password: str):
        self.address, self.certificate, self.key, self.password = address, certificate, key, password
        self.web = requests.Session()
        self.web.verify, self.web.trust_env = certificate, False  # no proxy, no certificates of the surroundings
        self.said: list[dict] = []

    def log_in(self) -> bool:
        """Send the form of the log-in page; whether the Hub let us in."""
        form = self.web.get(f"{self.address}/hub/login", timeout=PATIENCE)
        token = re.search(r'name="_xsrf"\s+value="([^"]+)"', form.text)
        came = self.web.post(f"{self.address}/hub/login", timeout=PATIENCE, allow_redirects=False, data={
            "username": self.key, "password": self.password, "_xsrf": token[1] if token else self._cookie("/hub/")})
        return came.status_code == 302 and "login" not in came.headers["Location"]

    def open_page(self) -> str:
        """Wait for the own server and load JupyterLab's page with the scripts it names; the address where it ended."""
        end = time.monotonic() + PATIENCE
        page = self.web.get(f"{self.address}/hub/spawn", timeout=PATIENCE)
        while f"/user/{self.key}/lab" not in urlsplit(page.url).path:
            if page.status_code >= 400 or time.monotonic() > end:
                raise RuntimeError(f"{self.key}: no page: status {page.status_code} at {page.url}: {_words(page.text)}")
            time.sleep(0.5)
            page = self.web.get(f"{self.address}/user/{self.key}/", timeout=PATIENCE) if "pending" in page.url else self.web.get(
                page.url, timeout=PATIENCE)
        page.raise_for_status()
        for script in re.findall(r'<script[^>]+src="([^"]+\.js[^"]*)"', page.text):
            self.web.get(f"{self.address}{script}", timeout=PATIENCE).raise_for_status()
        return page.url

    def ask(self, method: str, path: str, **what):
        """A call of the own server's interface; its answer as JSON."""
        here = f"{self.address}/user/{self.key}/api/{path}"
        came = self.web.request(method, here, timeout=PATIENCE, headers={"X-XSRFToken": self._cookie(f"/user/{self.key}/")}, **what)
        came.raise_for_status()
        return came.json() if came.content else None

    def start_kernel(self, path: str) -> None:
        """Open a session for a workbook and the line to its kernel."""
        wanted = {"path": path, "name": path, "type": "notebook", "kernel": {"name": "python3"}}
        kernel = self.ask("POST", "sessions", json=wanted)["kernel"]
        self.session = uuid.uuid4().hex
        there = f"{self.address}/user/{self.key}/api/kernels/{kernel['id']}/channels?session_id={self.session}"
        cookies = self.web.prepare_request(requests.Request("GET", there)).headers["Cookie"]
        self.line = websocket.create_connection(there.replace("https:", "wss:"), timeout=PATIENCE, cookie=cookies,
                                                sslopt={"ca_certs": self.certificate, "cert_reqs": ssl.CERT_REQUIRED})

    def tell(self, kind: str, content: dict) -> list[dict]:
        """Send a message to the kernel; everything it says to it until it rests."""
        number = uuid.uuid4().hex
        header = {"msg_id": number, "msg_type": kind, "username": self.key, "session": self.session, "version": "5.3", "date": ""}
        self.line.send(json.dumps({"header": header, "parent_header": {}, "metadata": {}, "content": content, "channel": "shell",
                                   "buffers": []}))
        heard, end = [], time.monotonic() + PATIENCE
        while time.monotonic() < end:
            message = _read(self.line.recv())
            if message["parent_header"].get("msg_id") != number:
                continue
            heard.append(message)
            if message["msg_type"] == "status" and message["content"]["execution_state"] == "idle":
                return heard
        raise RuntimeError(f"{self.key}: the kernel did not rest within {PATIENCE:g} s")

    def run(self, code: str) -> list[dict]:
        """Run a cell; RuntimeError where it fails."""
        heard = self.tell("execute_request", {"code": code, "silent": False, "store_history": True, "user_expressions": {},
                                              "allow_stdin": False, "stop_on_error": True})
        self.said += heard
        for message in heard:
            if message["msg_type"] == "error":
                raise RuntimeError(f"{self.key}: {message['content']['ename']}: {message['content']['evalue']}")
        return heard

    def printed(self, code: str) -> str:
        """What a cell prints."""
        return "".join(m["content"]["text"] for m in self.run(code) if m["msg_type"] == "stream")

    def sliders(self) -> list[tuple[str, dict]]:
        """The sliders that came up so far: their number on the line, and their state."""
        opened = [(m["content"]["comm_id"], m["content"]["data"].get("state", {})) for m in self.said if m["msg_type"] == "comm_open"]
        return [(number, state) for number, state in opened if state.get("_model_name") == "FloatSliderModel"]

    def move(self, slider: str, value: float) -> tuple[float, bytes]:
        """Move a slider; seconds until the new picture was here, and its dots."""
        begun = time.monotonic()
        heard = self.tell("comm_msg", {"comm_id": slider, "data": {"method": "update", "state": {"value": value}, "buffer_paths": []}})
        took = time.monotonic() - begun
        for message in heard:
            paths = message["content"].get("data", {}).get("buffer_paths", []) if message["msg_type"] == "comm_msg" else []
            if ["dots"] in paths:
                return took, message["buffers"][paths.index(["dots"])]
        raise RuntimeError(f"{self.key}: the slider moved and no picture came")

    def _cookie(self, path: str) -> str:
        return next((c.value for c in self.web.cookies if c.name == "_xsrf" and c.path == path), "")


def _read(raw) -> dict:
    """A message of the kernel's line: JSON, or JSON with buffers behind it (the offsets stand in front, big endian)."""
    if isinstance(raw, str):
        return json.loads(raw)
    count = struct.unpack_from("!I", raw)[0]
    places = [*struct.unpack_from(f"!{count}I", raw, 4), len(raw)]
    parts = [raw[a:b] for a, b in pairwise(places)]
    return json.loads(parts[0]) | {"buffers": parts[1:]}


def _words(page: str) -> str:
    return " ".join(re.sub(r"<[^>]+>", " ", page).split())[-300:]
