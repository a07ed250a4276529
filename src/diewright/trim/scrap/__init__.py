"""Scrap and steels: pieces, choppers, how they fall, segments of the trim steels, drawings."""
