"""Coverage-guided fuzzing of one parser: `python tests/fuzz/fuzz.py TARGET --seconds N`.

Needs atheris, which the test suite does not. What it finds worth keeping is
put in tests/fuzz/corpus/TARGET.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2])]


def main() -> int:
    parser = argparse.ArgumentParser(description="Fuzz one parser.")
    parser.add_argument("target")
    parser.add_argument("--seconds", type=int, default=60)
    wish = parser.parse_args()
    try:
        import atheris
    except ImportError:
        print("atheris is not installed; install it with: pip install atheris", file=sys.stderr)
        return 2
    with atheris.instrument_imports(include=["specctl"]):
        from targets import TARGETS, answered
    if wish.target not in TARGETS:
        print("targets: " + ", ".join(TARGETS), file=sys.stderr)
        return 2
    corpus = Path(__file__).resolve().parent / "corpus" / wish.target
    corpus.mkdir(parents=True, exist_ok=True)
    flags = [f"-max_total_time={wish.seconds}", "-timeout=10", "-max_len=60000", f"-artifact_prefix={corpus}/found-"]
    atheris.Setup([sys.argv[0], *flags, str(corpus)], lambda data: answered(wish.target, data))
    atheris.Fuzz()
    return 0


if __name__ == "__main__":
    sys.exit(main())
