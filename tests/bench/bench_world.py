"""A book to measure on, and how things are measured against each other.

    pytest tests/bench -m bench -s

prints every figure. A figure is a ratio to a peer that ran in turn with it, in
the same run: the median over the rounds of "ours over the peer's". Absolute
times differ between machines and between minutes on one machine, so none is
asserted; the ratios asserted are about twice what a quiet machine gives, and
the goals (6 for --help, 8 for a verb that reads) are printed beside them.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from pathlib import Path
from statistics import median
from time import perf_counter

from specctl.actions.collecting import collect
from specctl.actions.proposing import ProposeWish, propose
from specctl.actions.publishing import publish
from specctl.actions.releasing import release
from specctl.actions.signing import SignWish, sign_in_clone
from specctl.actions.source import Source, open_source
from specctl.demo.stage import set_up
from specctl.site.pull import PullWish, pull

NOW = datetime(2026, 11, 25, 12, tzinfo=timezone.utc)
AUTHOR = "isla-varn"
SIGNERS = ("maren-oduya", "tobin-hale", "wren-castell", "aoife-tarn", "dell-okafor")
SITE, DRINK = "saltmarket", "blackcurrant-hojicha"
SCRIPT = Path(sys.executable).with_name("specctl")
EMPTY = (sys.executable, "-c", "pass")


@dataclass(frozen=True)
class Bench:
    """Release 1 is in force, proposal 2 is open, and one site has pulled."""

    book: Path
    state: Path
    compiled: Path
    """Where Python keeps compiled modules for the commands measured: all are warm alike."""

    def environment(self) -> dict[str, str]:
        kept = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
        return {**kept, "PYTHONPYCACHEPREFIX": str(self.compiled), "SPECCTL_NOW": f"{NOW:%Y-%m-%dT%H:%M:%SZ}"}

    def seconds(self, words: Sequence[str | Path]) -> float:
        """One run of a command that must succeed."""
        begun = perf_counter()
        done = subprocess.run(
            [str(w) for w in words], env=self.environment(), stdin=subprocess.DEVNULL, capture_output=True
        )
        took = perf_counter() - begun
        assert done.returncode == 0, done.stderr.decode("utf-8", "replace")
        return took

    def ratios(self, commands: Mapping[str, Sequence[str | Path]], peer: str, rounds: int) -> dict[str, float]:
        """Each command over the peer, run in turn; the first run of each only warms."""
        acts = {name: (lambda words=words: self.seconds(words)) for name, words in commands.items()}
        return in_turn(acts, peer, rounds)


def in_turn(acts: Mapping[str, Callable[[], float]], peer: str, rounds: int) -> dict[str, float]:
    """Name to the median, over the rounds, of its seconds over the peer's."""
    for act in acts.values():
        act()
    found: dict[str, list[float]] = {name: [] for name in acts}
    for _ in range(rounds):
        took = {name: act() for name, act in acts.items()}
        for name, seconds in took.items():
            found[name].append(seconds / took[peer])
    return {name: median(each) for name, each in found.items()}


def timed(act: Callable[[], object]) -> float:
    """Seconds of one call."""
    begun = perf_counter()
    act()
    return perf_counter() - begun


def build(root: Path) -> Bench:
    """The whole chain once, by the actions the commands use."""
    stage = set_up(root / "chain", NOW - timedelta(days=12), AUTHOR, SIGNERS[2])
    with open_source(stage.book) as source:
        first = _proposed(source, "Opening book", stage.key(AUTHOR), 11)
        said = [
            (person, envelope)
            for person in SIGNERS
            for envelope in sign_in_clone(source, first, SignWish("signoff", _ago(10.5), stage.key(person)))
        ]
        collect(source, said, _ago(10.4), stage.key(SIGNERS[0]))
        release(source, first, _ago(10), stage.key(AUTHOR))
        publish(source, stage.packs, stage.publishing_keys, _ago(9), new_keys=True)
        foam = stage.book / "drinks" / f"{DRINK}.yaml"
        text = foam.read_text(encoding="utf-8")
        assert text.count("{regular: 30 g, large: 40 g}") == 1
        foam.write_text(text.replace("{regular: 30 g, large: 40 g}", "{regular: 34 g, large: 46 g}"), encoding="utf-8")
        _proposed(source, "Thicker oat foam", stage.key(AUTHOR), 8)
    pinned = stage.packs / "metadata" / "1.root.json"
    pull(PullWish(str(stage.packs), stage.site(SITE), SITE, pinned, _ago(8)))
    return Bench(stage.book, stage.site(SITE), root / "compiled")


def _proposed(source: Source, title: str, key: Path, days: float) -> str:
    wish = ProposeWish(title, "To have something to measure.", _ago(days), start=_ago(days - 1).date(), key=key)
    return propose(source, wish).name


def _ago(days: float) -> datetime:
    return NOW - timedelta(days=days)
