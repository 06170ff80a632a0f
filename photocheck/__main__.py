"""``python -m photocheck``: the same as the command ``photocheck``."""

from photocheck.cli.main import main

if __name__ == "__main__":
    main()
