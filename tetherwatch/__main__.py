"""The program's start. Each worker process loads this module again, so it loads nothing before it is run."""


def main() -> None:
    """Run the command that the command line names."""
    from tetherwatch.cli.main import main as run

    run()


if __name__ == "__main__":
    main()
