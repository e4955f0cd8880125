"""``python -m firelog``: the command line where its script is not on the path."""

from firelog.cli import main

if __name__ == "__main__":
    main()
