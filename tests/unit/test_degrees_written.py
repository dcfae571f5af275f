"""Positions in degrees written out or run together."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import polars as pl
import pytest

from evenstand.base.errors import InputError
from evenstand.formats.angles import degrees_column, degrees_of, from_run_together
from evenstand.trail import read_trail

WRITTEN = [
    ("50° 12' 30\" N", 50 + 12.5 / 60), ("105°30.6'W", -105.51), ("W105 30.6", -105.51), ("-105,51", -105.51), ("50:12:30.0", 50 + 12.5 / 60),
    ("S 33 52 10.5", -(33 + 52 / 60 + 10.5 / 3600)), ("50.2083 N", 50.2083), ("50 12.5′", 50 + 12.5 / 60), ("105.51°W", -105.51),
]  # fmt: skip
NONE = ["", "north", "50° 72' N", "N 50 12 N", "-50 12 S", "50.5 12.3", "1 2 3 4", "5012.5.2"]


@pytest.mark.parametrize(("text", "want"), WRITTEN)
def test_written_degrees(text: str, want: float) -> None:
    assert degrees_of(text) == pytest.approx(want, abs=1e-12)


@pytest.mark.parametrize("text", NONE)
def test_what_is_no_angle_is_none(text: str) -> None:
    assert math.isnan(degrees_of(text))


def test_the_column_reads_every_cell_as_the_single_reader_does() -> None:
    cells = [t for t, _ in WRITTEN] + NONE
    column = pl.DataFrame({"a": cells}).select(degrees_column(pl.col("a")).alias("b"))["b"].to_list()
    single = [degrees_of(c) for c in cells]
    assert [math.nan if v is None else v for v in column] == pytest.approx(single, nan_ok=True, abs=1e-12)


def test_run_together() -> None:
    assert from_run_together(np.array([4355.6, -10530.6])) == pytest.approx([43 + 55.6 / 60, -(105 + 30.6 / 60)])


def write(folder: Path, lat: list[str], lon: list[str]) -> Path:
    path = folder / "log.csv"
    rows = [f"2026-05-12T14:00:{k:02d}Z;{a};{o}" for k, (a, o) in enumerate(zip(lat, lon, strict=True))]
    path.write_text("\n".join(["time;latitude;longitude", *rows]) + "\n", encoding="utf-8")
    return path


def test_the_same_log_in_four_writings_gives_the_same_way(tmp_path: Path) -> None:
    lat, lon = 50.2 + np.arange(30) * 1e-5, np.full(30, -105.51)
    minutes = [f"{int(v)}°{(v % 1) * 60:.6f}'N" for v in lat]
    seconds = [f"{int(v)} {int((v % 1) * 60)} {(v % 1 * 60 % 1) * 60:.4f}" for v in lat]
    together = [f"{int(v) * 100 + (v % 1) * 60:.6f}" for v in lat]
    plain = read_trail(write(tmp_path, [f"{v:.7f}" for v in lat], [f"{v:.7f}" for v in lon]))
    for a, o in ((minutes, ["105°30.6'W"] * 30), (seconds, ["-105 30 36.0"] * 30), (together, ["-10530.6"] * 30)):
        got = read_trail(write(tmp_path, a, o))
        assert got.rows == got.kept == 30
        assert np.abs(got.xy_m - plain.xy_m).max() < 0.02
        assert got.frame.lon_deg == pytest.approx(plain.frame.lon_deg)


def test_degrees_run_together_without_a_sign_are_asked_about(tmp_path: Path) -> None:
    lat = [f"{5012.0 + k * 0.0006:.4f}" for k in range(30)]
    with pytest.raises(InputError, match="without a sign for south or west"):
        read_trail(write(tmp_path, lat, ["10530.6000"] * 30))
