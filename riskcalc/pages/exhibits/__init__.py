"""One file per exhibit of a page: its words, its table and its chart together, made from the figures alone."""
