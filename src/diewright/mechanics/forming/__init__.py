"""The press operation on a sheet: tools that move by stroke or force, operations in a row, frames, checkpoints, trimming, springback.

Knows the sheet (``shell``) and the tools (``contact``); arrays in, arrays out; mm, N, s, tonnes.
"""
