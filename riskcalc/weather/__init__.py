"""Weather years: the pool, built-in climates, the generator and readers of weather files."""
