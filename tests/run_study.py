"""Run one study in full and keep its result: ``python -m tests.run_study NAME [--seed N] [--part X]``."""

from __future__ import annotations

import argparse
import datetime
import hashlib
import importlib
import json
import sys
import time
from collections.abc import Iterable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
STUDIES = ROOT / "tests" / "studies"


def code_sha256(depends: Iterable[str], *, root: Path = ROOT) -> str:
    """Return the hash of the files that the patterns name, so that a result can be told from an outdated one."""
    digest = hashlib.sha256()
    for path in sorted({path for pattern in depends for path in root.glob(pattern) if path.is_file()}):
        digest.update(
            path.relative_to(root).as_posix().encode() + b"\0" + path.read_bytes().replace(b"\r\n", b"\n") + b"\0"
        )
    return digest.hexdigest()


def run_study(name: str, *, seed: int, part: float) -> dict[str, object]:
    """Return the study's result with seed, date, part and the hash of the code that it depends on."""
    module = importlib.import_module(f"tests.studies.{name}")
    depends = [*getattr(module, "DEPENDS", ("vision/*.py", "estimator/**/*")), f"tests/studies/{name}.py"]
    begun = time.monotonic()
    result = module.run(seed, part)
    return {
        "study": name,
        "seed": seed,
        "part": part,
        "date": datetime.datetime.now(tz=datetime.UTC).date().isoformat(),
        "seconds": round(time.monotonic() - begun, 1),
        "depends": depends,
        "code_sha256": code_sha256(depends),
        "result": result,
    }


def main(arguments: list[str]) -> int:
    """Run the named study and write tests/studies/NAME.json."""
    parser = argparse.ArgumentParser(prog="tests/run --study")
    parser.add_argument("name", choices=sorted(path.stem for path in STUDIES.glob("*.py") if path.stem != "__init__"))
    parser.add_argument("--seed", type=int, default=20261125)
    parser.add_argument("--part", type=float, default=1.0)
    chosen = parser.parse_args(arguments)
    kept = run_study(chosen.name, seed=chosen.seed, part=chosen.part)
    text = json.dumps(kept, indent=1, sort_keys=True) + "\n"
    (STUDIES / f"{chosen.name}.json").write_text(text, encoding="utf-8")
    print(text, end="")
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
