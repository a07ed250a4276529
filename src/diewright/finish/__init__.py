"""The surface: polishing, racks, dipping, plating, the hoist line."""
