"""The start of the command line."""

from photodrome.stopping import stopper


def main() -> None:
    """Run the command line and exit."""
    stopper.install()
    from arena.cli.command import main as run

    try:
        run()
    finally:
        # nobody is left who could be told
        stopper.is_working = False


if __name__ == "__main__":
    main()
