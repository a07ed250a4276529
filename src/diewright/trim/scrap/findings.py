"""Findings of the stage ``scrap``."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from diewright.job.findings import Finding, Place
from diewright.trim.scrap.fall import TIGHT
from diewright.trim.scrap.found import LOWER_HALF, THIN, Found
from diewright.trim.scrap.pieces import Piece

Floats = NDArray[np.float64]


def findings_of(f: Found) -> Iterator[Finding]:
    """All of them, one subject after the other."""
    if not f.lines.rings and not f.lines.unknown:
        yield Finding(
            key="scrap.none", severity="note", source="distance of trim line and blank's edge",
            sentence="No ring of scrap is left: the blank's edge is the trim line." if f.lines.lines else "Nothing is trimmed.",
            help="State a trim allowance if the edge is to be trimmed after the draw." if f.lines.lines else "",
        )  # fmt: skip
    yield from _rings(f)
    yield from _pieces(f)
    yield from _chutes(f)
    yield from _slugs(f)
    yield from _steels(f)
    for layer, at in f.crossing.items():
        yield Finding(
            key=f"scrap.drawing.{_key(layer)}", severity="stop", source="geometry", place=_place(np.append(at, 0.0), layer),
            sentence=f"An outline on the layer '{layer}' of the drawing crosses itself near x {at[0]:.2f}, y {at[1]:.2f} mm.", help="Correct the line it comes from, or cut a corner less sharp than the clearance.",
        )  # fmt: skip


def _key(name: str) -> str:
    return "".join(ch if ch.isalnum() and ch.isascii() else "_" for ch in name.lower()) or "cut"


def _place(points: Floats, label: str) -> Place:
    rows = np.atleast_2d(points)
    rows = rows[:: len(rows) // 60 + 1]
    return Place(points=tuple((float(x), float(y), float(z)) for x, y, z in rows.round(6)), label=label)


def _rings(f: Found) -> Iterator[Finding]:
    for cut, (length, at) in f.lines.bare.items():
        yield Finding(
            key=f"scrap.bare.{_key(cut)}", severity="attend", value=length, limit=0.0, unit="mm", source="the blank's edge after the draw, as far as known without a tryout", place=_place(at, cut),
            sentence=f"Over {length:.3g} mm the trim line of {cut} runs outside the sheet: there is nothing to cut, and the part lacks material.", help="Make the blank larger there, or move the line in.",
        )  # fmt: skip
    for cut, why in f.lines.unknown.items():
        yield Finding(
            key=f"scrap.unknown.{_key(cut)}", severity="attend", source="the blank's mapping", sentence=f"The scrap of {cut} is not divided: {why}.", help="Lay the line on the part, or state one direction for its steel.",
        )  # fmt: skip
    t = f.inputs.thickness
    limit = max(THIN[0] * t, THIN[1])
    for cut, thin in f.thin.items():
        if thin.width < limit:
            yield Finding(
                key=f"scrap.thin.{_key(cut)}", severity="stop" if thin.width < t else "attend", value=thin.width, limit=limit, unit="mm", source="two thicknesses and 2 mm at least, common practice; less than one is no sound cut",
                sentence=f"The scrap outside {cut} is only {thin.width:.3g} mm wide{': a strip thinner than the sheet bends away and does not part' if thin.width < t else ''}.",
                help="Give more trim allowance there, or draw the blank to size and leave the trim out.", place=_place(thin.at, cut),
            )  # fmt: skip
    whole = [c for c in f.chopped if c.ring.closed and len(c.choppers) == 0]
    for cut in dict.fromkeys(c.ring.line.cut.id for c in whole):
        first = next(c for c in whole if c.ring.line.cut.id == cut)
        yield Finding(
            key=f"scrap.ring.{_key(cut)}", severity="stop", value=0.0, limit=2.0, unit="choppers", source="geometry", place=_place(first.ring.line.space, cut),
            sentence=f"The ring of scrap round {cut} stays in one piece and hangs round the post: {_why(first.refused)}.", help="Let two choppers at least cross it: narrower, flatter, or with longer steels (scrap.chopper_max).",
        )  # fmt: skip
    for c in f.chopped:
        if c.cornered and c.choppers:
            yield Finding(
                key=f"scrap.corner.{_key(c.ring.line.cut.id)}", severity="attend", value=float(len(c.choppers)), unit="choppers", source="common practice", place=_place(np.array([c.ring.lift(k.start[None])[0] for k in c.choppers]), c.ring.line.cut.id),
                sentence=f"Round {c.ring.line.cut.id} hardly a place is off the corners, so choppers stand in them.", help="Open the corners, or accept smaller steels there (scrap.corner_radius).",
            )  # fmt: skip
            break


def _why(refused: dict[str, int]) -> str:
    words = {"across": "do not lead across it to the sheet's edge", "wide": "are wider than a chopper", "steep": "lie too steep to be cut"}
    told = [f"{n} of the places looked at {words[k]}" for k, n in refused.items() if k in words and n]
    return ", ".join(told) or "no chopper is stated"


def _pieces(f: Found) -> Iterator[Finding]:
    limit = f.inputs.longest
    for i, p in enumerate(f.pieces, start=1):
        if not p.free.spans and not any(c.ring.closed and not c.choppers and c.ring.line.cut.id == p.cut for c in f.chopped):
            yield Finding(
                key=f"scrap.hooked.{i}", severity="stop", value=0.0, unit="deg", source="free directions of piece and post, exact in plan", place=_place(p.outline, f"piece {i}"),
                sentence=f"Piece {i} ({p.length:.0f} by {p.width:.0f} mm) hooks round the post: there is no direction in which it comes off.", help="Cut it once more where it wraps round, or let the post be shorter there.",
            )  # fmt: skip
        elif p.free.spans and not p.between.spans:
            yield Finding(
                key=f"scrap.between.{i}", severity="attend", value=0.0, unit="deg", source="free directions of piece, post and chopper blades, exact in plan", place=_place(p.outline, f"piece {i}"),
                sentence=f"Piece {i} comes off the post but is held between its two choppers, which close in outwards.", help="Turn a chopper, keep its lower steel short, or let the piece drop straight down there.",
            )  # fmt: skip
        elif p.free.spans and p.free.widest_deg < TIGHT:
            yield Finding(
                key=f"scrap.tight.{i}", severity="attend", value=p.free.widest_deg, limit=TIGHT, unit="deg", source="free directions of piece and post, exact in plan; limit ours", place=_place(p.outline, f"piece {i}"),
                sentence=f"Piece {i} embraces the post so far that it comes off only within {p.free.widest_deg:.2g} deg: it jams easily.", help="Cut it once more where it wraps round.",
            )  # fmt: skip
        wide = not isinstance(f.inputs.chute_width, str) and p.across > f.chute
        if wide or p.length > limit * (1 + 1e-9):
            stuck = wide and p.width > f.chute
            told = f"the chute is {f.chute:.0f} mm wide" if wide else f"{limit:.0f} mm are wanted"
            tail = ", and it does not pass however it turns" if stuck else ", and it passes only lengthwise" if wide else ""
            yield Finding(
                key=f"scrap.large.{i}", severity="stop" if stuck else "attend", value=p.across if wide else p.length, limit=f.chute if wide else limit, unit="mm", source="stated" if wide or not isinstance(f.inputs.piece_max, str) else "ours", place=_place(p.outline, f"piece {i}"),
                sentence=f"Piece {i} measures {p.length:.0f} by {p.width:.0f} mm: {told}{tail}.", help="More choppers (scrap.piece_max), or a wider chute.",
            )  # fmt: skip
    widest = max((k.width for c in f.chopped for k in c.choppers), default=0.0)
    if widest > limit:
        yield Finding(
            key="scrap.piece_max", severity="attend", value=limit, limit=widest, unit="mm", source="geometry",
            sentence=f"Pieces of {limit:.3g} mm at most are asked for where the ring is {widest:.3g} mm wide: choppers cannot make them that short.", help="Ask for pieces longer than the ring is wide, or trim in two operations.",
        )  # fmt: skip


def _chutes(f: Found) -> Iterator[Finding]:
    sliding: list[tuple[int, Piece]] = [(i, p) for i, p in enumerate(f.pieces, start=1) if p.chute is not None]
    short = [(i, p) for i, p in sliding if p.chute is not None and p.chute.angle < f.inputs.chute_angle - 1e-9]
    if short:
        i, p = min(short, key=lambda r: r[1].chute.angle if r[1].chute else 0.0)
        assert p.chute is not None
        stated = not isinstance(f.inputs.drop_height, str)
        yield Finding(
            key="scrap.chute", severity="attend", value=p.chute.angle, limit=f.inputs.chute_angle, unit="deg", source="30 deg for sheet on steel, common practice", place=_place(p.outline, f"piece {i}"),
            sentence=f"{len(short)} of {len(sliding)} pieces have no chute steep enough: piece {i} has {p.chute.run:.0f} mm from its far end to the shoe's edge and {f.drop:.0f} mm of height ({'stated' if stated else f'{100 * LOWER_HALF:.0f} % of the shut height'}), and needs {p.chute.needed:.0f} mm.",
            help="A higher lower half, a shorter way (scrap.shoe_margin), a vibrating or belt conveyor, or holes for the scrap through the bolster.",
        )  # fmt: skip


def _slugs(f: Found) -> Iterator[Finding]:
    for s in f.slugs:
        opening = f.inputs.slug_opening
        if not isinstance(opening, str) and s.width > opening:
            told = f"The slug of {s.cut} is {s.length:.3g} by {s.width:.3g} mm and does not fall through the opening of {opening:.3g} mm under it."
            severity, value, limit = "stop", s.width, opening
        elif not isinstance(opening, str) and s.across > opening:
            told = f"The slug of {s.cut} measures {s.across:.3g} mm: it lies down flat over the opening of {opening:.3g} mm under it unless it stays upright."
            severity, value, limit = "attend", s.across, opening
        else:
            if s.slope < f.inputs.chute_angle:
                yield Finding(
                    key=f"scrap.slug.{_key(s.cut)}", severity="attend", value=s.slope, limit=f.inputs.chute_angle, unit="deg", source="30 deg for sheet on steel, common practice", place=_place(s.outline, s.cut),
                    sentence=f"The slug of {s.cut} leaves the die {f'at {s.slope:.0f} deg below level' if s.slope >= 0 else f'{-s.slope:.0f} deg upwards'}: it does not slide out by itself.", help="An ejector, an air blast, or a channel that turns down behind the die.",
                )  # fmt: skip
            continue
        yield Finding(
            key=f"scrap.slug.{_key(s.cut)}", severity="stop" if severity == "stop" else "attend", value=value, limit=limit, unit="mm", source="stated", place=_place(s.outline, s.cut), sentence=told,
            help="A wider hole under the die, or cut the slug in two.",
        )  # fmt: skip
    others = {"post": "the edge of the post", "joint": "a joint of the post's steels"}
    for b in f.buttons:
        yield Finding(
            key=f"scrap.button.{_key(b.cut)}.{_key(b.other)}", severity="attend", value=b.over, limit=0.0, unit="mm", source="preferred outside diameters of the stage 'cutting'", place=_place(b.at, b.cut),
            sentence=f"The die button of {b.cut} runs {b.over:.3g} mm into {others.get(b.other, f'that of {b.other}')}.", help="One insert for both, a smaller or flattened button, or another operation.",
        )  # fmt: skip


def _steels(f: Found) -> Iterator[Finding]:
    for s in f.segmented:
        if s.cornered:
            yield Finding(
                key=f"scrap.joint.{_key(s.cut)}", severity="attend", value=float(len(s.joints)), unit="joints", source="common practice",
                sentence=f"The line of {s.cut} has hardly a stretch off corners and choppers: joints of the steels lie in them.", help="State a smaller scrap.corner_radius or corner_distance, or make the steels of one piece.",
            )  # fmt: skip
        if s.joints and s.long > f.inputs.steel_length_max * (1 + 1e-9):
            yield Finding(
                key=f"scrap.steel_long.{_key(s.cut)}", severity="attend", value=s.long, limit=f.inputs.steel_length_max, unit="mm", source="stated; 250 to 300 mm are common practice",
                sentence=f"A steel of {s.cut} has an edge of {s.long:.0f} mm: no joint may lie between.", help="Allow joints nearer to corners, or longer steels.",
            )  # fmt: skip
    keyed = [s for g in f.segmented for s in g.steels if s.key]
    if keyed:
        worst = max(keyed, key=lambda s: s.thrust)
        yield Finding(
            key="scrap.key", severity="note", value=worst.thrust / 1000.0, unit="kN", source="a fifth of the cutting force, ours; 80 MPa in two dowels",
            sentence=f"{len(keyed)} steels are pushed sideways by more than their dowels bear, up to {worst.thrust / 1000.0:.3g} kN.", help="Put a key or a heel behind them.",
        )  # fmt: skip
