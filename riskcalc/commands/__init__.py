"""One module per command: translate words into calls and figures into lines. Heavy imports stay inside the functions."""
