"""A proposal: faces, bead and blankholder force found by computation, from quick answers to full tryouts."""
