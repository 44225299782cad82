"""A common start for the checks in a real browser: JupyterLab on a free port over a folder of its own, and Chromium.

Needs the `test` extra (playwright) and a Chromium of the system; BOOSTKIT_CHROMIUM names another one than /usr/bin/chromium.
"""

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path

HOME = Path(__file__).resolve().parents[1]
CHROMIUM = os.environ.get("BOOSTKIT_CHROMIUM", "/usr/bin/chromium")
BUSY = "window.jupyterapp.shell.currentWidget.sessionContext.session?.kernel?.status !== 'idle'"
LEFT = "[...document.querySelectorAll('.jp-InputPrompt')].some(p => p.textContent.includes('*'))"


@contextmanager
def chromium(**how):
    """A browser of its own, closed at the end; `how` goes to playwright's `launch`."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=["--no-sandbox", "--disable-background-networking"], **how)
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def lab(files=(), texts=None):
    """JupyterLab over a new folder with copies of these files and with `texts` (name to contents); yields its address."""
    with tempfile.TemporaryDirectory(prefix="boostkit-browser-") as folder:
        root, own = Path(folder, "work"), Path(folder, "own")
        root.mkdir()
        for file in files:
            shutil.copy(file, root)
        for name, text in (texts or {}).items():
            Path(root, name).write_text(text, encoding="utf-8")
        _settle(own / "config")
        port = _free_port()
        settings = {f"JUPYTER_{name}_DIR": str(own / name.lower()) for name in ("CONFIG", "DATA", "RUNTIME")}
        paths = os.pathsep.join(filter(None, [str(HOME), os.environ.get("PYTHONPATH")]))
        command = [sys.executable, "-m", "jupyter", "lab", "--no-browser", "--allow-root", f"--port={port}", "--ServerApp.port_retries=0",
                   "--IdentityProvider.token=", "--ServerApp.password=", f"--ServerApp.root_dir={root}",
                   "--LabApp.expose_app_in_browser=True"]
        server = subprocess.Popen(command, env=os.environ | settings | {"PYTHONPATH": paths},
                                  stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        try:
            address = f"http://127.0.0.1:{port}"
            _wait(address, server)
            yield address
        finally:
            server.terminate()
            server.wait(20)


SETTINGS = {
    "notebook-extension/tracker": '{"windowingMode": "none"}',  # else cells leave the page when they scroll away
    "apputils-extension/notification": '{"fetchNews": "false", "checkForUpdates": false}',  # a pop-up covers the page
}


def _settle(config: Path) -> None:
    """Settings of JupyterLab without which a script cannot see the page."""
    for name, text in SETTINGS.items():
        setting = config / "lab" / "user-settings" / "@jupyterlab" / f"{name}.jupyterlab-settings"
        setting.parent.mkdir(parents=True, exist_ok=True)
        setting.write_text(text, encoding="utf-8")


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


def _wait(address: str, server: subprocess.Popen) -> None:
    for _ in range(120):
        try:
            urllib.request.urlopen(f"{address}/api", timeout=2)
            return
        except OSError:
            if server.poll() is not None:
                raise RuntimeError("JupyterLab ended at once; start it by hand to see why") from None
            time.sleep(0.5)
    raise RuntimeError("JupyterLab did not answer within a minute")


def open_workbook(page, address: str, name: str, patience: float = 300.0) -> None:
    """Open a workbook, run every cell and wait until the kernel rests; RuntimeError names a cell that failed."""
    page.goto(f"{address}/lab/tree/{name}?reset", timeout=90_000)
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=90_000)
    page.wait_for_function(f"!({BUSY})", timeout=60_000)
    page.evaluate("() => { window.jupyterapp.shell.collapseLeft(); }")
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_function(f"!({LEFT}) && !({BUSY})", timeout=patience * 1000)
    failed = page.locator("[data-mime-type='application/vnd.jupyter.error'], [data-mime-type='application/vnd.jupyter.stderr']")
    if failed.count():
        raise RuntimeError(f"{name}: a cell failed: {failed.first.inner_text()[-300:]}")
