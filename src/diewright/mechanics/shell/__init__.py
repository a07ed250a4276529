"""The sheet of the tryout: rotation-free shell triangles, plane-stress plasticity, explicit steps and springback.

Arrays in, arrays out; mm, N, s, tonnes. See ``docs/design/shell.md``.
"""

from __future__ import annotations

from diewright.mechanics.shell.layout import drop_stale_cache

drop_stale_cache()
