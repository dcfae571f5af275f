"""`evenstand stand`: typed counts -> stand, survival achieved, keep or reseed, depth, and what made it thin."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile, shown, shown_value
from evenstand.cli.common import print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand import agronomy
    from evenstand.desk.stands import StandAnswer

INTERVALS = ("quasi-poisson", "negative-binomial", "t", "poisson")
OPTIONS: tuple[tuple[str, str], ...] = (
    ("--row", "Length of row counted at each place, such as '1 m'."),
    ("--spacing", "Distance between rows."),
    ("--rows", "Rows counted side by side; 1 without it."),
    ("--hoop", "Inside diameter of the hoop."),
    ("--hoop-round", "Length round the inside of the hoop."),
    ("--plants", "Plants counted over each --wheel distance; 150 without it."),
    ("--crop", "Crop, for keep or reseed and for doubts about typed numbers."),
    ("--rate", "Seed asked for, such as '120 kg/ha'."),
    ("--proven", "Seed really sown, as proven: '117 kg/ha ± 2'."),
    ("--tkw", "Weight of a thousand kernels, '38 ± 0.5', or '12000 seeds/lb'."),
    ("--survival", "Share of seeds expected to become plants, '85 % ± 5 %'."),
    ("--wanted", "Stand wanted, such as '250 plants/m²'."),
    ("--volunteers", "Plants counted that were not sown, as a stand."),
    ("--shallowest", "Upper edge of the depth wanted."),
    ("--deepest", "Lower edge of the depth wanted."),
    ("--turn", "Depth that one turn of the setting gives, if you have measured it."),
    ("--moisture", "Seedbed at seeding: excellent, good or dry."),
    ("--row-fertilizer", "Nutrient that went into the seed row."),
    ("--row-limit", "Its published limit."),
    ("--days-since", "Days since seeding."),
    ("--days-to-emerge", "Days until all are usually up, this spring."),
    ("--days-late", "Days after the optimum a reseeding would go in."),
    ("--publisher", "Only this publisher on keep or reseed."),
    ("--confidence", "Of the interval; 95 % without it."),
    ("--precision", "Half width wanted, as a share of the stand; 10 % without it."),
)


def _typed(function: Any) -> Any:
    """All options that take text, in the order of the list."""
    for name, text in reversed(OPTIONS):
        function = click.option(name, default="", help=text)(function)
    return function


@click.command(name="stand")
@click.argument("counts", nargs=-1)
@click.option("--wheel", multiple=True, help="Distance over which --plants were counted; once for each place.")
@click.option("--depth", multiple=True, help="One seed dug: 'DEPTH; rank 2; left; track', all but the depth as far as noted.")
@click.option("--interval", type=click.Choice(INTERVALS), default=INTERVALS[0], show_default=True, help="How the interval is made.")
@_typed
@shared_options
def command(
    counts: tuple[str, ...],
    wheel: tuple[str, ...],
    depth: tuple[str, ...],
    interval: str,
    as_json: bool,
    profile: str | None,
    **typed: str,
) -> int:
    """What stands on the field, from counts along rows, in a hoop, or over a measured distance.

    \b
    evenstand stand 25 28 22 26 --row "1 m" --spacing "25 cm" --crop wheat
    evenstand stand 61 55 70 58 66 --hoop "56 cm" --rate "120 kg/ha" --tkw 38 --survival "85 % ± 5 %"
    evenstand stand --wheel "24 m" --wheel "26 m" --plants 150 --spacing "30 cm" --depth "31 mm; left" --depth "40 mm; right"
    """
    from evenstand.desk.stands import StandSaid, answer_stand, typed_share

    units = units_of(profile)
    given = {name: text for name, text in typed.items() if text}
    answer = answer_stand(StandSaid(counts=counts, wheel=wheel, depth=depth, interval=interval, given=typed), units)
    if as_json:
        print_json(answer)
    else:
        _say(answer, units, typed_share(given, "confidence", 0.95), typed_share(given, "precision", 0.1))
    return 1 if answer.thin is not None and answer.thin.p_thin >= 0.95 else 0


def _say(answer: StandAnswer, units: Profile, confidence: float, precision: float) -> None:
    """The answer in sentences."""
    from evenstand.desk.stands import stand_sentence

    stand = answer.stand
    click.echo(stand_sentence(answer, units, confidence))
    if stand.note:
        click.echo(stand.note)
    if answer.counts_still_needed:
        click.echo(f"Count {answer.counts_still_needed} more places to know it within {precision:.0%}.")
    _say_seed(answer, units, shown_value(stand.plants_m2, "stand", units))
    for doubt in answer.doubts:
        click.echo(wrapped(doubt.said(units), indent="", width=100))
    _say_depth(answer.depth, units)
    _say_thin(answer.thin)
    _say_keep(answer.keep)
    if answer.missing:
        click.echo("Still needed for")
        for line in answer.missing:
            click.echo(f"  {line}")


def _say_seed(answer: StandAnswer, units: Profile, stand: str) -> None:
    plan, achieved = answer.expected, answer.achieved
    if plan is not None:
        sure = shown_value(plan.stand.sd, "stand", units)
        most = f", hangs most on {plan.most}" if plan.most else ""
        click.echo(f"Expected {shown(plan.stand.value, 'stand', units)} (one sd {sure}{most}); counted {stand}.")
    if achieved is not None:
        click.echo(f"Survival achieved {achieved.survival.value:.0%} (one sd {achieved.survival.sd:.1%}). {achieved.note}".rstrip())


def _say_depth(report: agronomy.DepthReport | None, units: Profile) -> None:
    if report is None:
        return
    low, high = (shown_value(x, "depth", units) for x in (report.low_m, report.high_m))
    line = f"Depth {shown(report.mean_m, 'depth', units)} (mean between {low} and {high}), one sd {shown(report.sd_m, 'depth', units)}"
    if report.share_in is not None:
        line += f"; {report.share_in:.0%} in the window ({report.share_low:.0%} to {report.share_high:.0%})"
    click.echo(f"{line}.")
    for text in (*report.advice, *report.cannot_tell):
        click.echo(wrapped(text, width=100))


def _say_thin(thin: agronomy.ThinStand | None) -> None:
    if thin is None:
        return
    click.echo(wrapped(thin.claim, indent="", width=100))
    for cause in thin.causes:
        click.echo(wrapped(f"{cause.share:.0%} {cause.words}. {cause.evidence or 'Nothing read.'}", width=100))
    if thin.settle_by:
        click.echo(f"Next: {thin.settle_by}")


def _say_keep(keep: agronomy.KeepOrReseed | None) -> None:
    if keep is None:
        return
    click.echo("Keep or sow again, each publisher by itself:")
    for advice in keep.advice:
        note = f" {advice.note}" if advice.note else ""
        click.echo(
            wrapped(
                f"{advice.publisher} ({advice.about}): {advice.verdict}. {advice.words[0].upper()}{advice.words[1:].rstrip('.')}.{note}",
                width=100,
            )
        )
    late = keep.late
    if late is not None and late.loss is not None:
        click.echo(
            wrapped(f"{late.publisher}: sown {late.days_late:g} days late loses about {late.loss:.0%} of the yield. {late.note}", width=100)
        )
    elif late is not None:
        click.echo(wrapped(late.note, width=100))
    click.echo(wrapped(keep.note, width=100))
