"""What all commands about a book share: its folder, `--json`, `--who`."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

folder_argument = click.argument("folder", type=click.Path(path_type=Path), envvar="EVENSTAND_BOOK")
json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON (schemas in docs/schemas).")
who_option = click.option("--who", default="", help="Who writes, for history; your login name if left out.")


def quoted(folder: Path) -> str:
    """A path as it is typed at a shell. [text]"""
    return shlex.quote(str(folder))
