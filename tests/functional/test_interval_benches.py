"""The benches of intervals run, write what they print, and say when an interval is outside the bar."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from benchmarks import fill_bands, seasons, tally_seasons


def test_the_bench_of_fills_writes_every_way_and_world(tmp_path, capsys) -> None:
    assert fill_bands.main(["--fills", "25", "--out", str(tmp_path)]) == 0
    told = json.loads((tmp_path / "fill_bands.json").read_text(encoding="utf-8"))
    assert set(told["worlds"]) == set(fill_bands.WORLDS)
    assert set(told["worlds"]["nominal"]) == set(fill_bands.WAYS)
    assert [r["way"] for r in told["more"] if r["more"] is None] == ["brim"]
    assert "never by fills alone" in capsys.readouterr().out


def test_a_fill_check_that_states_half_the_doubt_is_caught(tmp_path, monkeypatch: pytest.MonkeyPatch) -> None:
    real = fill_bands.shot

    def sure(*args, **kwargs):
        s = real(*args, **kwargs)
        return replace(s, put_sd_kg=s.put_sd_kg / 2, level_sd_kg=s.level_sd_kg / 2, before_sd_kg=s.before_sd_kg / 2, dose_sd=s.dose_sd / 2)

    monkeypatch.setattr(fill_bands, "shot", sure)
    monkeypatch.setattr(fill_bands, "WORLDS", ("nominal",))
    assert fill_bands.main(["--fills", "100", "--out", str(tmp_path)]) == 1


def test_the_bench_of_sizes_counts_every_season_once(tmp_path) -> None:
    assert seasons.main(["--seasons", "40", "--named", "3", "--workers", "1", "--out", str(tmp_path)]) == 0
    told = json.loads((tmp_path / "seasons.json").read_text(encoding="utf-8"))["worlds"]
    assert set(told) == {"nominal", "rough", "hostile"}
    assert told["nominal"]["given"]["n"] == 40
    assert sum(c["n"] for c in told["nominal"]["by_kind"].values()) == 40
    assert told["nominal"]["searched"] == 3


def test_the_bench_of_bins_says_what_held_and_what_was_named(tmp_path, capsys) -> None:
    assert tally_seasons.main(["--worlds", "nominal", "--seasons", "24", "--workers", "1", "--out", str(tmp_path)]) in (0, 1)
    told = json.loads((tmp_path / "tally_seasons.json").read_text(encoding="utf-8"))["worlds"]["nominal"]
    assert told["seasons"] == 24
    assert told["missed"] == 6
    assert set(told["held"]) == set(tally_seasons.WHAT)
    assert all(told["held"][w]["n"] == 24 for w in tally_seasons.WHAT if w != "missed fill")
    assert "missed fill named on" in capsys.readouterr().out


def test_a_tally_that_is_surer_than_it_may_be_is_caught() -> None:
    told = tally_seasons.table([{**tally_seasons.judged((8_000_000 + k, "nominal")), "world": "nominal"} for k in range(24)])["nominal"]
    tight = {w: {**c, "share": 0.8, "share_95": (0.78, 0.82)} for w, c in told["held"].items()}
    text = tally_seasons.text_of({"worlds": {"nominal": {**told, "held": tight}}})
    assert text.count(" OUT") == len(tally_seasons.WHAT)
