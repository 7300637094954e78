"""`python -m riskcalc` is the same as `riskcalc`."""

from riskcalc.cli import main

main()
