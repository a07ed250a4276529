"""Cutting: where the cut lines lie on the drawn sheet, how they are cut, and what falls away."""
