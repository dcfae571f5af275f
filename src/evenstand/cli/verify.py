"""`evenstand verify`: the formulas against published figures."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from evenstand.cli.common import print_json, shared_options

if TYPE_CHECKING:
    from evenstand.verify import Check, Report, Sharpness


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


def _print_checks(report: Report) -> None:
    """One line a case, gathered by topic; what is red stands out and says why. At most 100 columns."""
    from evenstand.verify.topics import by_topic

    _print_line("function", "printed, x values", "in metric", "ours", "", "source")
    for topic, checks in by_topic((c.pair.function, c) for c in report.checks).items():
        click.echo(f"\n{topic}")
        for check in sorted(checks, key=lambda c: (c.seen != "read", c.pair.function, c.pair.source)):
            _print_check(check)
    _section("Unit conversions", report.units)
    _section("Misprints and short-cuts that ours must not repeat", report.traps)
    click.echo("\nIndependent checks: against an inverse, a closed form or another library")
    for topic, results in by_topic((r.check.function, r) for r in report.independent).items():
        red = [r for r in results if not r.ok]
        click.echo(f"  {topic + ':':<42}{len(results) - len(red):>4} agree" + (f", {len(red)} RED" if red else ""))
        for result in red:
            click.echo(_fitted(f"    RED {result.check.function}, {result.check.case} ({result.check.how})"))


def _section(title: str, checks: tuple[Check, ...]) -> None:
    if checks:
        click.echo(f"\n{title}")
    for check in checks:
        _print_check(check)


def _print_check(check: Check) -> None:
    """Function, printed, in metric, ours, source; the case below only where it is red."""
    from evenstand.verify.metric import figure_text
    from evenstand.verify.pairs import half_last_digit, printed_value

    pair, worst, metric = check.pair, check.worst, check.metric
    within = abs((half_last_digit(worst.printed) if pair.exact else worst.tolerance) * metric.factor)
    ours = "-" if worst.computed is None else figure_text(metric.of(worst.computed), within)
    same = metric.unit == pair.unit
    metric_text = "" if same else f"{figure_text(metric.of(printed_value(worst.printed)), within)} {metric.unit}"
    many = f" x{len(check.values)}" if len(check.values) > 1 else ""
    mark = "RED" if not check.ok else "2nd" if check.seen == "second-hand" else ""
    _print_line(pair.function.rpartition(".")[2], f"{worst.printed} {pair.unit}{many}", metric_text, ours, mark, pair.source)
    if not check.ok:
        error = f": {worst.error}" if worst.error else ""
        click.echo(_fitted(f"      {pair.case}, {worst.label}" if worst.label else f"      {pair.case}"))
        click.echo(_fitted(f"      the print is right to {worst.tolerance:.2g} {pair.unit}{error}"))


def _print_line(*cells: str) -> None:
    texts = (f"{_fitted(text, width - 1):<{width}}" for text, width in zip(cells[:-1], (25, 19, 17, 10, 4), strict=True))
    click.echo(_fitted("  " + "".join(texts) + cells[-1]).rstrip())


def _fitted(text: str, width: int = 100) -> str:
    """Text of at most that many columns; what is cut ends in two points."""
    return text if len(text) <= width else text[: width - 2] + ".."


def _summary(report: Report) -> str:
    c = report.counts
    return (
        f"\n{c['pairs']} pairs of {c['functions']} functions with {c['sources']} sources: "
        f"{c['read']} read, {c['second_hand']} second-hand (2nd above).\n"
        f"{c['values']} printed values in {c['checks']} cases; of a table the value furthest off is shown.\n"
        f"Apart from these: {c['traps'] + c['unit_traps']} misprints or short-cuts avoided, {c['units']} unit conversions, "
        f"{c['independent']} independent checks.\n" + ("Nothing is red." if report.ok else f"{c['red']} RED.")
    )


def _sharpness(sharpness: Sharpness) -> str:
    from evenstand.cli.common import wrapped

    missed = [f"{m.function}{'.' + m.field if m.field else ''}" for m in sharpness.mutants if m.caught == "missed"]
    numbers = len(sharpness.mutants) + len(sharpness.untouched)
    lines = [
        f"Of {numbers} numbers made 1 % too large, one at a time, {100 * sharpness.share('published', 'independent'):.0f} % turn a check "
        f"red, {100 * sharpness.share('published'):.0f} % a published one.",
        f"Held by independent checks only: {', '.join(sharpness.only_independent) or 'none'}.",
        f"Not noticed: {', '.join(missed) or 'none'}.",
        f"Called by no check: {', '.join(sharpness.untouched) or 'none'}.",
    ]
    return "\n" + "\n".join(wrapped(line, indent="", width=100) for line in lines)
