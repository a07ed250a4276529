"""Cautions of polishing and plating, with the limits that the law sets and where they are from."""

from __future__ import annotations

CAUTIONS: tuple[str, ...] = (
    "Chromium(VI) causes cancer. Exposure limits: 5 µg/m3 over 8 h, action level 2.5 µg/m3 (USA, 29 CFR 1910.1026); 0.005 mg/m3 in the EU since 17 January 2025, 0.010 before "
    "(Directive 2004/37/EC); recommended by NIOSH 0.2 µg/m3 (from memory). Mist is held down by extraction at the tank and mist suppressant, and it is measured; health is watched by a doctor.",
    "In the EU chromium trioxide may be used only under an authorisation (REACH Annex XIV, sunset date 21 September 2017). A restriction proposed in 2025 is to take its place, foreseen for "
    "2028: ask before a line is planned on it.",
    "Nickel salts cause cancer and allergy. Limits: 0.01 mg/m3 respirable and 0.05 mg/m3 inhalable in the EU (Directive (EU) 2022/431, from memory), 1 mg/m3 in the USA (OSHA, from memory). "
    "No skin contact: gloves, apron, washing; nickel-plated surfaces that lie on skin have a limit of their own release.",
    "Hot alkaline cleaners and pickling acids burn skin and eyes at once: face shield, gloves, shower and eye wash within reach. Acid goes into water, never water into acid. Acid and cyanide "
    "or acid and bleach must never meet, in tank, drain or drag-out.",
    "A wheel runs no faster than the speed marked on it: above it, it bursts. Guard, rest and spark catcher on; stand aside while it comes up to speed; sound wheels only. The work is held below the "
    "middle of the wheel, never an edge against the turning: it is torn out of the hands (the wheel maker; ANSI B7.1 or EN 12413 for abrasive wheels, from memory).",
    "Dust of polishing burns, and dust of aluminium explodes: extraction of its own for each metal, no sparks of steel into dust of aluminium, wet collectors where the code asks (NFPA 484, from memory). "
    "Buffing dust of plated parts can hold nickel and chromium.",
    "Racks hang over open tanks: nobody under a load or at the edge of a tank when a hoist moves; barriers, emergency stops and load tests as lifting law asks. Tank rims, bus bars and racks carry current.",
    "Hydrogen embrittles high-strength steel in pickling and plating; hydrogen and oxygen from the tanks must be carried off. Waste water, sludge and exhaust are for licensed treatment.",
    "All of this defers to the law and the codes of your country and to licensed practice; the figures here are for planning and replace neither measurement nor a responsible person.",
)
