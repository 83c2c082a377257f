"""`python -m buttress`: the command."""

from buttress.cli.app import main

if __name__ == "__main__":
    main()
