"""A year, then the next: weather, sun, demand and the kit as it ages, fails and moves."""
