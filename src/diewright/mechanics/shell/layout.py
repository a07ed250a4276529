"""Where things stand in the arrays of the kernels, and how the kernels are compiled.

Compiled code takes these as constants; ``diewright.mechanics`` removes compiled files that are older than the newest source.
"""

from __future__ import annotations

# One compile option set for every scalar function: fused multiply-adds, no Python zero-division branches, NaN kept, and no counting of
# references to arrays (nothing is allocated inside; the atomic counts cost a third of a step).
KERNEL: dict[str, object] = {"cache": True, "_nrt": False, "error_model": "numpy", "fastmath": {"contract", "nsz", "arcp"}}
# Small functions called once or twice: without this their many values travel through memory.
INLINE: dict[str, object] = {**KERNEL, "forceinline": True}

# Parameter vector of a material.
M_E, M_NU, M_YIELD, M_CURVE, M_TOL = 0, 1, 2, 3, 4
M_HILL = 5  # P11, P12, P22, P33
M_YLD = 9  # p1, p2, c1, c2, b1, b2, 4 a7^2, a8^2, exponent, half exponent (or -1)
M_SHARE, M_K, M_E0, M_N, M_SS, M_S0, M_C, M_H = 19, 20, 21, 22, 23, 24, 25, 26
M_KIN, M_RECALL, M_FIRST, M_SCALE, M_BINS = 27, 28, 29, 30, 31
M_COUNT = 32

ELASTIC, HILL48, YLD2000 = 0, 1, 2
SWIFT, VOCE, MIX, TABLE = 0, 1, 2, 3

# Coefficients of an element.
C_SIDE = 0  # 3 sides of a1, b1, a2, b2
C_LINEAR = 12  # dL1/dX, dL2/dX, dL1/dY, dL2/dY
C_AREA, C_THICKNESS, C_K11, C_K22, C_K12 = 16, 17, 18, 19, 20
C_TURN = 21  # what one unit of each side's slope adds, -2 sign height
C_SQUEEZE = 24  # pressure of tools on both skins [MPa], written as the tools squeeze
C_COUNT = 25

# State of a station: plastic strain (11, 22, engineering 12), equivalent plastic strain, back stress (11, 22, 12).
S_COUNT, S_COUNT_KINEMATIC = 4, 7

# What an element answers.
LEAST_AREA, MOST_AREA = 0.1, 20.0  # area over that at rest; a sheet outside has been pushed through itself or torn
FINE, TURNED, NOT_RETURNED, NOT_A_NUMBER = 0, 1, 2, 3
