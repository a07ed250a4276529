"""The rigid tools of a press as the arrays that the kernels read."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import ArrayLike, NDArray

from diewright.errors import InputError
from diewright.mechanics.contact import layout as at
from diewright.mechanics.contact.grid import SAMPLES, DistanceGrid

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Tool:
    """One rigid tool.

    Attributes
    ----------
    name: what it is called. grid: its face, normals towards the sheet, in its place at travel 0.
    direction: (3,) where it goes when it closes; travel counts along it [mm].
    friction: Coulomb's coefficient. fade, power: beyond a pressure ``fade`` [MPa] (0: never) it falls as ``(p/fade)^power``, power <= 0.
    stiffness: share of ``m/dt^2`` as contact stiffness. damping: share of critical.
    cap: largest normal pressure [MPa], see :mod:`~diewright.mechanics.contact.node`.
    """

    name: str
    grid: DistanceGrid = field(repr=False)
    direction: tuple[float, float, float] = (0.0, 0.0, -1.0)
    friction: float = 0.1
    fade: float = 0.0
    power: float = 0.0
    stiffness: float = 0.2
    damping: float = 0.1
    cap: float = 1e4


class ToolSet:
    """Tools, their travel and what they felt; arrays as :func:`diewright.mechanics.contact.node.touch` wants them.

    Attributes
    ----------
    state: (K, .) travel [mm], speed [mm/s], work on the sheet, friction heat [N mm], force on the sheet [N], see ``layout``.
    push: (n, K) sum of the normal force [N] over ``push_steps`` steps; ``sum_steps``: those of the sums in ``state``. slide: (n,) path against the tools [mm]. rub: (n, K) friction work [N mm]. squeeze: (n,) pressure on both skins [MPa].
    """

    def __init__(self, tools: tuple[Tool, ...], area: ArrayLike, blocks: int) -> None:
        self.tools = tools
        self.names = tuple(t.name for t in tools)
        if len(set(self.names)) < len(tools):
            raise InputError(f"two tools have one name: {list(self.names)}.", where="tools")
        count, self.area = len(tools), np.ascontiguousarray(area, dtype=np.float64)
        n = len(self.area)
        self.numbers, self.sizes = np.zeros((count, at.N_COUNT)), np.zeros((count, at.Z_COUNT), dtype=np.int64)
        places: list[NDArray[np.int32]] = [np.zeros(0, dtype=np.int32)]
        samples: list[NDArray[np.float32]] = [np.zeros(0, dtype=np.float32)]
        p_at = s_at = 0
        for k, t in enumerate(tools):
            d = np.asarray(t.direction, dtype=np.float64)
            if not (np.isfinite(d).all() and np.linalg.norm(d) > 1e-9):
                raise InputError(f"the direction {t.direction} has no length.", where=f"tool {t.name}")
            for what, value, low, high in (
                ("friction", t.friction, 0.0, 2.0), ("stiffness", t.stiffness, 1e-4, 0.5), ("damping", t.damping, 0.0, 2.0),
                ("fade", t.fade, 0.0, 1e5), ("cap", t.cap, 1.0, 1e6), ("power", t.power, -1.0, 0.0),
            ):  # fmt: skip
                if not (math.isfinite(value) and low <= value <= high):
                    raise InputError(f"{value!r} cannot be used: expected {low:g} to {high:g}.", where=f"tool {t.name} {what}")
            g = t.grid
            self.numbers[k, :4] = (*g.origin, 1.0 / g.spacing)
            self.numbers[k, at.N_FRICTION : at.N_DAMP + 1] = t.friction, t.stiffness, t.damping
            self.numbers[k, at.N_DIRECTION : at.N_DIRECTION + 3] = d / np.linalg.norm(d)
            self.numbers[k, at.N_MASS], self.numbers[k, at.N_STOP] = 1.0, 1e30
            self.numbers[k, at.N_FADE], self.numbers[k, at.N_POWER], self.numbers[k, at.N_CAP] = t.fade, t.power, t.cap
            self.sizes[k, :3] = g.shape
            self.sizes[k, at.Z_PLACE], self.sizes[k, at.Z_SAMPLE] = p_at, s_at
            places.append(g.place)
            samples.append(g.samples)
            p_at, s_at = p_at + len(g.place), s_at + len(g.samples)
        assert s_at % SAMPLES == 0
        self.place, self.samples = np.concatenate(places), np.concatenate(samples)
        self.state = np.zeros((count, at.T_COUNT))
        self.tally = np.zeros((blocks, count, at.Y_COUNT))
        self.push, self.slide, self.rub, self.squeeze = np.zeros((n, count)), np.zeros(n), np.zeros((n, count)), np.zeros(n)
        self.push_steps = self.sum_steps = 0
        self.bead_at, self.bead = np.zeros(at.E_COUNT), np.zeros((1, 1), dtype=np.float32)

    def __len__(self) -> int:
        return len(self.tools)

    def number(self, name: str) -> int:
        """Number of a tool; raises :class:`InputError` if there is none of that name."""
        if name not in self.names:
            raise InputError(f"there is no tool called '{name}': {', '.join(self.names) or 'none'}.", where="tools")
        return self.names.index(name)

    def away(self, name: str) -> None:
        """The tool touches nothing from here on."""
        k = self.number(name)
        self.sizes[k, at.Z_MODE] = at.AWAY
        self.state[k, at.T_SPEED] = 0.0

    def by_speed(self, name: str, history: int) -> None:
        """The tool goes along its direction by a history of speeds [mm/s]; history 0 holds it."""
        k = self.number(name)
        self.sizes[k, at.Z_MODE], self.sizes[k, at.Z_HISTORY] = at.BY_SPEED, history
        self._keep_tilt(k)

    def by_force(self, name: str, history: int, *, mass: float, drag: float = 0.0, stop: float = math.inf) -> None:
        """The tool presses along its direction with a history of forces [N], as a body of ``mass`` [t] with ``drag`` [1/s], up to the travel ``stop`` [mm]."""
        if not mass > 0:
            raise InputError(f"{mass!r} cannot be used: expected more than 0 t.", where=f"tool {name} mass")
        k = self.number(name)
        self.sizes[k, at.Z_MODE], self.sizes[k, at.Z_HISTORY] = at.BY_FORCE, history
        self.numbers[k, at.N_MASS], self.numbers[k, at.N_DRAG], self.numbers[k, at.N_STOP] = mass, drag, min(stop, 1e30)
        self._keep_tilt(k)

    def _keep_tilt(self, k: int) -> None:
        """A tool that pins have tilted stays as it stands."""
        self.sizes[k, at.Z_TILT] = min(int(self.sizes[k, at.Z_TILT]), at.TILTED)
        self.state[k, at.T_RATE : at.T_RATE + 2] = 0.0

    def by_pins(
        self,
        name: str,
        force: int,
        moments: tuple[int, int],
        centre: tuple[float, float],
        *,
        mass: float,
        inertia: tuple[float, float],
        drag: float = 0.0,
        stop: float = math.inf,
        most: float = 0.02,
    ) -> None:
        """As :meth:`by_force`, and free to tilt: the histories of the pins' total force [N] and of ``sum F (x - xc)`` and ``sum F (y - yc)`` [N mm].

        ``centre`` (xc, yc) [mm]; ``inertia`` of the slopes along x and y [t mm2]; ``most``: the slope at which the guides hold. The stop counts at the centre.
        See :func:`diewright.mechanics.forming.pins.press_by_pins`. Raises :class:`InputError` for a tool that does not close along z.
        """
        self.by_force(name, force, mass=mass, drag=drag, stop=stop)
        k = self.number(name)
        if not (min(inertia) > 0 and 0 < most <= 0.1):
            raise InputError(
                f"inertia {inertia} t mm2 and slope {most!r} cannot be used: expected above 0, slope to 0.1.", where=f"tool {name} pins"
            )
        if abs(abs(self.numbers[k, at.N_DIRECTION + 2]) - 1.0) > 1e-12:
            raise InputError("a tool on pins has to close along z.", where=f"tool {name} pins")
        self.sizes[k, at.Z_TILT], self.sizes[k, at.Z_TURN : at.Z_TURN + 2] = at.TILTING, moments
        self.numbers[k, at.N_CENTRE : at.N_CENTRE + 2] = centre
        self.numbers[k, at.N_INERTIA : at.N_INERTIA + 2], self.numbers[k, at.N_MOST] = inertia, most

    def tilt(self, name: str) -> Floats:
        """Slopes of a tool along x and y (2,): how much farther it has travelled a mm on."""
        return self.state[self.number(name), at.T_TILT : at.T_TILT + 2].copy()

    def set_beads(self, origin: tuple[float, float], spacing: float, raster: NDArray[np.floating]) -> None:
        """Restraint of draw beads over the area [N/mm2], a raster in plan from ``origin`` [mm]; see :mod:`diewright.mechanics.forming.beads`."""
        self.bead = np.ascontiguousarray(raster, dtype=np.float32)
        self.bead_at = np.array([*origin, 1.0 / spacing, *self.bead.shape, 1.0 if (self.bead > 0).any() else 0.0])

    def set_travel(self, name: str, travel: float) -> None:
        """Put a tool at a travel [mm], at rest."""
        k = self.number(name)
        self.state[k, at.T_TRAVEL], self.state[k, at.T_SPEED] = travel, 0.0

    def travel(self, name: str) -> float:
        """Travel from the place its face was given in [mm]."""
        return float(self.state[self.number(name), at.T_TRAVEL])

    def force(self, name: str) -> Floats:
        """Force of the tool on the sheet in the last step (3,) [N]."""
        k = self.number(name)
        return self.state[k, at.T_FORCE : at.T_FORCE + 3].copy()

    def mean_force(self, name: str) -> Floats:
        """Means since :meth:`start_sums` of the force on the sheet [N] and of ``sum y fz`` and ``sum x fz`` [N mm]: (5,)."""
        return self.state[self.number(name), at.T_SUM : at.T_SUM + 5] / max(self.sum_steps, 1)

    def start_sums(self) -> None:
        """Start the mean forces and the deepest penetration anew."""
        self.sum_steps = 0
        self.state[:, at.T_DEEPEST] = 0.0
        self.state[:, at.T_SUM : at.T_SUM + 5] = 0.0

    def pressure(self, thickness_share: Floats | float = 1.0) -> Floats:
        """Mean normal pressure of each tool at each node since :meth:`start_pressure` (n, K) [MPa]; the area is that at rest over the thickness share."""
        return self.push / max(self.push_steps, 1) / np.maximum(self.area / thickness_share, 1e-12)[:, None]

    def start_pressure(self) -> None:
        """Start the mean pressures anew."""
        self.push[:] = 0.0
        self.push_steps = 0

    def count(self, steps: int) -> None:
        """So many steps were done."""
        self.push_steps += steps
        self.sum_steps += steps

    def bundle(self) -> tuple[NDArray[np.generic], ...]:
        """The arrays for the kernels."""
        return (
            self.numbers, self.sizes, self.place, self.samples, self.state, self.tally, self.push, self.slide, self.rub, self.area,
            self.bead_at, self.bead, self.squeeze,
        )  # fmt: skip

    def memory(self) -> dict[str, NDArray[np.generic]]:
        """What changes in a step; see :meth:`put_back`."""
        return {name: getattr(self, name).copy() for name in ("state", "push", "slide", "rub", "squeeze")} | {
            "steps": np.array([self.push_steps, self.sum_steps])
        }

    def put_back(self, memory: dict[str, NDArray[np.generic]]) -> None:
        """Restore what :meth:`memory` kept."""
        for name in ("state", "push", "slide", "rub", "squeeze"):
            getattr(self, name)[:] = memory[name]
        self.push_steps, self.sum_steps = (int(v) for v in memory["steps"])
