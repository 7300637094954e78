"""The years of the horizon, future by future: dispatch and wear, failures, moves, outages."""
