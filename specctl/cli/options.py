"""Options that several commands share, each said once."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Optional

import typer

BookOption = Annotated[
    Path, typer.Option("--book", envvar="SPECCTL_BOOK", metavar="DIR", help="The book's folder.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="The result as JSON.")]
KeyOption = Annotated[
    Optional[Path],
    typer.Option("--key", metavar="FILE", help="Your private SSH key; else git's user.signingkey."),
]
OutOption = Annotated[
    Optional[Path], typer.Option("--out", metavar="FILE", help="Write to a file instead of the screen.")
]
HERE = Path(".")
