"""Bends and hems of flanges that the draw leaves open."""
