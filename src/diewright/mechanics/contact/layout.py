"""Where things stand in the arrays of the tools."""

from __future__ import annotations

# numbers (K, .) float64
N_ORIGIN, N_INVERSE = 0, 3  # of the grid: x, y, z [mm], 1/spacing
N_FRICTION, N_STIFF, N_DAMP = 4, 5, 6  # friction; share of m/dt^2; share of critical
N_DIRECTION = 7  # x, y, z: where the tool goes when it closes
N_MASS, N_DRAG, N_STOP = 10, 11, 12  # [t], [1/s], farthest travel [mm]
N_FADE, N_POWER = 13, 14  # friction falls as (p/fade)^power beyond fade [MPa]
N_CAP = 15  # normal pressure at which a squeezed sheet yields through its thickness [MPa]
N_CENTRE = 16  # x, y [mm]: about which a tool on pins tilts
N_INERTIA = 18  # of the slopes along x and y [t mm2]
N_MOST = 20  # largest slope that the guides allow
N_COUNT = 21
# sizes (K, .) int64
Z_SHAPE, Z_PLACE, Z_SAMPLE, Z_MODE, Z_HISTORY = 0, 3, 4, 5, 6
Z_TILT, Z_TURN = 7, 8  # LEVEL, TILTED (as pins left it) or TILTING; histories of the two moments [N mm]
Z_COUNT = 10
AWAY, BY_SPEED, BY_FORCE = 0, 1, 2
LEVEL, TILTED, TILTING = 0, 1, 2
# state (K, .) float64
T_TRAVEL, T_SPEED, T_WORK, T_HEAT, T_FORCE = 0, 1, 2, 3, 4  # T_FORCE: x, y, z on the sheet [N] in the last step
T_MOMENT_X, T_MOMENT_Y, T_DEEPEST, T_TOUCHED = 7, 8, 9, 10  # sum of y fz, x fz [N mm]; deepest share of the thickness; nodes
T_SUM = 11  # of force x, y, z and of the two moments over the steps since the count was started
T_TILT, T_RATE = 16, 18  # slopes along x and y of a tool on pins, and their rates [1/s]
T_COUNT = 20
# tally of a block (., K, .): force x, y, z, y fz, x fz, friction power dt, deepest, touched
Y_COUNT = 8
# bead numbers: origin x, y, 1/spacing, cells x, cells y, on
E_COUNT = 6
STICK = 0.5  # share of the force that would stop a node in one step
