"""`evenstand trail export` of a log too large to be read whole: progress, Ctrl-C, going on, and what the other commands say."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import jsonschema
import polars as pl
import pytest
from click.testing import CliRunner
from tests.hard_logs import mixed, plain

from evenstand.base.errors import FileError
from evenstand.cli.trail import command
from evenstand.formats import opening
from evenstand.formats.parquet import read_trail_parquet
from evenstand.formats.streaming import parts_of
from evenstand.trail import read_trail


def invoke(*words: str) -> tuple[int, str]:
    result = CliRunner().invoke(command, list(words), standalone_mode=False)
    if result.exception:
        raise result.exception
    return result.return_value, result.output


@pytest.fixture
def log(tmp_path: Path) -> Path:
    path = tmp_path / "day.csv"
    path.write_text("\n".join(mixed(400)) + "\n")
    return path


@pytest.fixture
def large(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every log counts as large."""
    monkeypatch.setattr(opening, "LARGE_BYTES", 1000)


@pytest.mark.usefixtures("large")
def test_a_large_log_is_exported_in_blocks_and_the_same_is_read_from_it(log, tmp_path, root, monkeypatch):
    out = tmp_path / "day.parquet"
    code, text = invoke("export", str(log), str(out), "--json")
    data = json.loads(text)
    jsonschema.validate(data, json.loads((root / "docs" / "schemas" / "trail-export.json").read_text()))
    assert code == 0 and (data["blocks"], data["resumed"]) == (1, 0)
    monkeypatch.setattr(opening, "LARGE_BYTES", 10**9)
    whole, back = read_trail(log), read_trail(out)
    assert (data["rows"], data["kept"], data["start_ms"], data["end_ms"]) == (whole.rows, whole.kept, whole.t_ms[0], whole.t_ms[-1])
    assert back.repaired == whole.repaired and back.set_aside == whole.set_aside and back.notes == whole.notes
    assert (back.t_ms == whole.t_ms).all()
    assert data["sections"] == 1 + ("section_2" in pl.read_parquet(out).columns)


@pytest.mark.usefixtures("large")
def test_a_large_log_is_not_read_whole_and_the_cure_is_named(log, tmp_path):
    for words in (("read",), ("report", "--outfit-width", "16 m"), ("export", str(tmp_path / "a.csv"))):
        with pytest.raises(FileError, match="Export it first: evenstand trail export"):
            invoke(words[0], str(log), *words[1:])
    assert not (tmp_path / "a.csv").exists()


def test_a_trail_of_very_many_rows_is_told_of_by_its_accounts(log, tmp_path, root, monkeypatch):
    out = tmp_path / "day.parquet"
    assert invoke("export", str(log), str(out))[0] == 0
    whole, whole_text = (invoke("read", str(out), *more)[1] for more in (("--json",), ()))
    monkeypatch.setattr(opening, "MANY_ROWS", 10)
    code, told = invoke("read", str(out), "--json")
    jsonschema.validate(json.loads(told), json.loads((root / "docs" / "schemas" / "trail-read.json").read_text()))
    assert code == 0 and json.loads(told) == json.loads(whole)
    text = invoke("read", str(out))[1]
    assert whole_text.strip() in text and f"{read_trail(out).n:,} rows" in text


def test_strict_writes_nothing_if_a_row_has_to_be_set_aside(log, tmp_path):
    out = tmp_path / "day.parquet"
    with pytest.raises(FileError, match="below 0"):
        invoke("export", str(log), str(out), "--block-mb", "0.005", "--strict")
    assert not out.exists() and not parts_of(out).exists()


def export(log: Path, out: Path, **more: object) -> subprocess.Popen[str]:
    words = [sys.executable, "-m", "evenstand", "trail", "export", str(log), str(out), "--block-mb", "0.004"]
    return subprocess.Popen(words, text=True, stdout=subprocess.PIPE, **more)  # type: ignore[call-overload, no-any-return]


def test_ctrl_c_keeps_the_parts_says_so_and_the_same_command_goes_on(tmp_path):
    log, out = tmp_path / "day.csv", tmp_path / "day.parquet"
    log.write_text("\n".join(plain(6000)) + "\n")
    child = export(log, out, stderr=subprocess.PIPE)
    end = time.monotonic() + 60
    while len(list(parts_of(out).glob("block-*.parquet"))) < 3 and time.monotonic() < end and child.poll() is None:
        time.sleep(0.01)
    child.send_signal(signal.SIGINT)
    _, said = child.communicate(timeout=60)
    assert child.returncode == 130
    assert "the same command goes on from there" in said and str(parts_of(out)) in said
    assert "Traceback" not in said
    assert not out.exists() and len(list(parts_of(out).glob("block-*.parquet"))) >= 3
    again = export(log, out, stderr=subprocess.PIPE)
    text, said = again.communicate(timeout=120)
    assert again.returncode == 0 and said == ""
    assert "blocks had been read by an earlier call" in text
    assert (read_trail_parquet(out).t_ms == read_trail(log).t_ms).all()
    assert not parts_of(out).exists()


def test_progress_is_shown_on_a_terminal(log, tmp_path):
    pty = pytest.importorskip("pty", reason="NOT RUN HERE: this system has no pseudo-terminals")
    ours, theirs = pty.openpty()
    child = export(log, tmp_path / "day.parquet", stderr=theirs)
    os.close(theirs)
    shown = b""
    while True:
        try:
            piece = os.read(ours, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        shown += piece
    child.communicate(timeout=60)
    os.close(ours)
    assert child.returncode == 0
    assert b"reading, " in shown and b"writing, " in shown and b" %" in shown and b"\r" in shown
