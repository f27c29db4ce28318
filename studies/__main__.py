"""python -m studies: the same as the command statorodds."""

from studies.cli.main import main

if __name__ == "__main__":
    raise SystemExit(main())
