"""Where the command `riskcalc` and `python -m riskcalc` begin."""

from riskcalc.interruption import end_when_told


def main() -> None:
    """Read the modules of the command line and run it."""
    end_when_told()
    from riskcalc.cli import main as run

    run()


if __name__ == "__main__":
    main()
