"""From key press to changed pixels, in JupyterLab in a real browser: by hand, not collected by pytest.

    python tests/browser_latency.py [WORKBOOK.ipynb ...] [--presses 40] [--pictures FOLDER]

Runs each workbook (01 to 06 by default, those that exist), finds every slider of every panel by the keyboard, presses arrow
keys, and takes the time from the key's event to the first animation frame in which the panel's image has other pixels
(read back; the frame is then painted). The first WARM presses of each slider are not counted. Then, in frames
taken from the screen during quick presses, the image must never be blank. Then the moving pictures: frames per second while
they play, whether a step changes their pixels, and that nothing animates where reduced motion is asked for.

Exit status 1 where a panel's median is 60 ms or more or its 95th percentile 100 ms or more, a slider cannot be reached or
seldom changes anything, an image was blank, or a moving picture fails. Other work on the machine makes the times longer: run
it alone.
"""

import argparse
import base64
import io
import json
import statistics
import sys
from pathlib import Path

from browser import HOME, chromium, lab, open_workbook
from PIL import Image

MEDIAN, P95 = 60.0, 100.0  # ms, what a panel must stay under
WARM = 3  # presses of each slider that are not counted: first drawing, first import
PATIENCE = 2000  # ms after which a press has changed nothing
FEWEST_FRAMES = 30  # a second while a moving picture plays: below that the eye sees steps

WATCH = """
window.painted = new Map();
if (!window.put) {
  window.put = CanvasRenderingContext2D.prototype.putImageData;
  CanvasRenderingContext2D.prototype.putImageData = function (...given) {
    window.painted.set(this.canvas, (window.painted.get(this.canvas) ?? 0) + 1);
    return window.put.apply(this, given);
  };
}
window.watch = (panel) => {
  const canvas = panel.querySelector('.boostkit-slate'), pen = canvas.getContext('2d');
  const times = () => window.painted.get(canvas) ?? 0;
  const read = () => new Uint32Array(pen.getImageData(0, 0, canvas.width, canvas.height).data.buffer);
  const differ = (a, b) => a.length !== b.length || a.some((dot, n) => dot !== b[n]);
  let seen = times(), held = read();
  return (patience) => new Promise((done) => {
    let pressed = null;
    const key = (event) => { pressed ??= event.timeStamp; };
    window.addEventListener('keydown', key, { capture: true, once: true });
    window.ready = true;
    const start = performance.now();
    const frame = () => {
      if (times() !== seen) {
        const time = performance.now(), now = read(), changed = differ(now, held);
        seen = times();
        held = now;
        if (changed && pressed !== null) return done(time - pressed);
      }
      if (performance.now() - start > patience) return done(null);
      requestAnimationFrame(frame);
    };
    requestAnimationFrame(frame);
  });
};
window.shown = (handle) => handle.offsetParent !== null;  // not one that its panel has put away
window.panels = [...document.querySelectorAll('.jp-OutputArea-output')].filter(
  (output) => output.querySelector('.boostkit-slate') && output.querySelector('.noUi-handle'));
"""


def sliders_by_keyboard(page, panel: int):
    """Go from slider to slider with the Tab key alone; yields each one's number and name, None for one never reached."""
    names = page.evaluate("""n => [...panels[n].querySelectorAll('.noUi-handle')].filter(shown).map(handle =>
        handle.closest('.widget-inline-hbox, .jupyter-widgets')?.querySelector('.widget-label')?.textContent ?? '?')""", panel)
    page.evaluate("""n => {
        const start = document.createElement('span');
        start.tabIndex = 0;
        panels[n].querySelector('.jupyter-widgets').prepend(start);
        start.focus();
        start.addEventListener('blur', () => start.remove());
    }""", panel)
    reached, here = 0, "n => [...panels[n].querySelectorAll('.noUi-handle')].filter(shown).indexOf(document.activeElement)"
    for _ in range(4 * len(names) + 4):
        page.keyboard.press("Tab")
        at = page.evaluate(here, panel)
        if at == reached:
            yield at, names[at]
            reached += 1
        if reached == len(names):
            return
    yield reached, None


