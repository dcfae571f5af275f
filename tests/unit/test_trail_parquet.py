"""The Parquet form of a trail: nothing lost, absent stays absent, other files refused."""

from __future__ import annotations

import json

import numpy as np
import polars as pl
import pytest

from evenstand.base.errors import FileError, VersionError
from evenstand.formats.parquet import SCHEMA, frame_of, head_of, read_trail_parquet, write_trail_parquet
from evenstand.trail import read_trail
from made_trails import log_lines, passes_trail, write_log


def test_a_trail_comes_back_whole(tmp_path):
    lines = log_lines()
    lines[10] = lines[10].replace(",7.2,", ",fast,")
    lines[20] = lines[20].replace(",7.2,", ",-1,")
    trail = read_trail(write_log(tmp_path / "a.csv", lines))
    write_trail_parquet(trail, tmp_path / "a.parquet")
    back = read_trail(tmp_path / "a.parquet")
    for name in trail.__slots__:
        one, other = getattr(trail, name), getattr(back, name)
        if isinstance(one, np.ndarray):
            assert np.array_equal(one, other, equal_nan=one.dtype.kind == "f"), name
        elif name != "extra":
            assert one == other, name


def test_absent_columns_are_absent_and_absent_cells_are_null(tmp_path):
    trail = passes_trail()
    speed = np.full(trail.n, 2.0)
    speed[3] = np.nan
    write_trail_parquet(type(trail)(frame=trail.frame, t_ms=trail.t_ms, xy_m=trail.xy_m, speed_m_s=speed), tmp_path / "t.parquet")
    table = pl.read_parquet(tmp_path / "t.parquet")
    assert set(table.columns) == {"t_ms", "x_m", "y_m", "speed_m_s"}
    assert table["speed_m_s"].null_count() == 1
    back = read_trail_parquet(tmp_path / "t.parquet")
    assert back.sections is None
    assert back.lifted is None
    assert np.isnan(back.speed_m_s[3])


def test_columns_and_words_of_a_later_release_are_passed_over_and_what_does_not_add_up_is_refused(tmp_path):
    trail = passes_trail()
    frame = frame_of(trail).with_columns(pl.lit("later").alias("colour"), pl.lit("x").alias("section_colour"))
    path = tmp_path / "later.parquet"
    frame.write_parquet(path, metadata={SCHEMA: json.dumps(head_of(trail) | {"colours": ["x"]})})
    assert np.array_equal(read_trail_parquet(path).xy_m, trail.xy_m)
    for change, says in (
        ({"kept": trail.kept - 1}, "are not the"),
        ({"frame": {"lon_deg": 500.0, "lat_deg": 51.0, "height_m": 0.0}}, "frame"),
        ({"set_aside_unlisted": -1}, "set_aside_unlisted"),
    ):
        frame_of(trail).write_parquet(path, metadata={SCHEMA: json.dumps(head_of(trail) | change)})
        with pytest.raises(FileError, match=says):
            read_trail_parquet(path)
    for broken in (frame.drop("y_m"), frame.with_columns(pl.lit(None, dtype=pl.Int64).alias("t_ms")), frame.reverse()):
        broken.write_parquet(path, metadata={SCHEMA: json.dumps(head_of(trail))})
        with pytest.raises(FileError, match="damaged: column"):
            read_trail_parquet(path)


def test_other_parquet_files_newer_ones_and_broken_ones_are_refused(tmp_path):
    pl.DataFrame({"a": [1]}).write_parquet(tmp_path / "other.parquet")
    with pytest.raises(FileError, match="no trail written by"):
        read_trail(tmp_path / "other.parquet")
    pl.DataFrame({"a": [1]}).write_parquet(tmp_path / "new.parquet", metadata={SCHEMA: json.dumps({"version": 99})})
    with pytest.raises(VersionError, match="version 99"):
        read_trail(tmp_path / "new.parquet")
    whole = (tmp_path / "other.parquet").read_bytes()
    (tmp_path / "cut.parquet").write_bytes(whole[: len(whole) // 2])
    with pytest.raises(FileError, match="damaged"):
        read_trail(tmp_path / "cut.parquet")
