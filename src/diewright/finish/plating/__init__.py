"""Plating: how thick the deposit becomes, where, on a rack of parts in a bath."""
