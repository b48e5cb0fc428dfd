"""What a disk may hold after the power failed in the middle of a command.

A run is recorded call by call. The model is a journaling file system that keeps
metadata in order (ext4 or XFS as they are set up by default): up to the last
sync everything before it is there; of later creations, renames and removals a
first part is there, in order; of bytes written and not synced there may be all,
none, some, or zeros in their place. A file system that keeps less than this is
not covered.
"""

from __future__ import annotations

import os
import random
import shutil
import struct
from dataclasses import dataclass
from pathlib import Path

from machine import COUNT, KINDS, Machine
from trial import POWER, Known, Verdict, recovered

_HEAD = struct.Struct("=4Iq")


@dataclass(frozen=True)
class Call:
    kind: str
    one: str
    two: str
    offset: int
    data: bytes


def read_log(path: Path) -> list[Call]:
    data, calls, at = path.read_bytes(), [], 0
    while at < len(data):
        kind, first, second, length, offset = _HEAD.unpack_from(data, at)
        at += _HEAD.size
        one, two = data[at : at + first].decode(), data[at + first : at + first + second].decode()
        at += first + second
        one, two = os.path.normpath(one), two and os.path.normpath(two)  # git writes ./ into some
        calls.append(Call(KINDS[kind], one, two, offset, data[at : at + length]))
        at += length
    return calls


def image(machine: Machine, known: Known, folder: Path, dice: random.Random) -> Verdict:
    """One disk as it may be after the power failed in one run of a command, and the command run again on it."""
    scene = known.scene
    recorded = scene.copy(folder / "world")
    ran = machine.run(scene.words(recorded), scene.now, how=COUNT, log=True)
    assert ran.code == 0, ran
    calls = [c for c in read_log(machine.log) if c.one.startswith(str(recorded)) or c.two.startswith(str(recorded))]
    # In one image of five the command had ended: what it acknowledged must be there.
    point = len(calls) if dice.random() < 0.2 else dice.randint(1, len(calls))
    verdict = Verdict(scene.verb, POWER, point)
    world = scene.copy(folder / "world")
    lay(calls, point, dice)
    return recovered(machine, known, world, verdict, acknowledged=point == len(calls))


def lay(calls: list[Call], point: int, dice: random.Random) -> None:
    """Do to the files what may be left of the first `point` calls."""
    done = calls[:point]
    synced = max((i for i, c in enumerate(done) if c.kind == "sync"), default=-1)
    last = dice.randint(synced + 1, point)
    lost = _unsynced(done)
    for number, call in enumerate(done[:last]):
        _do(call, None if number not in lost else dice.choice(("all", "none", "part", "zeros")), dice)


def _unsynced(calls: list[Call]) -> set[int]:
    """The writes after which their file was never synced, under whatever name it had by then."""
    names: dict[str, int] = {}  # a name to the file now behind it
    writes: dict[int, list[int]] = {}
    kept: set[int] = set()
    fresh = 0
    for number, call in enumerate(calls):
        if call.kind == "open" and (call.offset or call.one not in names):
            fresh += 1
            names[call.one] = fresh
        elif call.kind in ("rename", "link") and call.one in names:
            names[call.two] = names[call.one]
            if call.kind == "rename":
                del names[call.one]
        elif call.kind == "unlink":
            names.pop(call.one, None)
        elif call.kind in ("write", "sync"):
            file = names.setdefault(call.one, -number - 1)
            if call.kind == "write":
                writes.setdefault(file, []).append(number)
            else:
                kept.update(writes.get(file, ()))
    return {n for numbers in writes.values() for n in numbers} - kept


def _do(call: Call, doubt: str | None, dice: random.Random) -> None:
    if call.kind == "open":
        if call.offset or not os.path.exists(call.one):
            _apart(call.one)
            open(call.one, "wb").close()
    elif call.kind == "write":
        data = call.data
        if doubt == "none":
            return
        if doubt == "part":
            data = data[: dice.randint(0, len(data))]
        elif doubt == "zeros":
            data = bytes(len(data))
        _apart(call.one)
        with open(call.one, "r+b") as file:
            file.seek(call.offset)
            file.write(data)
    elif call.kind == "rename":
        os.replace(call.one, call.two)
    elif call.kind == "link":
        os.link(call.one, call.two)
    elif call.kind == "unlink":
        os.unlink(call.one)
    elif call.kind == "mkdir":
        os.mkdir(call.one)
    elif call.kind == "rmdir":
        os.rmdir(call.one)
    elif call.kind == "symlink":
        os.symlink(call.one, call.two)
    elif call.kind == "truncate":
        os.truncate(call.one, call.offset)


def _apart(path: str) -> None:
    """A file that a copied world shares with the first one gets bytes of its own before it is written."""
    if os.path.exists(path) and os.stat(path).st_nlink > 1:
        shutil.copy2(path, f"{path}.apart")
        os.replace(f"{path}.apart", path)
