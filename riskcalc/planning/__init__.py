"""How the battery is best run: charging targets, switch dates and hold-back found by search on common draws."""
