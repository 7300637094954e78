"""What a run says: figures for files, curves, traces, earlier results read back."""
