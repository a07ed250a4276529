"""Parts on a rack: how many, where they touch, what the rack weighs and carries."""
