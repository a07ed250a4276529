"""The page Proposal: what is proposed, what was tried for it, and the sheet as the best setting draws it."""

from __future__ import annotations

import re
from typing import Any

import numpy as np

from diewright.book.paper.blocks import (
    Bench,
    Block,
    attempt,
    decisions,
    figures,
    findings,
    missing,
    numbers,
    origin,
    row,
    sheet,
    small,
    state_of,
    status,
    table,
)  # fmt: skip
from diewright.book.paper.colours import GREY
from diewright.book.paper.digits import number, said
from diewright.book.paper.pictures import Picture, segments_of
from diewright.book.paper.svgplot import SMALL, Plot
from diewright.book.paper.words import stated
from diewright.job.stage import Result

STAGE = "proposal"
HOW = {"faces": "Faces", "one-step": "One-step solution", "tryout": "Coarse tryout"}
FLOOR = -40.0  # a margin below this says only that it tore: it is drawn at the foot, with its number [%]
ROUND = (1.0, 1.5, 2.0, 3.0, 5.0, 7.0)  # forces that are marked, times a power of ten


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheet of the page."""
    found = bench.result(STAGE)
    blocks: list[Block | None] = [*status(bench, STAGE)]
    values = found.values if found else {}
    if found and "drawn" in found.meshes:
        blocks.append(attempt("The picture of the drawn sheet", lambda: _drawn(bench, found)))
    else:
        blocks.append(missing("There is no proposal to show yet." if found is None else "No setting was drawn to its end."))
    blocks.append(
        row(
            numbers("What is proposed", _proposed(values) if values else []),
            decisions("How far it may go", stated(bench.job.proposal), slim=True),
        )
    )
    if found and "tried" in found.tables:
        words = (
            "Squares are one-step solutions, circles coarse tryouts, crossed out where a stop finding is left; the filled one is proposed."
        )
        blocks.append(
            attempt(
                "What was tried",
                lambda: bench.svg("proposal-tried", tried(found, bench.width, bench.job.blank.margin_wanted).svg, words),
            )
        )
        blocks.append(attempt("The table of what was tried", lambda: _table(found)))
    blocks.append(findings("Findings", [j for j in bench.judged if j.stage == STAGE]))
    blocks.append(figures("Figures", found.figures if found else ()))
    blocks.append(small("Method and sources", [
        "From quick to slow: blankholder surfaces that can be made, one-step solutions under several forces, then coarse tryouts of a search without derivatives over force, die radius and draw bead. What the job states stays as it is. "
        "The score adds 1000 for each stop, 100 for wrinkles above their limit, 10 for each percent point of margin that is missing, 1 for each other finding that asks for a decision.", *origin(bench, STAGE),
    ]))  # fmt: skip
    return [sheet("Proposal", state_of(bench, STAGE), blocks)]


def _drawn(bench: Bench, found: Result) -> Block:
    fields = found.meshes["drawn"]
    picture = Picture(
        "proposal", fields, segments_of(fields, None), bench.width, 72.0, "Margin to necking", "%", values=np.asarray(fields.cell["margin_pct"], dtype=float), reverse=True,
        limit=(bench.job.blank.margin_wanted, "wanted"), low="least margin",
    )  # fmt: skip
    return bench.picture(picture, "The sheet drawn with the best setting, in a coarse tryout.")


def _proposed(v: dict[str, Any]) -> list[list[str]]:
    return [
        ["Blankholder force", said(v.get("force_kN"), "kN", 3)], ["Force of the handbook", said(v.get("base_kN"), "kN", 3)], ["Blankholder surface", str(v.get("blankholder", ""))],
        ["Die radius", said(v.get("die_radius"), "mm", 3)], ["Draw bead", f"round, {said(v['bead_mm'], 'mm', 3)} high" if v.get("bead_mm") else "none"], ["Least margin to necking", said(v.get("margin_min_pct"), "%", 3)],
        ["Most thinning", said(v.get("thinning_max_pct"), "%", 3)], ["Highest wrinkle", said(v.get("wrinkle_height_max"), "mm", 2)], ["Stop findings left", said(v.get("stops"))], ["Coarse tryouts run", said(v.get("tryouts"))],
    ]  # fmt: skip


def best_row(found: Result) -> int:
    """Number of the row of ``tried`` that is proposed; -1 where no tryout has that setting."""
    t, v = found.tables["tried"], found.values
    same = np.asarray(t["how"]) == "tryout"
    for column, key in (("force_kN", "force_kN"), ("die_radius_mm", "die_radius"), ("bead_mm", "bead_mm")):
        same &= np.isclose(np.asarray(t[column], dtype=float), float(v[key]), rtol=1e-6)
    rows = np.flatnonzero(same)
    return int(rows[-1]) if len(rows) else -1


class _Forces(Plot):
    """Axes whose x is the logarithm of a force: round forces stand on it."""

    def _x_marks(self, y0: float, nx: int) -> None:
        last = -99.0
        for power in range(int(np.floor(self.x[0])), int(np.ceil(self.x[1])) + 1):
            for m in ROUND:
                force = m * 10.0**power
                x = self.at(float(np.log10(force)), self.y[0])[0]
                if not self.left <= x <= self.right:
                    continue
                self.svg.line(x, y0, x, y0 + 0.8, width=0.18)
                if x - last > 8.0:
                    self.svg.text(x, y0 + 3.6, number(force, 2), anchor="middle", size=SMALL, colour=GREY)
                    last = x


def tried(found: Result, width: float, wanted: float, height: float = 58.0) -> Plot:
    """Blankholder force against margin, each try with its own mark."""
    t = {k: np.asarray(c) for k, c in found.tables["tried"].items()}
    force, margin = t["force_kN"].astype(float), t["margin_pct"].astype(float)
    rows = np.flatnonzero(np.isfinite(margin) & (force > 0))
    if not len(rows):
        raise ValueError("no force was tried that gave a margin")
    on = np.log10(force[rows])
    shown = np.maximum(margin, FLOOR)
    low, high = min(0.0, float(shown[rows].min())), max(wanted, float(shown[rows].max()))
    pad = 0.12 * (high - low)
    plot = _Forces(
        width, height, (float(on.min()) - 0.1, float(on.max()) + 0.1), (low - (pad if low < 0 else 0.0), high + pad), "blankholder force, kN (equal steps are equal ratios)", "least margin to necking, %"
    )  # fmt: skip
    plot.curve(np.array(plot.x), np.array([wanted, wanted]), "wanted", where=0.0, width=0.25, dash="1.2 0.8")
    best = best_row(found)
    for i in rows:
        x, y = plot.at(float(np.log10(force[i])), float(shown[i]))
        below = margin[i] < FLOOR
        if below:
            plot.svg.arrow(x, y + 1.8, x, y + 5.0, width=0.25, head=1.6)
        fill = "#000000" if i == best else "#ffffff"
        if t["how"][i] == "one-step":
            plot.svg.rect(x - 0.9, y - 0.9, 1.8, 1.8, fill=fill, colour="#000000", width=0.25)
        else:
            plot.svg.circle(x, y, 1.1, fill=fill, width=0.3)
        if t["stops"][i] > 0:
            plot.svg.line(x - 1.5, y - 1.5, x + 1.5, y + 1.5, width=0.3)
            plot.svg.line(x - 1.5, y + 1.5, x + 1.5, y - 1.5, width=0.3)
        if t["how"][i] == "tryout":
            bead = float(t["bead_mm"][i])
            words = f"R {number(float(t['die_radius_mm'][i]), 3)}, " + (f"bead {number(bead, 3)}" if bead > 0 else "no bead")
            words += f", {number(float(margin[i]), 3)} %" if below else ""
            end = x > plot.right - 36.0
            plot.svg.text(
                x + (-2.4 if end else 2.4),
                y + 0.9,
                words,
                anchor="end" if end else "start",
                halo=True,
                size=2.5,
                weight=600 if i == best else 400,
            )
    return plot


def _table(found: Result) -> Block | None:
    t, best = found.tables["tried"], best_row(found)
    rows, n = [], 0
    for i, how in enumerate(t["how"]):
        run = how == "tryout"
        n += run
        f = {
            k: float(t[k][i])
            for k in ("force_kN", "die_radius_mm", "bead_mm", "stops", "margin_pct", "thinning_pct", "wrinkle_mm", "score")
        }
        rows.append([
            f"{HOW.get(str(how), str(how))}{f' {n}' if run else ''}{_surface(how, t['blankholder'][i])}{', best' if i == best else ''}", said(f["force_kN"], "", 3) if how != "faces" else "–",
            said(f["die_radius_mm"], "", 3) if f["die_radius_mm"] > 0 else "–", (said(f["bead_mm"], "", 3) if f["bead_mm"] > 0 else "none") if run else "–", f"{f['stops']:.0f}",
            _fixed(f["margin_pct"], 1), _fixed(f["thinning_pct"], 1), _fixed(f["wrinkle_mm"], 3), "refused" if f["score"] >= 1e5 else said(f["score"], "", 3), says(str(t["says"][i])),
        ])  # fmt: skip
    names = ("Tried", "Force, kN", "Die R, mm", "Bead, mm", "Stops", "Margin, %", "Thinning, %", "Wrinkle, mm", "Score", "What it says")
    sides = ["left", *["right"] * 8, "left"]
    return table(
        "What was tried, in this order",
        [(n, s, 0.55 if n == "What it says" else 0.45 if n == "Tried" else 0.0) for n, s in zip(names, sides, strict=True)],
        rows,
    )


def _surface(how: object, kind: object) -> str:
    return f", {kind}" if how == "faces" and kind else ""


def _fixed(value: float, places: int) -> str:
    return f"{value:.{places}f}".replace("-", "\u2212") if np.isfinite(value) else "–"


def says(text: str) -> str:
    """Keys of findings as words; a sentence stays one."""
    if not text:
        return "–"
    if re.fullmatch(r"[a-z_]+\.[a-z_.]+(, [a-z_]+\.[a-z_.]+)*", text) is None:
        return text
    return ", ".join(SAID.get(key, key.rpartition(".")[2].replace("_", " ")) for key in text.split(", "))


SAID = {
    "tryout.loose": "places stay loose", "tryout.kinetic": "run faster than it should", "tryout.tear": "tears", "tryout.neck": "necks", "tryout.wrinkle": "wrinkles", "tryout.stopped": "stopped early",
    "tryout.press": "press too weak", "tryout.skid": "skid line shows", "tryout.ironing": "ironed", "tryout.penetration": "contact too deep", "faces.die_radius": "tight die radius", "faces.punch_radius": "tight punch radius", "faces.gap": "gap too small",
}  # fmt: skip
