"""Seeds for the fuzzer, made by a small chain that proposes, signs, releases and publishes: `python tests/fuzz/seeds.py`.

Keys and times differ at each run, so the seeds are made once and kept; the names
are those of the invented chain.
"""

from __future__ import annotations

import json
import os
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
TESTS = HERE.parent
sys.path[:0] = [str(TESTS.parent), *(str(TESTS / name) for name in ("actions", "cli", "site"))]

import pytest
from chain_world import SAFETY, begin_world, day, own_machine, plain_git
from counter_world import run

from specctl.actions.deviating import DeviationWish, StandIn, deviate  # noqa: E402
from specctl.actions.offsale import OffSaleWish, off_sale  # noqa: E402
from specctl.canonical import canonical

SITE = "northsands-quay"


def one_drink(told: dict[str, Any]) -> dict[str, Any]:
    """The bundle, with the one drink whose card changed: small enough to be mutated well."""
    item = told["timeline"][-1][2]
    told["timeline"] = [row for row in told["timeline"] if row[2] == item]
    digests = {row[3] for row in told["timeline"]}
    told["entries"] = {name: entry for name, entry in told["entries"].items() if name in digests}
    told["drawings"] = {name: drawn for name, drawn in told.get("drawings", {}).items() if name in digests}
    for record in told["releases"]:
        record["entries"] = [row for row in record["entries"] if row[1] == item]
    for approval in told["approvals"]["releases"]:
        for effect in approval["effects"].values():
            effect["entries"] = [row for row in effect["entries"] if row[0] == item]
    return told


def main() -> int:
    with tempfile.TemporaryDirectory() as folder, pytest.MonkeyPatch.context() as patch:
        root = Path(folder)
        own_machine(patch, root / "home")
        world = begin_world(root)
        world.edit("drinks/hazelnut-frost.yaml", "{regular: 20 g, large: 28 g}", "{regular: 22 g, large: 31 g}")
        world.done(world.propose(0, "More paste", start=day(3).date()).name, 1)
        stamp = day(4).strftime("%Y-%m-%dT%H:%M:%SZ")
        with world.open() as source:
            off_sale(source, OffSaleWish("ingredient", "hazelnut-paste", "Glass in a jar.", day(3.5), "", world.key(SAFETY)))
            goods = StandIn(name="Oat drink from next door", contains=("soya",))
            deviate(source, DeviationWish(SITE, "oat-drink", goods, "Read off the carton.", "None came.", day(8).date(), day(3.6), world.key(SAFETY)))
        run("publish", root / "packs", "--keys", root / "publishing", "--new", "--book", world.book, now=stamp)
        put("bundle", "whole", canonical(one_drink(json.loads(next((root / "packs/targets").glob(f"*.{SITE}.json")).read_bytes()))))
        put("cards", "whole", (HERE / "corpus/bundle/whole").read_bytes())
        tree = plain_git(world.book, "ls-tree", "-r", "--name-only", "main").split("\n")
        put("release", "whole", world.on_main(next(p for p in tree if p.startswith("releases/"))).encode())
        put("signatories", "whole", world.on_main("signatories.yaml").encode())
        for number, path in enumerate(p for p in tree if p.startswith("statements/")):
            target = "sealed" if path.startswith(("statements/off-sale/", "statements/deviations/")) else "statement"
            if number < 2 or target == "sealed":
                put(target, f"whole-{number}", world.on_main(path).encode())
        tag = plain_git(world.book, "tag").split("\n")[0]
        for name, kind, rev in (("commit", "commit", "main"), ("tree", "tree", "main^{tree}"), ("tag", "tag", tag)):
            put("objects", f"whole-{name}", git_bytes(world.book, "cat-file", kind, rev))
        put("yaml", "whole-fizz", (root / "book/drinks/pear-sage-fizz.yaml").read_bytes())
    return 0


def put(target: str, name: str, data: bytes) -> None:
    path = HERE / "corpus" / target / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)


def git_bytes(book: Path, *args: str) -> bytes:
    import subprocess

    return subprocess.run(["git", "-C", os.fspath(book), *args], check=True, capture_output=True).stdout


if __name__ == "__main__":
    sys.exit(main())
