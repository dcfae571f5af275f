"""The command line: one file per command, each loaded only when it is called."""

from __future__ import annotations

import importlib
import sys

import click

from evenstand import __version__
from evenstand.base.errors import EvenstandError

COMMANDS = {
    "demo": "Build the demo farm and run the main job on it.",
    "serve": "Open a book as a local site.",
    "plan": "What the numbers should be, from as little as is known.",
    "card": "The value card: every value and alarm, or what it still needs.",
    "sheet": "Write the sheets for cab, shed and pocket.",
    "catch": "Catch test: what came out of the meter, and whether it is enough.",
    "fill": "Fill check: hectares, what went in, what is left, in one sentence.",
    "trail": "Read what a machine recorded: columns, coverage, report.",
    "tally": "What went where: the mass balance of every product.",
    "check": "Whether to believe the numbers, and which cause explains them.",
    "call": "The telephone: type what the caller reads, no book needed.",
    "next": "What to do next, and what waiting costs.",
    "window": "Fan, meter and speed windows: what to set, within which limits.",
    "drill": "Six readings, what is wrong? Scored; and a page about each number of the cab.",
    "stand": "Count the stand: how thick, how sure, keep it or not, and why it is thin.",
    "blend": "The cheapest products for a need, within bins and limits; or what a given blend does.",
    "verify": "Hold the formulas against published figures.",
    "book": "Make, look into, publish and merge a book.",
}
_MODULES = {"catch": "catching", "next": "nexts"}


class _Lazy(click.Group):
    """Lists commands without importing them."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in COMMANDS:
            return None
        module = importlib.import_module(f"evenstand.cli.{_MODULES.get(cmd_name, cmd_name)}")
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(COMMANDS.items()))


@click.command(cls=_Lazy, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.version_option(__version__, prog_name="evenstand")
def cli() -> None:
    """Air seeding: what the numbers should be, whether to believe them, and what to do next.

    Exit codes: 0 done, 1 something does not hold, 2 the input is wrong.
    """


def main() -> None:
    """Run the command line; every designed error becomes its lines on standard error and exit code 2."""
    try:
        code = cli.main(prog_name="evenstand", standalone_mode=False)
        sys.stdout.flush()
    except EvenstandError as error:
        _report(error)
        sys.exit(error.exit_code)
    except click.exceptions.Abort:
        click.echo("Stopped.", err=True)
        sys.exit(130)
    except click.ClickException as error:
        error.show()
        sys.exit(2)
    except BrokenPipeError:  # the reader, such as head, has had enough
        _drop_output()
        sys.exit(0)
    except SystemExit:
        if hasattr(sys.stdout, "wrapped"):  # click has met the same closed pipe, and would make it exit code 1
            sys.exit(0)
        raise
    except OSError as error:
        name = f"{error.filename}: " if error.filename and len(str(error.filename)) < 200 else ""
        why = error.strerror or str(error)[:200]
        click.echo(f"{name}the system refuses ({why}). Look at the name, the rights and the room left.", err=True)
        _drop_output()
        sys.exit(2)
    sys.exit(code if isinstance(code, int) else 0)


def _drop_output() -> None:
    """What is still waiting for standard output goes nowhere, so that nothing is raised at the very end."""
    import os

    os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())


def _report(error: EvenstandError) -> None:
    """The error as JSON where the command was asked for JSON, else one line a fault."""
    if "--json" in sys.argv:
        import json

        click.echo(json.dumps(error.to_dict(), ensure_ascii=False, indent=2))
    from evenstand.base.units import restated_fault
    from evenstand.cli.common import units_in_force

    for fault in error.faults:
        click.echo(f"{restated_fault(fault, units_in_force())}", err=True)
