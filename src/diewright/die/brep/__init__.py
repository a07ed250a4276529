"""The working faces as CAD: true surfaces, sewn by construction, from the part's own CAD and the sections of the addendum."""
