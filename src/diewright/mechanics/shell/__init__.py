"""The sheet of the tryout: shell triangles with a slope a side, plane-stress plasticity, explicit steps and springback.

Arrays in, arrays out; mm, N, s, tonnes. See ``docs/design/shell.md``.
"""
