"""From a touch on the exam page to the answer drawn, in a real browser: alone, and with twenty pages open.

Run it on a quiet machine with Chromium on the PATH: ``python tests/benchmarks/bench_touch.py [--touches 50]
[--pages 20] [--workers 2]``. A touch is a click of the browser's own; its time runs from the click's own stamp to the
first frame after the answer to it was drawn. Beside each stands what a plain `GET /health` took in those minutes,
and the ratio to it; *CPU* is what server and workers spent on one answer, which holds on a busy machine too. Aim: at
most 100 ms alone, 200 with twenty pages open. Tests are never timed.
"""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import psutil

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.browser import Server, opened_browser, serving
from support.exam_desk import Desk
from support.shipped_examples import EXAMPLES

VISIT = "jaundiced-sleepy-day-4.json"

WATCH = """() => {
    const page = document.documentElement;
    window.took = [];
    let began = null;
    document.addEventListener('click', (event) => { began = event.timeStamp; }, true);
    new MutationObserver(() => {
        if (began === null || page.dataset.drawn !== page.dataset.asked) return;
        const start = began;
        began = null;
        requestAnimationFrame(() => {
            const after = new MessageChannel();
            after.port1.onmessage = () => window.took.push(performance.now() - start);
            after.port2.postMessage(0);
        });
    }).observe(page, { attributeFilter: ['data-drawn'] });
}"""
PLAIN = """async () => {
    const took = [];
    for (let k = 0; k < 30; k += 1) {
        const start = performance.now();
        await (await fetch('/health')).text();
        took.push(performance.now() - start);
    }
    return took;
}"""


def ready(desk: Desk) -> Desk:
    """Open the sick example on a page, go to a step whose marks are touched, and watch it."""
    desk.page.locator("input[data-file=visit]").set_input_files(EXAMPLES / VISIT)
    desk.page.wait_for_function("() => document.getElementById('said').textContent !== ''")
    desk.settled()
    desk.page.locator("[data-step=skin]").click()
    desk.page.evaluate(WATCH)
    return desk


def marks(desk: Desk) -> list[Any]:
    """Return what is touched, in turn."""
    return desk.page.locator("button.mark-place:visible").all()


def touch(desk: Desk, k: int, all_of: list[Any]) -> None:
    """Touch one mark and wait for its answer."""
    count = desk.page.evaluate("() => window.took.length")
    all_of[k % len(all_of)].click()
    desk.page.wait_for_function("(n) => window.took.length > n", arg=count)


def told(name: str, took: list[float], plain: list[float], cpu: float) -> None:
    """Print one line of figures."""
    took, base = sorted(took), statistics.median(plain)
    p95 = took[int(len(took) * 0.95)]
    median = statistics.median(took)
    print(
        f"{name:34} {len(took):4} touches   median {median:6.1f} ms   p95 {p95:6.1f} ms   "
        f"GET /health {base:5.1f} ms   ratio {median / base:5.1f}   CPU {cpu:6.1f} ms a touch"
    )


@contextmanager
def spent(server: Server) -> Iterator[list[float]]:
    """Measure the CPU time of server and workers, in milliseconds."""
    own = server.process()
    found: list[float] = []
    before = _cpu(own)
    yield found
    found.append((_cpu(own) - before) * 1000)


def _cpu(own: psutil.Process) -> float:
    return sum(sum(one.cpu_times()[:2]) for one in (own, *own.children(recursive=True)))


def alone(desk: Desk, server: Server, touches: int, name: str) -> None:
    """Touch one page again and again."""
    all_of, plain = marks(desk), desk.page.evaluate(PLAIN)
    for k in range(5):
        touch(desk, k, all_of)
    desk.page.evaluate("() => { window.took.length = 0; }")
    with spent(server) as cpu:
        for k in range(touches):
            touch(desk, k, all_of)
    told(name, desk.page.evaluate("() => window.took"), plain, cpu[0] / touches)


def at_once(desks: list[Desk], server: Server, rounds: int) -> None:
    """Touch all pages within one moment, again and again: the worst that can happen."""
    plain = desks[0].page.evaluate(PLAIN)
    press = """(k) => {
        const all = [...document.querySelectorAll('button.mark-place')].filter((e) => e.offsetParent);
        all[k % all.length].click();
    }"""
    for desk in desks:
        desk.page.evaluate("() => { window.took.length = 0; }")
    with spent(server) as cpu:
        for k in range(rounds):
            for desk in desks:
                desk.page.evaluate(press, k)
            for desk in desks:
                desk.page.wait_for_function("(n) => window.took.length > n", arg=k)
    took = [one for desk in desks for one in desk.page.evaluate("() => window.took")]
    told(f"{len(desks)} pages touched in one moment", took, plain, cpu[0] / len(took))


def main() -> None:
    """Print a line for one page alone, for many open, for many touched at once."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--touches", type=int, default=50)
    options.add_argument("--pages", type=int, default=20)
    options.add_argument("--workers", type=int, default=2)
    chosen = options.parse_args()
    with (
        tempfile.TemporaryDirectory() as folder,
        opened_browser() as browser,
        serving(Path(folder), "--workers", str(chosen.workers)) as server,
    ):
        desks = [ready(Desk(browser, server.url))]
        alone(desks[0], server, chosen.touches, "one page")
        desks += [ready(Desk(browser, server.url)) for _ in range(chosen.pages - 1)]
        alone(desks[0], server, chosen.touches, f"one of {chosen.pages} pages open")
        at_once(desks, server, 5)
        for desk in desks:
            desk.close()


if __name__ == "__main__":
    main()
