"""`evenstand trail export` of a log too large for memory: progress on a terminal, and going on where it was stopped."""

from __future__ import annotations

import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from evenstand.base.errors import Fault, FileError
from evenstand.cli.common import print_json, wrapped

INTERRUPTED = 130
SHOWN_FAULTS = 20


def export_in_blocks(path: Path, out: Path, block_mb: float | None, as_json: bool, said: dict[str, Any]) -> int:
    """Write a log as Parquet block by block; gives the exit code."""
    from evenstand.cli.logs import read_dict, sum_text
    from evenstand.formats.overriding import told_uses
    from evenstand.formats.streaming import BLOCK_BYTES, parts_of, stream_log

    answers = {k: said[k] for k in ("recipe", "crs", "start", "zone", "truncated_ok")} | {"columns": told_uses(said["columns"])}
    tell, wipe = _progress()
    try:
        done = stream_log(path, out, block_bytes=round(block_mb * 1e6) if block_mb else BLOCK_BYTES, progress=tell, **answers)
    except KeyboardInterrupt:
        wipe()
        if parts_of(out).exists():
            click.echo(f"Stopped. What is done is kept in {parts_of(out)}; the same command goes on from there.", err=True)
        else:
            click.echo("Stopped. Nothing was written.", err=True)
        return INTERRUPTED
    finally:
        wipe()
    account = done.account
    if said["strict"] and account.set_aside_rows:
        out.unlink()
        cure = "Correct the row, or read without --strict."
        faults = [Fault(where=f"{path.name}, line {r.line}", what=r.reason, cure=cure) for r in account.set_aside[:SHOWN_FAULTS]]
        raise FileError(faults)
    if as_json:
        told = read_dict(account) | {"start_ms": done.start_ms, "end_ms": done.end_ms, "sections": done.sections}
        print_json({"file": path.name, "out": str(out), **told, "blocks": done.blocks, "resumed": done.resumed})
        return 0
    click.echo(f"  {out}: {done.points:,} rows. {sum_text(account)}")
    if done.resumed:
        click.echo(f"  {done.resumed} of {done.blocks} blocks had been read by an earlier call.")
    for note in account.notes:
        click.echo(wrapped(f"· {note}"))
    return 0


def tell_account(path: Path, as_json: bool) -> int:
    """Tell of a trail of very many rows what its accounts say; gives the exit code."""
    from evenstand.cli.logs import read_dict, rows_text
    from evenstand.formats.parquet import read_account

    account, count, first, last = read_account(path)
    if as_json:
        print_json({"file": path.name, **read_dict(account), "start_ms": first, "end_ms": last, "columns": [], "questions": []})
        return 0
    click.echo(f"{path.name}: {count:,} rows")
    for line in rows_text(account):
        click.echo(line)
    return 0


def _progress() -> tuple[Callable[[str, float], None] | None, Callable[[], None]]:
    """What shows the progress, and what takes it away; nothing unless standard error is a terminal."""
    if not sys.stderr.isatty():
        return None, lambda: None

    def tell(what: str, share: float) -> None:
        sys.stderr.write(f"\r\x1b[2K  {what}, {100 * share:.0f} %")
        sys.stderr.flush()

    def wipe() -> None:
        sys.stderr.write("\r\x1b[2K")
        sys.stderr.flush()

    return tell, wipe
