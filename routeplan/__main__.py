"""`python -m routeplan` is the command `routeplan`."""

from routeplan.cli import main

if __name__ == "__main__":
    main()
