"""What enumeration found, kept between runs as long as nothing that it depends on changes."""

from __future__ import annotations

import hashlib
import json
import os
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from cases import case
from enumerate import best_choice

import optimizer

ROOT = Path(optimizer.__file__).resolve().parent
HERE = Path(__file__).resolve().parent


@dataclass(frozen=True)
class Enumerated:
    """The best of a seed's choices, and the rules that alone kept out a cheaper one."""

    cost_cents: int | None
    alone: Counter[str]


def state() -> str:
    """Digest of every source that enumeration depends on; candidates, program and solver are not among them."""
    digest = hashlib.sha256()
    files = [HERE / "cases.py", HERE / "enumerate.py", ROOT / "design.py", ROOT / "bill.py", ROOT / "mounts.py", ROOT / "errors.py"]
    for room in ("rules", "inputs", "needs", "proof"):
        files += sorted((ROOT / room).glob("*.py"))
    files += sorted((ROOT.parent / "catalogs" / "tables").glob("*.csv"))
    for path in files:
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()[:16]


def walked(seed: int, folder: Path) -> Enumerated:
    """The walk of a seed, from the folder where another worker or an earlier run has left it."""
    path = folder / f"{seed}.json"
    if not path.exists():
        best = best_choice(*case(seed))
        partial = folder / f"{seed}.{os.getpid()}"
        partial.write_text(json.dumps({"cost_cents": best.cost_cents, "alone": dict(best.alone)}), encoding="utf-8")
        partial.replace(path)
    data = json.loads(path.read_text(encoding="utf-8"))
    return Enumerated(data["cost_cents"], Counter(data["alone"]))
