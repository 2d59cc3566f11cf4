"""`barrelwise`, also `python -m triage`."""

from triage.cli.main import main

if __name__ == "__main__":
    main()
