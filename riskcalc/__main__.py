"""`python -m riskcalc` is the same as `riskcalc`."""

import sys

try:
    from riskcalc.cli import main

    main()
except KeyboardInterrupt:
    sys.exit(130)  # Ctrl-C while modules are still being read; the code is the shells' own, 128 + 2
