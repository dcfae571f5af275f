"""`python -m benchmarks.streaming`: a log of many gigabytes through `evenstand trail export` in little memory, killed half way and resumed.

Writes a log (EVENSTAND_STRESS_MB, 5000 unless told), exports it in a process whose resident memory is watched and which is stopped if it
goes above the limit, kills that process half way, runs it again, and prints peaks, times and rows. Then the same for a smaller log that
nobody kills, and for the same smaller log killed: both must give the same bytes.
"""

from __future__ import annotations

import argparse
import os
import shutil
import subprocess
import sys
import tempfile
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

LIMIT_MB = 1024
TEMPLATE_ROWS = 40_000
START_MS = 1_809_439_200_000
STEP_MS = 200
SECTIONS = 8
HEAD = (
    "time,longitude,latitude,speed (km/h),heading,"
    + ",".join(f"section {k + 1}" for k in range(SECTIONS))
    + ",lifted,total distance (m),rate target A (kg/ha),rate applied A (kg/ha),fan (rpm),moisture,operator,message\n"
)
MEMORY = """
import sys
from evenstand.cli import main
try:
    main()
finally:
    sys.stdout.flush()
    for line in open("/proc/self/status"):
        if line.startswith("VmHWM"):
            print("peak kB", line.split()[1], file=sys.stderr)
"""


@dataclass(frozen=True, slots=True, kw_only=True)
class Ran:
    """One process: its peak of resident memory [MB], its time [s], whether it was killed, what it said."""

    peak_mb: float
    seconds: float
    killed: bool
    code: int
    said: str


