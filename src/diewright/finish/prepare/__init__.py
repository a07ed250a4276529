"""From the drawn sheet to a surface fit to be plated: start roughness, grits, stock, wheels."""
