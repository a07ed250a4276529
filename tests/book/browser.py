"""Helpers of the browser tests: the real server on a copy of the demo job, and a Chromium that looks at it."""

from __future__ import annotations

import base64
import os
import queue
import re
import shutil
import subprocess
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from diewright import open_job

ROOT = Path(__file__).resolve().parents[2]
CHROMIUM = Path("/usr/bin/chromium")
FLAGS = [
    "--no-sandbox",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--use-angle=swiftshader",
    "--enable-unsafe-swiftshader",
]
COARSE = {"part.target_edge": 14.0, "part.chord_error": 0.4, "part.min_edge": 2.0}
WORK_MS = 120_000


def demo_job(folder: Path) -> Path:
    """A worked copy of the demo job, meshed coarsely so that a stage takes a second or two."""
    job = folder / "fascia"
    shutil.copytree(ROOT / "src" / "diewright" / "examples" / "fascia", job, ignore=shutil.ignore_patterns("results", "history"))
    desk = open_job(job)
    desk.edit(COARSE)
    desk.work("nest", "press")  # the stages of the first pages: the tryout takes minutes
    return job


@contextmanager
def served(job: Path) -> Iterator[str]:
    """Serve the job as a person would, in a process of its own; gives the address with its token."""
    command = [sys.executable, "-c", "from diewright.cli import main; main()", "book", str(job), "--no-browser"]
    process = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, env={**os.environ, "PYTHONUNBUFFERED": "1"}
    )
    said: queue.Queue[str] = queue.Queue()
    assert process.stdout is not None
    threading.Thread(target=lambda: [said.put(line) for line in process.stdout or ()], daemon=True).start()
    try:
        text = ""
        while not (found := re.search(r"http://127\.0\.0\.1:\d+/\?token=\S+", text)):
            text += said.get(timeout=60)
        yield found.group(0)
    finally:
        process.terminate()
        process.wait(timeout=20)


class Watcher:
    """What must never happen while the book is used: script errors, blocked content, requests to elsewhere."""

    def __init__(self, page: Any) -> None:
        self.wrong: list[str] = []
        page.on("pageerror", lambda error: self.wrong.append(f"script: {error}"))
        page.on("console", self._console)
        page.on("request", self._request)

    def _console(self, message: Any) -> None:
        expected = "Failed to load resource" in message.text and "400" in message.text  # a refused edit is shown on the page
        if message.type == "error" and not expected:
            self.wrong.append(f"console: {message.text}")

    def _request(self, request: Any) -> None:
        if not request.url.startswith(("http://127.0.0.1:", "blob:", "data:")):
            self.wrong.append(f"outside: {request.url}")


def opened(chromium: Any, address: str, width: int = 1440, height: int = 900) -> tuple[Any, Any, Watcher]:
    """The book at its first page, with changes worked only when asked: context, page, and who watches what goes wrong behind its face."""
    context = chromium.new_context(viewport={"width": width, "height": height}, accept_downloads=True)
    context.add_init_script("localStorage.getItem('diewright-auto') ?? localStorage.setItem('diewright-auto', 'off')")
    book = context.new_page()
    watcher = Watcher(book)
    book.set_default_timeout(15_000)
    book.goto(address)
    return context, book, watcher


def go(page: Any, name: str) -> None:
    """Turn to the page ``name`` by the contents."""
    page.click(f"#contents a[href='/{name}']")
    page.wait_for_selector(f".page-{name}")


def state_of(page: Any, name: str) -> str:
    """What the contents say about a page."""
    return page.locator(f"#contents a[href='/{name}'] .entry-state").inner_text()


def settled(page: Any, name: str, words: str = "out of date|not worked|working") -> None:
    """Wait until the contents no longer say that the page has to be worked."""
    page.wait_for_function(
        "([name, words]) => !new RegExp(words).test(document.querySelector(`#contents a[href='/${name}'] .entry-state`).textContent)",
        arg=[name, words],
        timeout=WORK_MS,
    )


def drawn(page: Any) -> None:
    """Wait until the 3-D picture has been drawn."""
    page.wait_for_function("() => document.documentElement.dataset.drawn && document.querySelector('.stage canvas')", timeout=20_000)
    page.wait_for_timeout(250)


def rings(page: Any, count: int) -> None:
    """Wait until so many views mark a place."""
    page.wait_for_function("count => document.querySelectorAll('.pane .ring').length === count", arg=count, timeout=10_000)


def colours_of(page: Any, locator: Any) -> int:
    """How many different colours a part of the page shows: an empty canvas has one or two."""
    shot = base64.b64encode(locator.screenshot()).decode()
    blank = page.context.new_page()
    try:
        return int(
            blank.evaluate(
                """async (data) => {
                    const image = new Image();
                    image.src = `data:image/png;base64,${data}`;
                    await image.decode();
                    const canvas = Object.assign(document.createElement('canvas'), {width: image.width, height: image.height});
                    const c = canvas.getContext('2d');
                    c.drawImage(image, 0, 0);
                    return new Set(new Uint32Array(c.getImageData(0, 0, image.width, image.height).data.buffer)).size;
                }""",
                shot,
            )
        )
    finally:
        blank.close()


def contrast(a: str, b: str) -> float:
    """WCAG contrast ratio of two colours given as #rrggbb."""

    def light(colour: str) -> float:
        parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        r, g, bl = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
        return 0.2126 * r + 0.7152 * g + 0.0722 * bl

    high, low = sorted((light(a), light(b)), reverse=True)
    return (high + 0.05) / (low + 0.05)
