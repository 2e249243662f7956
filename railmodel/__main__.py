"""`python -m railmodel` works as the `railmodel` command does."""

from railmodel.app.cli import main

if __name__ == "__main__":
    main()
