"""One question each: arrays in, one plain dict of figures out."""

#: Settings of `match`: enough to sort a shelf; what is picked deserves an assessment of its own.
MATCH_DRAWS, MATCH_POOL_YEARS = 128, 16
