"""From a job folder to the bytes of its printed book."""

from __future__ import annotations

import datetime
import json
import shutil
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Literal

from diewright.book.paper import (
    page_blank,
    page_blankholder,
    page_compensation,
    page_cutting,
    page_dip,
    page_draws,
    page_faces,
    page_finish,
    page_line,
    page_part,
    page_plan,
    page_plating,
    page_press,
    page_proposal,
    page_readiness,
    page_sheet,
    page_tryout,
)
from diewright.book.paper.blocks import FORM, Bench, Block, missing, sheet
from diewright.book.paper.studio import Studio
from diewright.book.paper.words import plain
from diewright.desk import Desk
from diewright.errors import DeskError, InputError
from diewright.watch import Watch

HERE = Path(__file__).resolve().parent
PAGES = (
    page_part,
    page_sheet,
    page_blank,
    page_press,
    page_faces,
    page_draws,
    page_proposal,
    page_tryout,
    page_blankholder,
    page_compensation,
    page_cutting,
    page_plan,
    page_finish,
    page_dip,
    page_plating,
    page_line,
    page_readiness,
)
WIDTH = 180.0  # of what is printed on a standing sheet [mm], as the title block of ISO 7200
# Height [mm] that a standing sheet leaves above its title block.
HEIGHTS = {"A4": 248.0, "Letter": 230.4}
RUNT, TIGHT = 75.0, 0.84  # a last sheet that ends above this height [mm] is set tighter, by this factor
_PAPER = {"A4": "a4", "Letter": "us-letter"}


def make(desk: Desk, *, timestamp: int | None = None, size: str = "A4", watch: Watch | None = None) -> bytes:
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
        prepare(desk, folder, size, stamp, watch)
        watch.step("setting", 0, 1)
        (pdf,) = typeset(folder, stamp)
        watch.step("setting", 1, 1)
    return pdf


def prepare(desk: Desk, folder: Path, size: str, stamp: int, watch: Watch) -> Bench:
    """Everything up to the typesetter: pages, drawings, pictures and data in ``folder``."""
    watch.step("reading results", 0, 1)
    bench = _bench(desk, folder, size)
    studio = Studio(folder)
    try:
        sheets = []
        # a page that names its stage is printed when the desk knows the stage
        pages = [page for page in PAGES if getattr(page, "STAGE", "") in ("", *desk.graph.stages)]
        for n, page in enumerate(pages):
            watch.step("laying out", n, len(pages))
            sheets += _sheets_of(page, bench)
        studio.start(bench.pictures)
        why = studio.wait(watch)
    finally:
        studio.stop()
    _note_undrawn(sheets, studio, why)
    lay(bench, sheets, size, stamp)
    return bench


def _bench(desk: Desk, folder: Path, size: str) -> Bench:
    states = desk.states()
    results = {}
    for name, state in states.items():
        found = desk.store.get(name, state.entry.key) if state.entry else None
        if found is not None:
            results[name] = found
    return Bench(desk, desk.job, folder, states, results, desk.findings(), WIDTH, HEIGHTS[size])


def _sheets_of(page: Any, bench: Bench) -> list[dict[str, Any]]:
    """The sheets of a page; if a result has a form it cannot be laid out from, one sheet that says so."""
    ordered = len(bench.pictures)
    try:
        return page.sheets(bench)
    except FORM as error:
        del bench.pictures[ordered:]
        title = page.__name__.rpartition("page_")[2].capitalize()
        said = f"This sheet could not be laid out from its results ({type(error).__name__}: {error}). Work the stages again; if that does not help, please report it."
        return [sheet(title, "not laid out", [missing(said)])]


def _note_undrawn(sheets: list[dict[str, Any]], studio: Studio, why: str) -> None:
    """Put the reason where a picture is not."""

    def walk(blocks: list[Block]) -> None:
        for block in blocks:
            if block["kind"] == "picture" and not studio.drawn(block["name"]):
                block["drawn"], block["text"] = False, plain(f"The picture '{block['title']}' could not be drawn: {why}")
            walk(block.get("blocks", []))

    for one in sheets:
        walk(one["blocks"])


def lay(bench: Bench, sheets: list[dict[str, Any]], size: str, stamp: int) -> None:
    """Lay down beside the pictures what the typesetter reads: the templates and the data."""
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
    for template in HERE.glob("*.typ"):
        shutil.copy(template, bench.folder / template.name)
    _write(bench.folder, data)
    runts = _runts(bench.folder)
    if runts:
        for n in runts:
            sheets[n]["tightness"] = TIGHT
        _write(bench.folder, data)


def _write(folder: Path, data: dict[str, Any]) -> None:
    (folder / "data.json").write_text(json.dumps(data, ensure_ascii=False), encoding="utf-8")


def _compiler(folder: Path) -> Any:
    import typst

    return typst.Compiler(str(folder / "book.typ"), root=str(folder), font_paths=[str(HERE / "fonts")], ignore_system_fonts=True)


def _runts(folder: Path) -> list[int]:
    """Numbers of the pages whose last sheet would hold a few lines only: they are worth setting a little tighter."""
    with _setting():
        ends = json.loads(_compiler(folder).query("<end>", field="value"))
    before, found = 0, []
    for end in ends:
        if end["page"] - before > 1 and end["y"] < RUNT:
            found.append(end["sheet"])
        before = end["page"]
    return found


@contextmanager
def _setting() -> Iterator[None]:
    """Turn what the typesetter raises into one sentence."""
    import typst

    try:
        yield
    except (typst.TypstError, RuntimeError) as error:
        raise DeskError(
            f"the sheets could not be set ({str(error)[:300]}).", where="print", help="Please report this with the job folder."
        ) from None


def typeset(folder: Path, stamp: int, *, form: Literal["pdf", "png"] = "pdf", dots_per_inch: float | None = None) -> list[bytes]:
    """Set what :func:`lay` laid down; one file as PDF, a picture for each sheet as PNG."""
    with _setting():
        made = _compiler(folder).compile(format=form, timestamp=stamp, ppi=dots_per_inch)
    return made if isinstance(made, list) else [bytes(made or b"")]
