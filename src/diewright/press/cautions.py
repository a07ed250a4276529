"""Cautions of press work, shown and printed beside the press figures."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "A press can crush and amputate. Run it only with the point of operation guarded or with a protective device that is set, tested and placed at "
    "the safety distance its stopping time asks for. Power-press law and standards of your country come first (ISO 16092 and ISO 13855, or 29 CFR 1910.217 where it applies).",
    "Before reaching into the tool, for setting, clearing a slug or changing a die: stop the flywheel, lock out and tag the energy sources, and block "
    "the slide with safety blocks interlocked with the drive. A cushion, gas springs and a hydraulic slide hold energy after the power is off.",
    "First strokes of a new tool: by inching, at reduced force, without a hand in the tool, and after a trained die setter has released it. Have the stopping time checked after "
    "work on clutch, brake or valves.",
    "Lift dies only by their rated points with slings and eyebolts that are marked for the load; know the weight and the centre of gravity, never stand under a "
    "load, and clamp the upper half before the slide goes up.",
    "When a blank breaks through, a cutting press takes a shock backwards (snap-through). Keep the cutting force well below the press's nominal force and ask the maker "
    "of the press what reverse load it allows.",
    "Sharp blanks, slugs and broken edges cut: gloves for handling, never at the closing tool. Wear eye and hearing protection, and keep drawing oil off the floor.",
    "The figures here are first estimates for planning. They do not replace the press maker's force, energy and off-centre load diagrams, nor the judgement of a qualified die "
    "engineer and of the person responsible for safety in the shop.",
)
