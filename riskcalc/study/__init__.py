"""The order of work: draws, blocks of them, the plan of the year, the years, the money."""
