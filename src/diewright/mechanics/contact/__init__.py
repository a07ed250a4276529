"""Contact of the sheet with rigid tools given as triangulated faces. Arrays in, arrays out; mm, N, s.

``grid`` turns a face into a sparse grid of signed distances; ``node`` is what happens at a node of the sheet in a step.
"""
