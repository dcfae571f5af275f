"""`evenstand verify`: the formulas against published figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenstand.cli.common import columns, on_terminal, print_json, shared_options

if TYPE_CHECKING:
    from evenstand.verify import Report, Sharpness


@click.command("verify")
@shared_options
@click.option(
    "--mutate", "with_mutation", is_flag=True, help="Make every number 1 % too large, one at a time, and say how many are noticed."
)
@click.option("--page", "page_path", type=click.Path(dir_okay=False, path_type=Path), help="Write the page docs/verification.md there.")
@click.pass_context
def command(ctx: click.Context, *, as_json: bool, profile: str | None, with_mutation: bool, page_path: Path | None) -> None:
    """Hold the formulas against published figures, in the units they were printed in.

    Exit code 1 if any check is red.
    """
    from evenstand.verify import mutate, page, run

    report = run()
    sharpness = mutate() if with_mutation or page_path else None
    if page_path and sharpness:
        page_path.write_text(page(report, sharpness), encoding="utf-8")
    if as_json:
        print_json(report.to_dict() | ({"mutation": sharpness.to_dict()} if sharpness else {}))
    else:
        _print_checks(report)
        click.echo(_summary(report))
        if sharpness:
            click.echo(_sharpness(sharpness))
        if page_path:
            click.echo(f"Written: {page_path}")
    ctx.exit(0 if report.ok else 1)


def _rows(report: Report) -> list[tuple[str, ...]]:
    """One line a check: function, printed, ours, within, source, seen, result, case."""
    rows: list[tuple[str, ...]] = []
    for check in (*report.checks, *report.units, *report.traps):
        worst, good = check.worst, "differs" if check.pair.trap else "agrees"
        ours = "-" if worst.computed is None else f"{worst.computed:.6g}"
        rows.append(
            (
                check.pair.function,
                f"{worst.printed} {check.pair.unit}",
                ours,
                "exactly" if check.pair.exact else f"{worst.tolerance:.2g}",
                check.pair.source,
                check.seen,
                good if check.ok else "RED",
                check.pair.case,
            )
        )
    for result in report.independent:
        how = result.check.how
        rows.append((result.check.function, "-", "-", "-", how, "independent", "agrees" if result.ok else "RED", result.check.case))
    return rows


def _print_checks(report: Report) -> None:
    """Grouped by function on a terminal, plain aligned columns with everything in a pipe."""
    rows = _rows(report)
    if not on_terminal():
        for line in columns([("function", "printed", "ours", "within", "source", "seen", "result", "case"), *rows], indent=""):
            click.echo(line)
        return
    from rich.console import Console
    from rich.table import Table

    table = Table("case", "printed", "ours", "result", box=None, pad_edge=False)
    for index in (1, 2, 3):
        table.columns[index].no_wrap = True
        table.columns[index].justify = "left" if index == 3 else "right"
    for function in sorted({row[0] for row in rows}):
        table.add_row(function, style="bold")
        own = [row for row in rows if row[0] == function]
        for row in own:
            if row[5] != "independent" or row[6] == "RED":
                table.add_row(
                    f"  {row[7]} [{row[4]}]".replace("[", "\\["), row[1], row[2], row[6], style="reverse" if row[6] == "RED" else None
                )
        agreeing = sum(row[5] == "independent" and row[6] != "RED" for row in own)
        if agreeing:
            table.add_row(f"  {agreeing} independent check{'s' if agreeing > 1 else ''}", "-", "-", "agrees", style="dim")
    Console().print(table)


def _summary(report: Report) -> str:
    c = report.counts
    return (
        f"\n{c['pairs']} pairs of {c['functions']} functions with {c['sources']} sources: "
        f"{c['read']} read, {c['second_hand']} second-hand. "
        f"{c['values']} printed values in {c['checks']} cases.\n"
        f"Apart from these: {c['traps'] + c['unit_traps']} misprints or short-cuts avoided, {c['units']} unit conversions, "
        f"{c['independent']} independent checks.\n" + ("Nothing is red." if report.ok else f"{c['red']} RED.")
    )


def _sharpness(sharpness: Sharpness) -> str:
    missed = [f"{m.function}{'.' + m.field if m.field else ''}" for m in sharpness.mutants if m.caught == "missed"]
    lines = [
        f"\nMade 1 % too large, one at a time: {len(sharpness.mutants) + len(sharpness.untouched)} numbers.",
        f"{100 * sharpness.share('published', 'independent'):.0f} % turn a check red, "
        f"{100 * sharpness.share('published'):.0f} % a published one.",
        f"Held by independent checks only: {', '.join(sharpness.only_independent) or 'none'}.",
        f"Not noticed: {', '.join(missed) or 'none'}.",
        f"Called by no check: {', '.join(sharpness.untouched) or 'none'}.",
    ]
    return "\n".join(lines)
