"""What is measured and kept: thickness plan, readings, the bath's book."""
