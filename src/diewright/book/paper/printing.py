"""From a job folder to the bytes of its printed book."""

from __future__ import annotations

import datetime
import json
import shutil
import tempfile
import time
from pathlib import Path
from typing import Any, Literal

from diewright.book.paper import page_blank, page_part, page_press, page_readiness, page_sheet
from diewright.book.paper.blocks import Bench, Block
from diewright.book.paper.studio import Studio
from diewright.book.paper.words import plain
from diewright.desk import Desk
from diewright.errors import DeskError, InputError
from diewright.watch import Watch

HERE = Path(__file__).resolve().parent
PAGES = (page_part, page_sheet, page_blank, page_press, page_readiness)
WIDTH = 180.0  # of what is printed on a standing sheet [mm], as the title block of ISO 7200
# Height [mm] that a standing sheet leaves above its title block.
HEIGHTS = {"A4": 225.0, "Letter": 207.0}
_PAPER = {"A4": "a4", "Letter": "us-letter"}


def make(desk: Desk, *, timestamp: int | None = None, size: Literal["A4", "Letter"] = "A4", watch: Watch | None = None) -> bytes:
    """The job's book as a PDF of numbered sheets.

    ``timestamp`` (seconds since 1970, UTC) dates the sheets and the file; the same job printed twice with the same one gives the same bytes.
    What has no result says so on its sheet. Raises :class:`InputError` for an unknown ``size``, :class:`~diewright.errors.Cancelled` through ``watch``.
    """
    if size not in _PAPER:
        raise InputError(f"'{size}' is no paper size known here.", where="size", help="Choose A4 or Letter.")
    watch = watch or Watch()
    stamp = int(time.time()) if timestamp is None else int(timestamp)
    with tempfile.TemporaryDirectory(prefix="diewright-print-") as name:
        folder = Path(name)
        watch.step("reading results", 0, 1)
        bench = _bench(desk, folder, size)
        studio = Studio(folder)
        try:
            sheets = []
            for n, page in enumerate(PAGES):
                watch.step("laying out", n, len(PAGES))
                sheets += page.sheets(bench)
            studio.start(bench.pictures)
            why = studio.wait(watch)
        finally:
            studio.stop()
        _note_undrawn(sheets, studio, why)
        watch.step("setting", 0, 1)
        pdf = _set(bench, sheets, size, stamp)
        watch.step("setting", 1, 1)
        return pdf


def _bench(desk: Desk, folder: Path, size: str) -> Bench:
    states = desk.states()
    results = {}
    for name, state in states.items():
        found = desk.store.get(name, state.entry.key) if state.entry else None
        if found is not None:
            results[name] = found
    return Bench(desk, desk.job, folder, states, results, desk.findings(), WIDTH, HEIGHTS[size])


def _note_undrawn(sheets: list[dict[str, Any]], studio: Studio, why: str) -> None:
    """Put the reason where a picture is not."""

    def walk(blocks: list[Block]) -> None:
        for block in blocks:
            if block["kind"] == "picture" and not studio.drawn(block["name"]):
                block["drawn"], block["text"] = False, plain(f"The picture '{block['title']}' could not be drawn: {why}")
            walk(block.get("blocks", []))

    for one in sheets:
        walk(one["blocks"])


def _set(bench: Bench, sheets: list[dict[str, Any]], size: str, stamp: int) -> bytes:
    import typst

    about = bench.job.job
    day = datetime.datetime.fromtimestamp(stamp, datetime.UTC).date()
    data = {
        "paper": _PAPER[size], "width": WIDTH, "date": day.isoformat(),
        "job": {
            "title": plain(about.title), "number": plain(about.number), "revision": plain(about.revision), "drawn": plain(about.drawn_by),
            "checked": plain(about.checked_by), "part": plain(bench.job.part.file), "sheet": plain(bench.job.sheet.material),
        },
        "sheets": sheets,
    }  # fmt: skip
    (bench.folder / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")
    for template in HERE.glob("*.typ"):
        shutil.copy(template, bench.folder / template.name)
    try:
        compiler = typst.Compiler(str(bench.folder / "book.typ"), root=str(bench.folder), font_paths=[str(HERE / "fonts")], ignore_system_fonts=True)
        pdf = compiler.compile(format="pdf", timestamp=stamp)
    except (typst.TypstError, RuntimeError) as error:
        raise DeskError(f"the sheets could not be set ({str(error)[:300]}).", where="print", help="Please report this with the job folder.") from None
    return bytes(pdf)  # type: ignore[arg-type]