def press(page, key: str) -> float | None:
    """One key press: ms to changed pixels, None where nothing changed."""
    page.evaluate("patience => { window.ready = false; window.pressed = window.seen(patience); }", PATIENCE)
    page.wait_for_function("window.ready")
    page.keyboard.press(key)
    found = page.evaluate("window.pressed")
    page.wait_for_timeout(40)
    return found


def blank_frames(page, panel: int, presses: int = 48) -> str:
    """What the screen showed, frame by frame, during quick presses: words where the image was ever of one colour or gone."""
    place = page.evaluate("""n => {
        const image = panels[n].querySelector('.boostkit-slate');
        image.scrollIntoView({ block: 'end' });
        const r = image.getBoundingClientRect();
        window.lowest = r.height / r.width;
        new ResizeObserver(() => { window.lowest = Math.min(window.lowest, image.clientHeight / r.width); }).observe(image);
        return [r.left, r.top, r.right, Math.min(r.bottom, innerHeight)];
    }""", panel)
    tall = page.evaluate("window.lowest")
    frames = screen_frames(page, presses)
    pictures = [Image.open(io.BytesIO(base64.b64decode(frame["data"]))).convert("L").crop(place) for frame in frames]
    blank = sum(low == high for low, high in (picture.getextrema() for picture in pictures))
    if page.evaluate("window.lowest") < 0.9 * tall:
        return "the image lost its height on the way"
    if len(pictures) < presses // 4:
        return f"only {len(pictures)} frames of the screen were seen"
    return f"the image was blank in {blank} of {len(pictures)} frames" if blank else ""


def screen_frames(page, presses: int) -> list[dict]:
    """Frames taken from the screen while arrow keys are pressed as fast as a hand would."""
    session, frames, seen = page.context.new_cdp_session(page), [], 0
    session.on("Page.screencastFrame", lambda frame: frames.append(frame))
    session.send("Page.startScreencast", {"format": "png"})
    for n in range(presses):
        page.keyboard.press("ArrowLeft" if n % 2 else "ArrowRight")
        page.wait_for_timeout(30)
        for frame in frames[seen:]:
            session.send("Page.screencastFrameAck", {"sessionId": frame["sessionId"]})
        seen = len(frames)
    session.send("Page.stopScreencast")
    session.detach()
    return frames


def measure_panel(page, panel: int, presses: int) -> tuple[list[float], list[str]]:
    """Times of one panel in ms, shared among its sliders, and what is wrong with it."""
    page.evaluate("n => { panels[n].scrollIntoView({ block: 'center' }); window.seen = watch(panels[n]); }", panel)
    times, wrong = [], []
    for _, name in sliders_by_keyboard(page, panel):
        if name is None:
            wrong.append("a slider that the Tab key does not reach")
            continue
        missed = 0
        for n in range(WARM + presses):
            top = page.evaluate("() => { const a = document.activeElement; return a.ariaValueNow === a.ariaValueMax; }")
            ms = press(page, "ArrowLeft" if top or n % 12 >= 6 else "ArrowRight")
            if n >= WARM:
                times += [ms] if ms is not None else []
                missed += ms is None
        if missed > presses // 2:
            wrong.append(f"{name}: {missed} of {presses} presses changed nothing")
    blank = blank_frames(page, panel)
    return times, wrong + ([blank] if blank else [])


