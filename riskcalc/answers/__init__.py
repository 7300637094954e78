"""One question each: arrays in, one plain dict of figures out."""
