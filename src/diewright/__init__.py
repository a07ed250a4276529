"""diewright: a desk for press toolmakers."""
