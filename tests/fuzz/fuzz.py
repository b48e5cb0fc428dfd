"""Coverage-guided fuzzing of one parser: `python tests/fuzz/fuzz.py TARGET --seconds N`.

Needs atheris, which the test suite does not. Everything of specctl is imported
under its eye, what is imported late as well: the seeds are read once before the
first mutation, and a module that came in unseen stops the run. New inputs grow
in `--grown`, and `--keep` puts the fewest that reach the same into
tests/fuzz/corpus/TARGET.
"""

from __future__ import annotations

import argparse
import shutil
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parents[1])]
KEPT_BYTES = 24_000  # of one target: the whole corpus lies in git


def main() -> int:
    parser = argparse.ArgumentParser(description="Fuzz one parser.")
    parser.add_argument("target")
    parser.add_argument("--seconds", type=int, default=60)
    parser.add_argument("--grown", type=Path, help="where new inputs grow; a folder of its own if not named")
    parser.add_argument("--keep", action="store_true", help="put the fewest of --grown that reach the same beside the seeds, and end")
    wish = parser.parse_args()
    try:
        import atheris
    except ImportError:
        print("atheris is not installed; install it with: pip install atheris", file=sys.stderr)
        return 2
    corpus = HERE / "corpus" / wish.target
    seeds = sorted(corpus.glob("whole*"))
    if not seeds:
        print("targets: " + ", ".join(sorted(p.name for p in (HERE / "corpus").iterdir())), file=sys.stderr)
        return 2
    with tempfile.TemporaryDirectory(prefix="specctl-fuzz-") as own:
        grown = wish.grown or Path(own)
        grown.mkdir(parents=True, exist_ok=True)
        if wish.keep:
            return keep(grown, corpus, wish.target)
        with atheris.instrument_imports(include=["specctl", "targets"]):
            unseen = {name for name in sys.modules if name.startswith("specctl.")}
            from targets import TARGETS, answered

            for path in sorted(p for p in corpus.iterdir() if p.is_file()):
                answered(wish.target, path.read_bytes())  # late imports come in here
            assert wish.target in TARGETS and not unseen, unseen
            flags = [f"-max_total_time={wish.seconds}", "-timeout=20", "-max_len=60000", "-use_value_profile=1", f"-artifact_prefix={grown}/found-"]
            atheris.Setup([sys.argv[0], *flags, str(grown), str(corpus)], lambda data: answered(wish.target, data))
            atheris.Fuzz()
    return 0


def keep(grown: Path, corpus: Path, target: str) -> int:
    """The inputs that reach a line of ours nothing smaller reaches; the seeds go first."""
    for old in corpus.glob("grown-*"):
        old.unlink()
    reached: set[tuple[str, int]] = set()
    for seed in corpus.iterdir():
        reached |= lines_of(target, seed.read_bytes())
    room = KEPT_BYTES
    for path in sorted(grown.iterdir(), key=lambda p: (p.stat().st_size, p.name)):
        found = lines_of(target, path.read_bytes()) - reached
        room -= path.stat().st_size if found else 0
        if found and room >= 0:
            reached |= found
            shutil.copy(path, corpus / f"grown-{path.name[:12]}")
    print(f"{target}: {len(reached)} lines, {sum(1 for _ in corpus.iterdir())} inputs")
    return 0


def lines_of(target: str, data: bytes) -> set[tuple[str, int]]:
    """The lines of specctl that one input reaches."""
    from types import FrameType
    from typing import Any

    from targets import answered

    seen: set[tuple[str, int]] = set()

    def watch(frame: FrameType, event: str, _arg: Any) -> Any:
        if "/specctl/" not in frame.f_code.co_filename:
            return None
        seen.add((frame.f_code.co_filename, frame.f_lineno))
        return watch

    sys.settrace(watch)
    try:
        answered(target, data)
    finally:
        sys.settrace(None)
    return seen


if __name__ == "__main__":
    sys.exit(main())
