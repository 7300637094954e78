"""One module per command: words into calls, figures into lines. Heavy imports stay inside the functions."""
