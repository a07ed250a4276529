"""Numerics of shape. Takes and gives arrays; knows no job."""

from diewright.geometry.mesh import FieldMesh, TriMesh

__all__ = ["FieldMesh", "TriMesh"]