def measure_workbook(page, address: str, workbook: Path, presses: int, pictures: Path | None) -> bool:
    """Every panel of a workbook, a line each; False where one falls short."""
    open_workbook(page, address, workbook.name)
    page.evaluate(f"() => {{ {WATCH} }}")
    good = True
    for panel in range(page.evaluate("panels.length")):
        times, wrong = measure_panel(page, panel, presses)
        if times:
            middle, late = statistics.median(times), sorted(times)[max(0, -(-95 * len(times) // 100) - 1)]
            if middle >= MEDIAN or late >= P95:
                wrong.append("too slow")
            print(f"{workbook.stem}, panel {panel + 1}: median {middle:.0f} ms, 95th percentile {late:.0f} ms "
                  f"({len(times)} presses){''.join('; ' + words for words in wrong)}", flush=True)
        else:
            wrong.append("no press changed anything")
            print(f"{workbook.stem}, panel {panel + 1}: {'; '.join(wrong)}", flush=True)
        if pictures:
            page.screenshot(path=str(pictures / f"{workbook.stem}_panel_{panel + 1}.png"))
        good &= not wrong
    return good & measure_players(page, workbook.stem, pictures)


# ---- the moving pictures

PLAYERS = """
window.players = [...document.querySelectorAll('.boostkit-player')];
window.dots = (n) => [...players[n].querySelectorAll('canvas')].map((canvas) => canvas.toDataURL());
window.drawn = new Map();
if (!window.counted) {
  window.counted = CanvasRenderingContext2D.prototype.setTransform;
  CanvasRenderingContext2D.prototype.setTransform = function (...numbers) {
    window.drawn.set(this.canvas, (window.drawn.get(this.canvas) ?? 0) + 1);
    return window.counted.apply(this, numbers);
  };
}
window.frames = (n) => window.drawn.get(players[n].querySelector('canvas')) ?? 0;
"""


def measure_players(page, name: str, pictures: Path | None) -> bool:
    """Every moving picture on the page, a line each; False where one falls short."""
    page.evaluate(f"() => {{ {PLAYERS} }}")
    good = True
    for n in range(page.evaluate("players.length")):
        wrong, rate = measure_player(page, n)
        print(f"{name}, moving picture {n + 1}: {rate:.0f} frames a second{''.join('; ' + words for words in wrong)}", flush=True)
        if pictures:
            page.screenshot(path=str(pictures / f"{name}_moving_{n + 1}.png"))
        good &= not wrong
    return good


def measure_player(page, n: int) -> tuple[list[str], float]:
    """What is wrong with a moving picture, and the frames that it shows in a second of play."""
    page.evaluate("n => { players[n].scrollIntoView({ block: 'center' }); players[n].focus(); }", n)
    page.wait_for_timeout(500)
    drawn = page.evaluate("frames", n)
    page.wait_for_timeout(500)
    checks = {"it moves before anyone has started it": page.evaluate("frames", n) == drawn}
    for key in 3 * ("ArrowRight", "ArrowLeft"):  # Chromium draws a canvas elsewhere, and a shade differently, once it is read often
        page.keyboard.press(key)
        page.evaluate("dots", n)
    rest = page.evaluate("dots", n)
    checks |= steps(page, n, rest)
    rate, paused = play(page, n)
    page.wait_for_timeout(300)
    checks["it goes on after a pause"] = page.evaluate("dots", n) == paused
    page.keyboard.press("Home")
    checks["a reset does not bring it back"] = page.evaluate("dots", n) == rest
    checks[f"fewer than {FEWEST_FRAMES} frames a second"] = rate >= FEWEST_FRAMES
    return [words for words, good in checks.items() if not good], rate


def steps(page, n: int, rest: list[str]) -> dict[str, bool]:
    """A step on changes every picture and the readings, a step back undoes it."""
    readings = "n => players[n].querySelector('[role=status]').textContent"
    said = page.evaluate(readings, n)
    page.keyboard.press("ArrowRight")
    checks = {"a step changes no pixels": all(a != b for a, b in zip(rest, page.evaluate("dots", n), strict=True)),
              "a step changes no readings": page.evaluate(readings, n) != said}
    page.keyboard.press("ArrowLeft")
    return checks | {"a step on and a step back do not meet": page.evaluate("dots", n) == rest}


def play(page, n: int) -> tuple[float, list[str]]:
    """Frames a second over three seconds of play, the first half second not counted; and the pictures after the pause."""
    page.keyboard.press("Space")
    page.wait_for_timeout(500)
    start, before = page.evaluate("n => [performance.now(), frames(n)]", n)
    page.wait_for_timeout(3000)
    end, after = page.evaluate("n => [performance.now(), frames(n)]", n)
    page.keyboard.press("Space")
    return 1000 * (after - before) / (end - start), page.evaluate("dots", n)


def measure_calm(page) -> bool:
    """With reduced motion asked for, play goes from step to step and does not animate."""
    page.emulate_media(reduced_motion="reduce")
    page.evaluate("() => players[0].focus()")
    start = page.evaluate("frames", 0)
    page.keyboard.press("Space")
    page.wait_for_timeout(3000)
    steps = page.evaluate("frames", 0) - start
    page.keyboard.press("Space")
    page.emulate_media(reduced_motion="no-preference")
    print(f"reduced motion: {steps} pictures in 3 s of play")
    return 2 <= steps <= 8


PLAYER_CELLS = [
    "from boostkit.circuit import Converter, switched\nfrom boostkit.show import courses, player\nfrom boostkit.water.ram import Ram\n"
    "c = Converter.of(v_in=6, duty=0.68, f_sw=150e3, inductance=47e-6, r_inductor=0.04, r_switch=0.02, v_rectifier=0.4,\n"
    "                 r_rectifier=0.02, capacitance=100e-6, r_capacitor=0.01, r_load=30)\n"
    "def both(c):\n"
    "    ram = Ram.like(c, pressure_per_volt=1e4, flow_per_ampere=1e-3, seconds_per_second=2e5)\n"
    "    return player.side_by_side(courses.of_ram(ram.steady()), courses.of_converter(switched.steady_state(c)))",
    "both(c)",
    "both(c.change(duty=0.4, r_load=900))",
    "player.of(courses.of_converter(switched.steady_state(c)))",
]  # fmt: skip


def player_notebook() -> str:
    """A notebook of moving pictures: continuous, discontinuous, one alone."""
    cells = [{"cell_type": "code", "id": f"cell-{n}", "source": source, "metadata": {}, "outputs": [], "execution_count": None}
             for n, source in enumerate(PLAYER_CELLS)]
    kernel = {"name": "python3", "display_name": "Python 3", "language": "python"}
    return json.dumps({"nbformat": 4, "nbformat_minor": 5, "metadata": {"kernelspec": kernel}, "cells": cells})


def main() -> int:
    asked = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    asked.add_argument("workbooks", nargs="*", type=Path)
    asked.add_argument("--presses", type=int, default=40, help="counted presses of each slider")
    asked.add_argument("--pictures", type=Path, help="a folder for screenshots")
    given = asked.parse_args()
    books = given.workbooks or sorted(book for book in (HOME / "workbooks").glob("0[1-6]_*.ipynb"))
    if given.pictures:
        given.pictures.mkdir(parents=True, exist_ok=True)
    beside = {file for book in books for file in book.parent.glob("*.toml")}
    good = True
    with lab([*books, *beside], {"moving.ipynb": player_notebook()}) as address, chromium() as browser:
        page = browser.new_page(viewport={"width": 1100, "height": 1300})
        page.on("pageerror", lambda error: print("error in the page:", error, file=sys.stderr))
        open_workbook(page, address, "moving.ipynb")
        page.wait_for_selector(".boostkit-player canvas")
        good &= measure_players(page, "moving", given.pictures) & measure_calm(page)
        for book in books:
            try:
                good &= measure_workbook(page, address, book, given.presses, given.pictures)
            except RuntimeError as trouble:
                print(trouble, flush=True)
                good = False
    return 0 if good else 1


if __name__ == "__main__":
    sys.exit(main())
