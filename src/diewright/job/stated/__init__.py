"""What a person states, room by room; gathered in `job/schema.py`."""
