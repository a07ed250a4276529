"""What the finish must be: classes of thickness, significant surfaces, tests, and what else could be done."""
