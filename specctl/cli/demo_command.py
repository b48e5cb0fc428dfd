"""The command demo."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

from specctl.cli.options import JsonOption


def demo(
    folder: Annotated[Optional[Path], typer.Argument(metavar="DIR", help="A new folder; a fresh one when left out.")] = None,
    json: JsonOption = False,
) -> int:
    """Play the whole job on the Tidewick book: propose, report, sign, release, publish, pull."""
    from specctl.cli import clock, outlet
    from specctl.demo.play import play

    played = play(folder, outlet.say, clock.now())
    if json:
        outlet.result_json(played.as_json())
    return 0
