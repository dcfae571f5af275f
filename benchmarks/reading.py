"""From a log file to its covered area, as whole processes: ours against pandas and polars with GEOS.

The peers know the columns, units and coordinate system and check nothing; ours finds out what each column is, judges every row
and says what it set aside. All build the same node pairs by the same code, as the union is what differs there. Every process finds the byte
code of what it imports kept in a folder, as it would be of an installed package.
"""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

from benchmarks.logs import SECTIONS, straight
from benchmarks.timing import Result, compare

OURS = """
import sys
from benchmarks.logs import outfit
from evenstand.trail import coverage, read_trail
print(coverage(read_trail(sys.argv[1]), outfit()).covered_m2)
"""
PEER = """
import sys
import numpy as np
from benchmarks.covering import run_length
from benchmarks.logs import outfit
from evenstand.model import Frame, Trail
from evenstand.trail.stepping import steps_of
from evenstand.trail.strips import strips_of
from pyproj import Transformer
{read}
frame = Frame(lon_deg=round((lon.min() + lon.max()) / 2, 6), lat_deg=round((lat.min() + lat.max()) / 2, 6))
x, y = Transformer.from_crs("EPSG:4326", frame.proj, always_xy=True).transform(lon, lat)
trail = Trail(frame=frame, t_ms=t, xy_m=np.column_stack([x, y]), sections=on, rows=len(t), kept=len(t))
print(run_length(strips_of(trail, outfit(), steps_of(trail))))
"""
PANDAS = """
import pandas as pd
frame = pd.read_csv(sys.argv[1])
t = pd.to_datetime(frame["time"]).dt.tz_localize(None).to_numpy().astype("datetime64[ms]").astype("int64")
lon, lat = frame["longitude"].to_numpy(), frame["latitude"].to_numpy()
on = frame[[c for c in frame if c.startswith("section")]].to_numpy().astype(bool)
"""
POLARS = """
import polars as pl
sections = [f"section {k}" for k in range(1, 13)]
frame = pl.scan_csv(sys.argv[1]).select("time", "longitude", "latitude", *sections).with_columns(
    pl.col("time").str.to_datetime("%Y-%m-%dT%H:%M:%S%.3fZ", time_unit="ms")).collect()
t = frame["time"].cast(pl.Int64).to_numpy()
lon, lat = frame["longitude"].to_numpy(), frame["latitude"].to_numpy()
on = frame.select(sections).to_numpy().astype(bool)
"""
FORMS = {"ours": OURS, "polars": PEER.format(read=POLARS), "pandas": PEER.format(read=PANDAS)}


def written(rows: int, seed: int, folder: Path) -> Path:
    """A log of that many rows as text, with columns that say nothing of coverage as well."""
    from pyproj import Transformer

    path = folder / f"log-{rows}-{seed}.csv"
    if path.exists():
        return path
    trail = straight(rows, seed)
    rng = np.random.default_rng(seed)
    lon, lat = Transformer.from_crs(trail.frame.proj, "EPSG:4326", always_xy=True).transform(trail.xy_m[:, 0], trail.xy_m[:, 1])
    stamps = np.datetime_as_string((trail.t_ms + 1_778_571_000_000).astype("datetime64[ms]"))
    speed = np.full(trail.n, 9.0) + rng.normal(0, 0.05, trail.n)
    rate = 118 + rng.normal(0, 1, trail.n)
    names = ["time", "longitude", "latitude", "speed_km_h", "echoed_kg_ha_A", *(f"section {k + 1}" for k in range(SECTIONS))]
    on = np.asarray(trail.sections).astype(np.int8)
    with path.open("w", encoding="ascii") as out:
        out.write(",".join(names) + "\n")
        for k in range(trail.n):
            out.write(f"{stamps[k]}Z,{lon[k]:.9f},{lat[k]:.9f},{speed[k]:.2f},{rate[k]:.1f}," + ",".join(map(str, on[k])) + "\n")
    return path


def _setting(folder: Path, **more: str) -> dict[str, str]:
    """The environment of every process: byte code is kept in a folder beside the logs."""
    kept = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    return {**kept, "PYTHONPYCACHEPREFIX": str(folder / "bytecode"), **more}


def run(form: str, path: Path) -> float:
    """A whole process. [m²]"""
    done = subprocess.run(
        [sys.executable, "-c", FORMS[form], str(path)], capture_output=True, text=True, check=True, env=_setting(path.parent)
    )
    return float(done.stdout)


def peak_mb(form: str, path: Path) -> float | None:
    """Most memory a whole process took by its own account; None where the system does not tell. [MB]

    What `wait4` says of a child is no use here: it counts the memory of the process that started it.
    """
    if not Path("/proc/self/status").exists():
        return None
    told = FORMS[form] + "\nprint(next(line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')))\n"
    done = subprocess.run([sys.executable, "-c", told, str(path)], capture_output=True, text=True, check=True, env=_setting(path.parent))
    return float(done.stdout.split()[-1]) / 1024.0


def first_use_s(path: Path) -> float:
    """A whole process of ours on a machine that has kept no compiled code yet. [s]"""
    with tempfile.TemporaryDirectory() as empty:
        env = _setting(path.parent, NUMBA_CACHE_DIR=empty)
        begin = time.perf_counter()
        subprocess.run([sys.executable, "-c", OURS, str(path)], capture_output=True, check=True, env=env)
        return time.perf_counter() - begin


def results(*, seed: int, turns: int, quick: bool) -> list[Result]:
    """log_to_area at 100 thousand rows, and a million unless quick, against polars and, where it is installed, pandas."""
    out = []
    peers = ["polars"]
    try:
        import pandas  # noqa: F401

        peers.append("pandas")
    except ImportError:
        print("\nlog_to_area: pandas is not installed; polars is the peer")
    with tempfile.TemporaryDirectory() as folder:
        for form in ("ours", *peers):  # byte code is kept on disk
            run(form, written(60_000, seed, Path(folder)))
        first = first_use_s(written(60_000, seed, Path(folder)))
        for rows in (100_000,) if quick else (1_000_000, 100_000):
            log = written(rows, seed, Path(folder))
            for peer in peers:
                note = (
                    f"{rows} rows; whole process from the file to the area, so every turn is a cold start; memory of whole processes; "
                    "ours also understands, checks and accounts for every row; byte code kept for all; the very first use on a machine "
                    f"took {first:.1f} s on 60000 rows"
                )
                out.append(
                    compare(
                        "log_to_area", f"{peer} and GEOS union of run-length strips", lambda s, n=rows: written(n, s, Path(folder)),
                        lambda path: run("ours", path), lambda path, form=peer: run(form, path), seed=seed, turns=turns, tolerance=1e-6,
                        size=rows, note=note, memory=(peak_mb("ours", log), peak_mb(peer, log)),
                    )
                )  # fmt: skip
    return out
