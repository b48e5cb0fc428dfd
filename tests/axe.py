"""Finds axe-core, the accessibility checker that runs inside a page. It comes from npm and is not kept here.

`SPECCTL_AXE` names its file; else it lies where `.ci/run` puts it. Without it a
test is passed over with the reason, and fails where `CI` is set.
"""

from __future__ import annotations

import os
from functools import cache
from pathlib import Path

from browser import _without

INSTALLED = Path(__file__).resolve().parents[1] / ".ci" / "node_modules" / "axe-core" / "axe.min.js"
# The success criteria of WCAG 2.0, 2.1 and 2.2 at levels A and AA, as axe-core's own documentation tags its rules.
TAGS = ("wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22a", "wcag22aa")
RUN = (
    "async tags => (await axe.run(document, {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations'], preload: false}))"
    ".violations.map(v => v.id + ' (' + v.help + '): ' + v.nodes.slice(0, 3).map(n => n.html.slice(0, 160)).join(' ... '))"
)


@cache
def axe_source() -> str:
    """The text of axe-core."""
    path = Path(os.environ.get("SPECCTL_AXE") or INSTALLED)
    if not path.is_file():
        _without("axe-core is not installed (npm install --prefix .ci axe-core, or SPECCTL_AXE names its file)")
    return path.read_text(encoding="utf-8")
