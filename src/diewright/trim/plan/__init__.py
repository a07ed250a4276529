"""The press plan: stations, stagger, the cycle of each press."""
