"""Run with ``python -m tetherwatch``."""

from tetherwatch.cli.main import main

if __name__ == "__main__":
    main()
