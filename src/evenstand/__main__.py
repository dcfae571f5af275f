"""`python -m evenstand` runs the command line."""

from evenstand.cli import main

if __name__ == "__main__":
    main()
