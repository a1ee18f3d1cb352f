"""`python -m telemetry` is the command `rattletrace`."""

from telemetry.cli import main

if __name__ == "__main__":
    main()
