"""The draw shape: what is drawn in the first operation where it is not the finished part itself."""
