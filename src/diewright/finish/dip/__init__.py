"""Dipping: the air that stays in a part when it goes into a bath, the liquid that stays when it comes out, and what to do about both."""
