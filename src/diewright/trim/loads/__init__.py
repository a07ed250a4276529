"""Loads of cutting: force over the stroke, steels, punches, die buttons, springs, burr."""
