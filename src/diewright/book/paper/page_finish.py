"""The page Finish: what counts, specification, polishing, recesses; on a second sheet the rack, what is measured, the baths' book and other finishes."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import numpy as np

from diewright.book.paper import finish_drawing, finish_names
from diewright.book.paper.blocks import (  # fmt: skip
    Bench,
    Block,
    attempt,
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
)
from diewright.book.paper.colours import hexed
from diewright.book.paper.colours import table as tones
from diewright.book.paper.digits import number, quantity, said
from diewright.book.paper.pictures import Picture, overlay, segments_of
from diewright.book.paper.svgplot import SMALL
from diewright.book.paper.words import plain, stated
from diewright.geometry.mesh import FieldMesh, Floats, TriMesh
from diewright.job.stage import Result

STAGES = ("surface", "finish")
STAGE = "finish"
KNOWN = {"read": "read", "memory": "from memory", "memory-uncertain": "from uncertain memory", "stated": "stated"}
KINDS = {"b": "bright", "d": "double or triple layer", "p": "dull or semibright", "r": "regular", "mc": "microcracked", "mp": "microporous"}
LIMITS = {"room": "room", "spine": "current of the spine", "rectifier": "current of the rectifier", "weight": "weight"}
SIDES = {"upper": 1.0, "lower": -1.0}


def sheets(bench: Bench) -> list[dict[str, Any]]:
    """The sheets of the page; a job whose finish was not worked has none."""
    found = bench.result(STAGE)
    return [] if found is None else [_surface(bench, found), _rack(bench, found)]


def _surface(bench: Bench, found: Result) -> dict[str, Any]:
    v = found.values
    blocks: list[Block | None] = [*status(bench, *STAGES)]
    if "part" in found.meshes:
        half = (bench.width - 6.0) / 2
        blocks.append(attempt("The picture of what counts", lambda: _counts(bench, found)))
        blocks.append(attempt("The picture of what is left", lambda: _left(bench, found)))
        blocks.append(
            row(attempt("The picture of the wheel", lambda: _wheel(bench, found, half)), attempt("The picture of the start", lambda: _start(bench, found, half)))
        )  # fmt: skip
    else:
        blocks.append(missing("There is no finished part to show yet."))
    blocks += [
        attempt("The specification", lambda: _specification(v)),
        attempt("The tests", lambda: table("Tests", [("Test", "left", 0.2), ("How", "left", 0.8)], [[t["test"].capitalize(), t["text"]] for t in v["tests"]])),
        attempt("The drawing of the steps", lambda: bench.svg("finish-steps", finish_drawing.steps(v, bench.job.finish.polish_ra_um, bench.width), "Polishing step by step: the roughness that is left and what is taken off, both as bands.")),
        attempt("The table of the steps", lambda: _steps(v)),
        attempt("The work of polishing", lambda: _effort(v)),
        attempt("The recesses", lambda: _recesses(found)),
        _stated(bench, "Stated: class and polishing", finish_names.SURFACE),
        findings("Findings", [j for j in bench.judged if j.stage in STAGES]),
        {"kind": "cautions", "title": "Cautions", "lines": [plain(c) for c in v.get("cautions") or ()]},
        small("Method and sources", [
            "A least thickness is owed where a ball of 20 mm touches (ISO 27830): it is put on every triangle from both sides and must not cut into the sheet. A wheel is a slice of such a ball. Free edges count as round; whether ball or wheel can be brought there is not asked.",
            "Rough start: the sheet as rolled, orange peel by the plastic strain of the one-step solution, scratches where a wall slid over the die radius. Each step takes off the scratches of the step before; charts of grit and Ra differ by a factor of three, so the figures are bands.",
            *origin(bench, *STAGES),
        ]),
    ]  # fmt: skip
    return sheet("Finish", state_of(bench, *STAGES), blocks, aside=v["class"])


def _rack(bench: Bench, found: Result) -> dict[str, Any]:
    v = found.values
    blocks: list[Block | None] = [
        attempt("The drawing of the rack", lambda: _front(bench, found)),
        attempt("The numbers of the rack", lambda: _rack_numbers(v)),
        attempt("The contacts", lambda: _contacts(found)),
        attempt("The thickness plan", lambda: _plan(v)),
    ]
    if v.get("readings"):
        blocks.append(attempt("The readings", lambda: bench.svg("finish-readings", finish_drawing.readings(v["readings"]["places"], bench.width), "Bars: means of the readings; whiskers: expanded uncertainty, k = 2. A reading conforms where all of its whisker reaches the limit (ISO 14253-1).")))  # fmt: skip
    blocks += [
        attempt("The baths' book", lambda: _book(v)),
        attempt("The drawing of the costs", lambda: bench.svg("finish-costs", finish_drawing.costs(v["alternatives"], bench.width), f"Other finishes: choices, not advice. Serves: service condition {v['service']} on this sheet, as is usual.")),
        attempt("Other finishes", lambda: _choices(v)),
        _stated(bench, "Stated: rack and records", finish_names.RACK),
        figures("Figures", found.figures),
    ]  # fmt: skip
    return sheet("Rack and records", state_of(bench, *STAGES), blocks)


def _stated(bench: Bench, title: str, names: dict[str, str]) -> Block | None:
    """Stated fields under their names, in two columns."""
    asked = bench.job.finish
    every = type(asked).model_fields
    rows = [[names[n], r[1]] for n, r in zip(every, stated(asked), strict=True) if n in names]
    half = (len(rows) + 1) // 2
    return row(numbers(title, rows[:half]), numbers("Stated, continued", rows[half:]))


def _side(found: Result) -> str:
    side = str(found.values["side"])
    return side if side in SIDES else "upper"


def _turned(found: Result) -> tuple[FieldMesh, Floats, bool]:
    """The part with the shown side up, the signs of its axes for that, and whether it was turned."""
    mesh = found.meshes["part"].mesh
    rises = float((mesh.areas * mesh.normals[:, 2]).sum()) >= 0.0
    over = rises != (_side(found) == "upper")
    signs = np.array([-1.0, 1.0, -1.0]) if over else np.ones(3)  # half a turn about y: the front stays in front
    return FieldMesh(TriMesh(mesh.points * signs, mesh.triangles)), signs, over


def _picture(bench: Bench, found: Result, name: str, cell: str, title: str, width: float, tallest: float, **look: Any) -> Picture:
    fields, _, over = _turned(found)
    values = look.pop("values", None)
    values = np.asarray(found.meshes["part"].cell[cell], dtype=float) if values is None else values
    feature = None
    tipping = bench.result("tipping")
    if tipping is not None and "feature_edges" in tipping.arrays:
        feature = np.asarray(tipping.arrays["feature_edges"], dtype=float) * _turned(found)[1]
    down = "" if over else "press direction"
    return Picture(name, fields, segments_of(fields, feature), width, tallest, title, values=values, down=down, **look)


def _from(found: Result) -> str:
    return ", turned over so that the shown side is seen" if _turned(found)[2] else ""


def _counts(bench: Bench, found: Result) -> Block:
    """What counts, with the places to measure and the contacts as numbered marks."""
    v, side = found.values, _side(found)
    picture = _picture(bench, found, "finish-counts", f"significant_{side}", "What counts", bench.width, 84.0, scale="lapaz", span=(-0.5, 1.5), lines=False)  # fmt: skip
    block = bench.picture(picture, f"The {side} side of the part{_from(found)}. Rings: places to measure; boxes: contacts of the rack.")
    over, view = overlay(replace(picture, values=np.zeros(0))), picture.view()
    over.height = block["height"] = view.height + 5.0  # two tones and their words, no ruler
    for x, at, word in ((0.5, 0.25, "does not count"), (36.0, 0.75, "counts: picked, and touched by the ball")):
        over.rect(x, view.height + 1.0, 5.0, 2.6, fill=hexed(tones("lapaz")[round(255 * at)]), colour="#1c2430", width=0.15)
        over.text(x + 6.2, view.height + 3.2, word)
    _, signs, _ = _turned(found)
    c = found.tables["contacts"]
    marks = [(s["name"], np.asarray(s["at"], dtype=float), False) for s in v["spots"]] + [(str(i + 1), np.array([c["x_mm"][i], c["y_mm"][i], c["z_mm"][i]]), True) for i in range(len(c["x_mm"]))]  # fmt: skip
    middle = np.array([view.width / 2, view.height / 2])
    taken: list[Floats] = []
    for text, at, box in marks:
        foot = view.place(at * signs)[0]
        away = float(np.arctan2(*(foot - middle)[::-1]))
        spots = [foot + 6.5 * np.array([np.cos(away + t), np.sin(away + t)]) for t in (0.0, 0.7, -0.7, 1.4, -1.4, 2.2, -2.2, np.pi)]
        inside = [s for s in spots if 3.0 < s[0] < view.width - 3.0 and 3.0 < s[1] < view.height - 3.0]
        free = next((s for s in inside if all(np.hypot(*(s - o)) > 5.6 for o in taken)), (inside or spots)[0])
        taken.append(free)
        x, y = float(free[0]), float(free[1])
        over.line(float(foot[0]), float(foot[1]), x, y, width=0.6, colour="#ffffff")
        over.line(float(foot[0]), float(foot[1]), x, y, width=0.2)
        over.circle(float(foot[0]), float(foot[1]), 0.6, fill="#1c2430", colour="#ffffff", width=0.15)
        if box:
            over.rect(x - 2.3, y - 2.0, 4.6, 4.0, fill="#ffffff", colour="#1c2430", width=0.22)
        else:
            over.circle(x, y, 2.4, fill="#ffffff", width=0.22)
        over.text(x, y + 0.85, text, anchor="middle", size=SMALL)
    (bench.folder / f"{picture.name}.svg").write_text(over.text_of(), encoding="utf-8")
    return block


def _left(bench: Bench, found: Result) -> Block:
    v = found.values
    left = np.asarray(found.meshes["part"].cell["thickness_left"], dtype=float)
    least = float(v["thickness_least"])
    picture = _picture(bench, found, "finish-left", "thickness_left", "Sheet left after polishing", bench.width, 72.0, unit="mm", scale="batlow", span=(min(least, float(left.min())), max(least, float(left.max()))), limit=(least, "least wanted"), low="least left")  # fmt: skip
    return bench.picture(picture, "What is left where polishing takes the most.")


def _wheel(bench: Bench, found: Result, width: float) -> Block:
    side = _side(found)
    picture = _picture(bench, found, "finish-wheel", f"wheel_{side}", "Share the wheel reaches", width, 62.0, scale="lapaz", span=(0.0, 1.0), lines=False)  # fmt: skip
    wheel = bench.job.finish
    return bench.picture(picture, f"What a wheel of {wheel.wheel_mm:g} × {wheel.wheel_width:g} mm reaches on the {side} side; dark is a recess.")  # fmt: skip


def _start(bench: Bench, found: Result, width: float) -> Block:
    picture = _picture(bench, found, "finish-start", "start_ra_um", "Ra as drawn", width, 62.0, unit="µm", scale="lajolla", reverse=True, high="roughest")  # fmt: skip
    return bench.picture(picture, "Roughness before polishing: rolled, and roughened by strain.")


def _kinds(name: str) -> tuple[str, str]:
    """Kinds of nickel and chromium in words, from the classification number."""
    m = re.search(r"Ni[\d.]+([bdp]) Cr (\w+)", name)
    return (KINDS[m[1]], KINDS.get(m[2], m[2])) if m else ("as stated", "as stated")


def _specification(v: dict[str, Any]) -> Block | None:
    nickel, chromium = _kinds(v["class"])
    source = f"{v['class_source']} ({KNOWN.get(v['class_known_by'], v['class_known_by'])})"
    rows = [
        ["Class", v["class"], source],
        ["Service condition", f"{v['service']}, {v['service_text']}", "taken; none is stated" if v["service_open"] else "stated"],
        ["Hardest condition that these thicknesses serve", str(v["serves"]) if v["serves"] else "none of the table", "the table of classes"],
        ["Base metal", v["base"], "the sheet, unless stated"],
        *([["Least local copper below the nickel", quantity(v["copper_um"], "µm"), source]] if v["copper_um"] else []),
        [f"Least local nickel, {nickel}", quantity(v["nickel_um"], "µm"), source],
        [f"Least local chromium, {chromium}", quantity(v["chromium_um"], "µm"), source],
        ["Side that is shown", v["side"] + ("; both sides count" if len(v["sides"]) > 1 else ""), "the outer side, unless stated"],
        ["Faces that count", "all" if v["faces"] is None else ", ".join(map(str, v["faces"])), "picked"],
        ["Surface that counts", quantity(v["significant_mm2"] / 100.0, "cm2", 4), f"ball of {v['ball_mm']:g} mm, ISO 27830"],
        *([f"Of the picked {side} side the ball touches", f"{100 * share:.1f} %", "no least thickness is owed on the rest"] for side, share in v["ball_share"].items()),
    ]  # fmt: skip
    return table("What is asked for", [("", "left", 0.3), ("Value", "left", 0.32), ("Source", "left", 0.38)], rows)


def _band(two: list[float]) -> str:
    low, high = (number(x, trim=True) for x in two)
    return low if low == high else f"{low} to {high}"


def _steps(v: dict[str, Any]) -> Block | None:
    rows = [
        [s["name"], _band(s["ra_um"]), _band(s["stock_um"]), number(s["speed_m_s"]), number(round(s["rpm"])), s["source"]]
        for s in v["steps"]
    ]
    return table("Polishing, step by step", [("Step", "left", 0.0), ("Leaves Ra, µm", "right", 0.0), ("Takes off, µm", "right", 0.0), ("Rim, m/s", "right", 0.0), ("Turns, 1/min", "right", 0.0), ("Source of the Ra", "left", 1.0)], rows)  # fmt: skip


def _effort(v: dict[str, Any]) -> Block | None:
    s, e = v["start"], v["effort"]
    return row(
        numbers("Start", [["Rolled sheet, Ra", quantity(s["rolled_ra_um"], "µm")], ["Roughest place as drawn, Ra", quantity(s["ra_max_um"], "µm")], ["its class", s["roughness_class"]], ["Scratched by the die radius", quantity(s["scratched_mm2"] / 100.0, "cm2")], ["Sheet removed, at most", quantity(v["removed_max_um"], "µm")]], f"Rolled sheet: {s['source']}."),
        numbers("What it comes to", [["Thinnest sheet left", quantity(v["thickness_left_min"], "mm")], ["Least that is wanted", quantity(v["thickness_least"], "mm")], ["Polished a part", quantity(e["area_cm2"], "cm2")], ["Polishing time a part", f"{_band(e['minutes'])} min"], ["Wheels or dressings a thousand parts", _band(e["wheels_per_1000"])]], "Time and wheels: estimates of ours until you state your own rates."),
    )  # fmt: skip


def _xyz(*values: float) -> str:
    return ", ".join(f"{float(x) + 0.0:.1f}".replace("-", "\u2212") for x in values)


def _recesses(found: Result) -> Block | None:
    t = found.tables["regions"]
    many = {0: 0, 1: 0}
    rows = []
    for i, kind in enumerate(t["kind"].astype(int)):
        many[kind] += 1
        rows.append([f"{'Untouched' if kind else 'Recess'} {many[kind]}", f"the ball of {found.values['ball_mm']:g} mm" if kind else "the wheel", "upper" if t["side"][i] > 0 else "lower", number(t["area_mm2"][i] / 100), number(t["counts_mm2"][i] / 100), _xyz(t["x_mm"][i], t["y_mm"][i], t["z_mm"][i])])  # fmt: skip
    if not rows:
        return small("Where wheel and ball do not reach", ["Nowhere on the picked surface, but for places below 20 mm²."])
    return table("Where wheel and ball do not reach", [("Place", "left", 0.0), ("What does not reach", "left", 1.0), ("Side", "left", 0.0), ("Area, cm²", "right", 0.0), ("of it counts", "right", 0.0), ("Middle x, y, z, mm", "right", 0.0)], rows)  # fmt: skip


def _front(bench: Bench, found: Result) -> Block:
    mesh = found.meshes["part"].mesh
    t, c = found.tables["rack"], found.tables["contacts"]
    tipping = bench.result("tipping")
    feature = (
        np.asarray(tipping.arrays["feature_edges"], dtype=float) if tipping is not None and "feature_edges" in tipping.arrays else None
    )
    svg = finish_drawing.rack(
        found.values, np.column_stack([t["across_mm"], t["down_mm"]]), segments_of(FieldMesh(mesh), feature), np.column_stack([c["x_mm"], c["y_mm"], c["z_mm"]]), bench.job.finish, bench.width
    )  # fmt: skip
    return bench.svg(
        "finish-rack", svg, "The rack as it is seen from the anodes, to one scale, mm. Dots: contacts. Dashed: room for parts."
    )


def _rack_numbers(v: dict[str, Any]) -> Block | None:
    r = v["rack"]
    return row(
        numbers("The rack", [
            ["Parts on the rack", f"{r['parts']}: {r['columns']} across, {r['rows']} down"],
            *([f"Most by {LIMITS.get(k, k)}", f"{n}{', which decides' if k == r['binding'] else ''}"] for k, n in r["limits"].items()),
            ["Rack with its parts", quantity(r["load_kg"], "kg")], ["Depth in the bath", quantity(r["immersed_mm"], "mm")],
        ]),
        numbers("Current and bath", [
            ["Surface plated of a part", quantity(r["area_dm2"], "dm²")], ["Highest mean current density", quantity(r["current_density"], "A/dm2")], ["Current of a part, of the rack", f"{number(r['current_A'])} A, {number(r['rack_current_A'])} A"],
            ["Contacts a part", str(r["contacts"])], ["Looks at the anodes", said([round(x, 3) for x in r["facing"]])], ["Hangs upwards", said([round(x, 3) for x in r["up"]])], ["Bath carried out", quantity(v["drag_out_ml_m2"], "mL/m²")],
        ]),
    )  # fmt: skip


def _contacts(found: Result) -> Block | None:
    c = found.tables["contacts"]
    rows = [[str(i + 1), "rim of a hole" if c["hole"][i] else "outer edge", _xyz(c["x_mm"][i], c["y_mm"][i], c["z_mm"][i]), number(c["below_top_mm"][i]), number(c["marks_mm2"][i])] for i in range(len(c["x_mm"]))]  # fmt: skip
    return table("Where the part may be held", [("Contact", "left", 0.0), ("At", "left", 1.0), ("x, y, z, mm", "right", 0.0), ("Below the top, mm", "right", 0.0), ("Marks, mm²", "right", 0.0)], rows)  # fmt: skip


def _plan(v: dict[str, Any]) -> Block | None:
    rows = [[s["name"], s["side"], _xyz(*s["at"]), s["why"]] for s in v["spots"]]
    return table(
        "Thickness plan", [("Place", "left", 0.0), ("Side", "left", 0.0), ("x, y, z, mm", "right", 0.0), ("Why there", "left", 1.0)], rows
    )


def _book(v: dict[str, Any]) -> Block | None:
    if not v.get("book"):
        return None
    rows = [[f"{b['what'].capitalize()}, {b['unit']}", *(number(b[k]) for k in ("current", "drag_out", "added")), number(b["to_add"]) if b["to_add"] > 0 else "none", number(-b["to_add"]) if b["to_add"] < 0 else "–", b["rests_on"]] for b in v["book"]]  # fmt: skip
    names = [("Substance", "left", 0.0), ("Taken by the current", "right", 0.12), ("Drag-out", "right", 0.0), ("Added", "right", 0.0), ("To add", "right", 0.0), ("Above the start", "right", 0.1), ("Rests on", "left", 0.5)]  # fmt: skip
    return table("The baths' book", names, rows, f"{number(v['anodes_kg'])} kg of nickel anodes were dissolved. A negative figure is a gain. A balance proposes, an analysis decides.")  # fmt: skip


def _choices(v: dict[str, Any]) -> Block | None:
    rows = [[c["title"], _band(c["relative_cost"]) if c["relative_cost"] else "–", "–" if c["part_cost"] is None else number(c["part_cost"]), c["loses"], c["allows"], c["source"]] for c in v["alternatives"]]  # fmt: skip
    return table("Other finishes", [("Finish", "left", 0.2), ("Cost a m²", "right", 0.0), ("A part", "right", 0.0), ("What is lost", "left", 0.32), ("Where it may be", "left", 0.26), ("Cost from", "left", 0.16)], rows)  # fmt: skip
