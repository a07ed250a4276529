"""Our values for ``reference/tryout.csv``: the tryout against closed forms, handbook forms, measured cups, and another program."""

from __future__ import annotations

from collections.abc import Callable

from diewright.prove import tryout_channel, tryout_contact, tryout_cups

CASES: dict[str, Callable[[], dict[str, float]]] = {
    "capstan-90-0.1": lambda: tryout_contact.capstan(90.0, 0.1),
    "capstan-60-0.1": lambda: tryout_contact.capstan(60.0, 0.1),
    "capstan-90-0.2": lambda: tryout_contact.capstan(90.0, 0.2),
    "bend-under-tension": tryout_contact.bend_and_unbend,
    "bulge": tryout_contact.bulge,
    "ccx-bulge": tryout_contact.bulge_beside_ccx,
    "sphere-on-clamped-sheet": tryout_contact.sphere,
    "cup-force": tryout_cups.cup_force,
    "cup-limiting-ratio": tryout_cups.limiting_ratio,
    "cup-blankholder": tryout_cups.holder_order,
    "dome-aa5182": tryout_cups.dome,
    "square-cup-1993": tryout_cups.square_cup,
    "cup-aa6016": tryout_cups.earing,
    "channel-1993": tryout_channel.channel,
    "bar-1.5-m": tryout_channel.bar,
}

LONG = {"cup-limiting-ratio", "cup-blankholder", "square-cup-1993", "cup-aa6016", "channel-1993", "bar-1.5-m", "bulge", "ccx-bulge"}
"""Cases of more than about ten seconds on a quiet core: ``diewright prove`` runs them, the tests do not."""
