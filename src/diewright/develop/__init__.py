"""The developed blank: its outline moved, tryout by tryout, until the formed edge falls on the wanted line."""
