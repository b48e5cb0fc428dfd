"""`python -m specctl`."""

from specctl.cli.main import run

run()
