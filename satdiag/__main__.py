"""`python -m satdiag`: the command line without an installed script."""

from satdiag.cli import main

if __name__ == "__main__":
    main()