def template(rows: int, seed: int) -> tuple[np.ndarray, dict[str, slice]]:
    """Rows of text of one length as a matrix of bytes, and where the cells that change stand."""
    rng = np.random.default_rng(seed)
    i = np.arange(rows)
    on = (i[:, None] // 150 + np.arange(SECTIONS)) % 11 > 0
    rate = 118 + rng.normal(0, 1.5, rows)
    fan = 4100 + rng.normal(0, 20, rows)
    lines = []
    for k in range(rows):
        cells = [
            "2027-05-04T00:00:00.000Z", "-105.000000000", "51.000000000", f"{9 + rate[k] % 0.5:05.2f}", f"{(k // 4000 % 2) * 180:05.1f}",
            *("1" if v else "0" for v in on[k]), "1" if k % 4000 > 3900 else "0", "000000000.00", "118.0", f"{rate[k]:05.1f}",
            f"{fan[k]:06.1f}", f"{12 + rate[k] % 3:04.1f}" if k % 9 else "    ", '"north quarter, first pass"', f"message {k % 97:02d}",
        ]  # fmt: skip
        lines.append(",".join(cells))
    width = {len(line) for line in lines}
    if len(width) != 1:
        raise ValueError(f"rows of {sorted(width)} bytes")
    _spoil(lines)
    matrix = np.frombuffer(("\n".join(lines) + "\n").encode(), dtype=np.uint8).reshape(rows, width.pop() + 1).copy()
    at, where = 0, {}
    for name, cell in zip(HEAD.split(","), lines[0].split(","), strict=False):
        where[name] = slice(at, at + len(cell))
        at += len(cell) + 1
    return matrix, where


def _spoil(lines: list[str]) -> None:
    """A few rows with what a reader must mend or set aside, at their old length."""
    for k in range(700, len(lines), 5000):
        lines[k] = lines[k].replace("118.0", "-18.0", 1)
        lines[k + 10] = lines[k + 10].replace("118.0", "fast.", 1)
        lines[k + 20] = lines[k + 20].replace(",0,000000000.00", ", ,000000000.00", 1)


def write_log(path: Path, megabytes: int, seed: int = 7) -> int:
    """Write a log of about so many megabytes; gives its rows. The same template again and again, its times and places moving on."""
    matrix, where = template(TEMPLATE_ROWS, seed)
    size = matrix.shape[1]
    count = max(1, round(megabytes * 1e6 / size / TEMPLATE_ROWS))
    i = np.arange(TEMPLATE_ROWS)
    lane = np.where(i // 4000 % 2 == 0, i % 4000, 3999 - i % 4000)
    with path.open("wb") as file:
        file.write(HEAD.encode())
        for k in range(count):
            n = i + k * TEMPLATE_ROWS
            stamp = np.datetime_as_string((START_MS + n * STEP_MS).astype("datetime64[ms]")).astype("S23")
            matrix[:, where["time"]][:, :23] = stamp.view(np.uint8).reshape(-1, 23)
            _digits(matrix[:, where["latitude"]], 51_000_000_000 + lane * 4_500 + (k % 40) * 11, 9)
            _digits(matrix[:, where["longitude"]][:, 1:], 105_000_000_000 + (i // 4000 + 10 * (k % 400)) * 200_000, 9)
            _digits(matrix[:, where["total distance (m)"]], n * 50, 2)
            order = i.copy()
            order[1234], order[1236] = 1236, 1234
            file.write(matrix[order].tobytes())
            if k % 3 == 1:
                file.write(matrix[-1].tobytes())  # a row twice
    return count * TEMPLATE_ROWS + sum(k % 3 == 1 for k in range(count))


def _digits(cells: np.ndarray, value: np.ndarray, places: int) -> None:
    """Write whole numbers as decimals of so many places into cells of bytes."""
    width = cells.shape[1]
    value = value.copy()
    for column in range(width - 1, -1, -1):
        if column == width - 1 - places:
            cells[:, column] = ord(".")
            continue
        cells[:, column] = 48 + value % 10
        value //= 10


def export(log: Path, out: Path, *, kill_after_blocks: int | None = None, limit_mb: float = LIMIT_MB) -> Ran:
    """Run `evenstand trail export` in a process of its own, watched; killed once so many blocks are done, or if it needs too much.

    Raises
    ------
    MemoryError
        If its resident memory goes above the limit.
    """
    began = time.perf_counter()
    command = [sys.executable, "-c", MEMORY, "trail", "export", str(log), str(out)]
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True, env=_environment())
    peak, killed = 0.0, False
    while child.poll() is None:
        peak = max(peak, _peak_mb(child.pid))
        if peak > limit_mb:
            child.kill()
            child.wait()
            raise MemoryError(f"{peak:.0f} MB resident, above the limit of {limit_mb:.0f} MB")
        if kill_after_blocks is not None and len(list(out.with_name(f"{out.name}.parts").glob("block-*.parquet"))) >= kill_after_blocks:
            child.kill()
            killed = True
            break
        time.sleep(0.02)
    _, said = child.communicate()
    for line in said.splitlines():
        if line.startswith("peak kB"):
            peak = max(peak, float(line.split()[2]) / 1000)
    return Ran(peak_mb=peak, seconds=time.perf_counter() - began, killed=killed, code=child.returncode, said=said)


def _environment() -> dict[str, str]:
    root = Path(__file__).resolve().parent.parent
    return {**os.environ, "PYTHONPATH": os.pathsep.join([str(root / "src"), os.environ.get("PYTHONPATH", "")])}


def _peak_mb(pid: int) -> float:
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmHWM"):
                return float(line.split()[1]) / 1000
    except OSError:
        pass
    return 0.0


def rows_in(out: Path) -> tuple[int, dict[str, int]]:
    """Rows of the Parquet file, and what its metadata says of them."""
    import json

    import polars as pl

    from evenstand.formats.parquet import SCHEMA

    head = json.loads(pl.read_parquet_metadata(out)[SCHEMA])
    aside = len(head["set_aside"]) + head.get("set_aside_unlisted", 0)
    mended = len(head["repaired"]) + head.get("repaired_unlisted", 0)
    rows = int(pl.scan_parquet(out).select(pl.len()).collect().item())
    return rows, {"rows": head["rows"], "kept": head["kept"], "repaired": mended, "set_aside": aside}


def main() -> int:
    """Run, print; 1 if anything does not hold."""
    parser = argparse.ArgumentParser(prog="python -m benchmarks.streaming", description=__doc__)
    parser.add_argument("--mb", type=int, default=int(os.environ.get("EVENSTAND_STRESS_MB", "5000")), help="size of the log")
    parser.add_argument("--small-mb", type=int, default=300, help="size of the log read with and without a kill")
    parser.add_argument("--limit-mb", type=float, default=LIMIT_MB, help="most resident memory")
    said = parser.parse_args()
    if not Path("/proc/self/status").exists():
        print("NOT RUN HERE: this system does not tell what memory a process uses (/proc)")
        return 0
    with tempfile.TemporaryDirectory(prefix="evenstand-stress-") as name:
        folder = Path(name)
        room = shutil.disk_usage(folder).free / 1e6
        if room < 2.2 * said.mb:
            print(f"NOT RUN HERE: {room:,.0f} MB free in {folder.parent}, {2.2 * said.mb:,.0f} MB needed")
            return 1
        good = _large(folder, said.mb, said.limit_mb)
        return 0 if _small(folder, said.small_mb, said.limit_mb) and good else 1


def _large(folder: Path, megabytes: int, limit_mb: float) -> bool:
    log, out = folder / "large.csv", folder / "large.parquet"
    began = time.perf_counter()
    written = write_log(log, megabytes)
    size = log.stat().st_size / 1e6
    print(f"{size:,.0f} MB, {written:,} rows written in {time.perf_counter() - began:.0f} s", flush=True)
    first = export(log, out, kill_after_blocks=max(1, round(size * 1e6 / (32 << 20) / 2)), limit_mb=limit_mb)
    there = "there" if out.exists() else "not there"
    print(f"killed half way after {first.seconds:.0f} s, peak {first.peak_mb:.0f} MB; the output is {there}", flush=True)
    second = export(log, out, limit_mb=limit_mb)
    print(f"resumed and done in {second.seconds:.0f} s, peak {second.peak_mb:.0f} MB of {limit_mb:.0f}")
    if second.code:
        print(second.said)
        return False
    points, told = rows_in(out)
    pace = size / (first.seconds + second.seconds)
    print(f"{pace:.0f} MB a second; {points:,} rows in a Parquet file of {out.stat().st_size / 1e6:,.0f} MB; {told}", flush=True)
    log.unlink()
    out.unlink()
    adds_up = told["rows"] == written == told["kept"] + told["repaired"] + told["set_aside"]
    return first.killed and adds_up and points == told["kept"] + told["repaired"]


def _small(folder: Path, megabytes: int, limit_mb: float) -> bool:
    log, straight, killed = folder / "small.csv", folder / "straight.parquet", folder / "killed.parquet"
    write_log(log, megabytes)
    ran = export(log, straight, limit_mb=limit_mb)
    export(log, killed, kill_after_blocks=3, limit_mb=limit_mb)
    export(log, killed, limit_mb=limit_mb)
    same = straight.read_bytes() == killed.read_bytes()
    gives = "the same bytes" if same else "OTHER BYTES"
    print(f"{megabytes} MB: {ran.seconds:.0f} s, peak {ran.peak_mb:.0f} MB; killed and resumed it gives {gives}", flush=True)
    return same


if __name__ == "__main__":
    sys.exit(main())
