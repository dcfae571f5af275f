"""`python -m benchmarks`: time the heavy parts against general-purpose libraries and write bench-out/results.json."""

from __future__ import annotations

import argparse
import json
import os
import platform
import sys
from collections.abc import Callable
from pathlib import Path

from benchmarks.timing import Result


def main() -> int:
    """Run, print worst and median, write the results; 1 if any result differs from its peer's."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks", description=__doc__)
    parser.add_argument("--seed", type=int, default=7, help="first seed of the inputs; every turn has its own")
    parser.add_argument("--turns", type=int, default=7, help="turns of each comparison, at least seven")
    parser.add_argument("--quick", action="store_true", help="leave out the million rows")
    parser.add_argument(
        "--only", default="", help="only the parts whose name holds this: coverage, raster, log_to_area, blend, smoother, times"
    )
    parser.add_argument("--out", type=Path, default=Path("bench-out"), help="folder of results.json")
    said = parser.parse_args()
    from benchmarks import blending, covering, desk_times, rastering, reading, smoothing

    print(f"{platform.machine()}, {os.cpu_count()} cores, Python {platform.python_version()}, load {_load()}", flush=True)
    parts: dict[str, Callable[[], list[Result]]] = {
        "coverage": lambda: covering.results(seed=said.seed, turns=said.turns, quick=said.quick),
        "raster": lambda: rastering.results(seed=said.seed, turns=said.turns, quick=said.quick),
        "log_to_area": lambda: reading.results(seed=said.seed, turns=said.turns, quick=said.quick),
        "blend": lambda: blending.results(seed=said.seed, turns=said.turns),
        "smoother": lambda: smoothing.results(seed=said.seed, turns=said.turns),
    }
    found = [r for name, part in parts.items() if not said.only or said.only in name for r in part()]
    for r in found:
        print(f"\n{r.name}, size {r.size}, against {r.peer}")
        print(f"  ours  median {r.ours_s:9.5f} s  worst {r.ours_worst_s:9.5f} s  memory {_mb(r.ours_memory_mb)}")
        print(f"  peer  median {r.peer_s:9.5f} s  worst {r.peer_worst_s:9.5f} s  memory {_mb(r.peer_memory_mb)}")
        by_processor = "" if r.cpu_ratio is None else f"; by processor time {r.cpu_ratio:.2f}"
        print(f"  ratio {r.ratio:.2f}, worst turn {r.ratio_min:.2f} (seed {r.worst_seed}){by_processor}")
        if r.ours_cold_s is not None:
            print(f"  first call in a fresh process: ours {_seconds(r.ours_cold_s)}, peer {_seconds(r.peer_cold_s)}")
        print(f"  largest relative difference {r.largest_difference:.1e} (limit {r.tolerance:.0e})")
        print("  went badly: " + ("; ".join(r.hard) or "nothing"))
        print(f"  {r.note}")
    times = desk_times.results(seed=said.seed) if not said.only or said.only in "times" else []
    for t in times:
        print(f"\n{t['name']}, size {t['size']}: median {t['median_s']:.2f} s, worst {t['worst_s']:.2f} s")
    said.out.mkdir(parents=True, exist_ok=True)
    (said.out / "times.json").write_text(json.dumps(times, indent=2) + "\n", encoding="utf-8")
    (said.out / "results.json").write_text(json.dumps([r.to_dict() for r in found], indent=2) + "\n", encoding="utf-8")
    print(f"\n{said.out / 'results.json'}")
    return 0 if all(r.same_result for r in found) else 1


def _mb(value: float | None) -> str:
    return "not measured" if value is None else f"+{value:.0f} MB"


def _seconds(value: float | None) -> str:
    return "not measured" if value is None else f"{value:.2f} s"


def _load() -> str:
    return f"{os.getloadavg()[0]:.2f}" if hasattr(os, "getloadavg") else "not known"


if __name__ == "__main__":
    sys.exit(main())
