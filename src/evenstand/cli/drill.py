"""`evenstand drill`: six readings, what is wrong? And the lessons behind them."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from evenstand.base.units import Profile
from evenstand.cli.common import print_json, shared_options, units_of, wrapped

if TYPE_CHECKING:
    from evenstand.desk.drill_marks import Marked
    from evenstand.desk.drills import Drill, Solution
    from evenstand.desk.lessons import Lesson


@click.command(name="drill")
@click.option("--seed", type=click.IntRange(0, 10**9), default=1, show_default=True, help="Which drill; the same seed is the same drill.")
@click.option("--faults", type=click.IntRange(1, 2), default=1, show_default=True, help="How many things are wrong.")
@click.option("--count", type=click.IntRange(1, 50), default=1, show_default=True, help="How many drills, seed by seed.")
@click.option(
    "--answer", "answers", multiple=True,
    help='Your answer: factor:D, "width, slip:A", run:37, cannot-tell; again for each further drill.',
)  # fmt: skip
@click.option("--ask", is_flag=True, help="Ask for each answer on the terminal, and keep score.")
@click.option("--tell", is_flag=True, help="Print the answers too.")
@click.option("--lesson", "lesson_key", default="", help="The page about one number, such as area-counter; 'list' lists them.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), default=None, help="Write drills, or lessons, as a PDF to print.")
@click.option("--paper", type=click.Choice(["a4", "us-letter"]), default=None, help="A4 for si, Letter for the others unless given.")
@shared_options
def command(
    seed: int, faults: int, count: int, answers: tuple[str, ...], ask: bool, tell: bool, lesson_key: str, out: Path | None, paper: Any,
    as_json: bool, profile: str | None,
) -> int:  # fmt: skip
    """Six readings of a simulated day: what is wrong? The answer says what they tell, and what nobody could tell from them.

    \b
    evenstand drill --seed 7
    evenstand drill --seed 7 --answer width
    evenstand drill --seed 7 --count 5 --ask
    evenstand drill --lesson area-counter
    evenstand drill --seed 7 --count 4 --out drills.pdf

    Exit code 1: something of the answer is not right.
    """
    units = units_of(profile)
    if lesson_key:
        return _lessons(lesson_key, units, out, paper, as_json)
    from evenstand.base.errors import InputError
    from evenstand.desk.drill_marks import mark, read_answer
    from evenstand.desk.drills import draw

    if len(answers) > count:
        raise InputError(f"{len(answers)} answers to {count} drills", where="--answer", cure="Give --count, or fewer answers.")
    if out is not None:
        return _printed(seed, faults, count, units, out, paper, as_json)
    given = [*answers, *([""] * (count - len(answers)))]
    drills = [(*draw(seed + i, faults=faults, profile=units), given[i]) for i in range(count)]
    if ask:
        return _asked([(d, s) for d, s, _ in drills], units, as_json)
    marked = [(d, s, mark(d, s, read_answer(d, a)) if a else None) for d, s, a in drills]
    if as_json:
        print_json({"drills": [_plain(d, s, m, tell, units) for d, s, m in marked], "score": _score([m for *_, m in marked if m])})
    else:
        for i, (d, s, m) in enumerate(marked):
            if i:
                click.echo()
            for line in _lines(d, s, m, tell, units):
                click.echo(line)
        if any(m for *_, m in marked) and count > 1:
            click.echo(_score_text([m for *_, m in marked if m]))
    return 1 if any(m is not None and not m.full for *_, m in marked) else 0


def _asked(drills: list[tuple[Drill, Solution]], units: Profile, as_json: bool) -> int:
    """One after the other, with the answer behind each and the score at the end."""
    from evenstand.base.errors import InputError
    from evenstand.desk.drill_marks import mark, read_answer

    done: list[tuple[Drill, Solution, Marked]] = []
    for d, s in drills:
        for line in question_text(d, units):
            click.echo(line, err=as_json)
        while True:
            try:
                given = read_answer(d, click.prompt("What is wrong", default="", show_default=False, err=True))
                break
            except InputError as error:
                click.echo(str(error.faults[0]), err=True)
        done.append((d, s, mark(d, s, given)))
        for line in answer_text(d, s, done[-1][2], units):
            click.echo(line, err=as_json)
        click.echo(err=as_json)
    if as_json:
        print_json({"drills": [_plain(d, s, m, False, units) for d, s, m in done], "score": _score([m for *_, m in done])})
    else:
        click.echo(_score_text([m for *_, m in done]))
    return 0 if all(m.full for *_, m in done) else 1


def _lines(d: Drill, s: Solution, m: Marked | None, tell: bool, units: Profile) -> list[str]:
    out = question_text(d, units)
    if m is not None or tell:
        out += ["", *answer_text(d, s, m, units)]
    return out


def question_text(d: Drill, units: Profile) -> list[str]:
    """The question for a terminal."""
    from evenstand.cli.common import columns

    out = [f"Drill {d.seed}: {'one thing is' if d.faults == 1 else 'two things are'} wrong. What?", ""]
    out += [wrapped(text) for text in d.facts]
    out += [
        "",
        *columns([(str(i), r.label, r.said(units), f"{r.how} {r.give_or_take(units)}".strip()) for i, r in enumerate(d.readings, 1)]),
    ]
    names = {"run": "run:NUMBER", "head": "head:LETTER"}
    out += ["", "Choose from" + (", at most two" if d.faults == 2 else ""), *columns([(names.get(c, c), words) for c, words in d.choices])]
    return [*out, "", f"  evenstand drill --seed {d.seed}{' --faults 2' if d.faults == 2 else ''} --answer ..."]


def answer_text(d: Drill, s: Solution, m: Marked | None, units: Profile) -> list[str]:
    """The answer for a terminal."""
    from evenstand.cli.common import columns
    from evenstand.desk.drill_marks import mark

    shown = m or mark(d, s, ())
    out = [f"{m.points} of {m.of}" if m is not None else "What it was"]
    for line in shown.lines:
        out.append(wrapped(line if m is not None else line.partition(": ")[2], bullet="- "))
    if s.findings:
        out += ["", "What the check makes of these six", *(wrapped(f.claim, bullet="- ") for f in s.findings)]
        seen = [e for f in s.findings for e in f.evidence]
        out += [wrapped(e, indent="    ") for e in dict.fromkeys(seen)]
    out += ["", "What each reading is", *columns([(r.label, r.lesson, nature_text(r.nature, r.repeats)) for r in d.readings])]
    return [*out, "  Second column: its lesson, evenstand drill --lesson NAME"]


def nature_text(nature: str, repeats: tuple[str, ...]) -> str:
    """'echo of F:D, turns:D' as a person says it."""
    from evenstand.desk.teaching import repeated

    return "witness" if nature == "witness" else f"echo of {repeated(repeats)}"


def _plain(d: Drill, s: Solution, m: Marked | None, tell: bool, units: Profile) -> dict[str, Any]:
    """Question, and the answer only where it was answered or asked for."""
    from evenstand.cli.common import plain
    from evenstand.desk.days import finding_dict
    from evenstand.desk.drill_marks import mark

    told = m is not None or tell
    readings = [
        {
            "key": r.key, "label": r.label, "quantity": r.quantity, "value": r.value, "sd": r.sd, "text": r.text, "how": r.how,
            "shown": r.said(units), **({"nature": r.nature, "repeats": list(r.repeats), "lesson": r.lesson} if told else {}),
        }
        for r in d.readings
    ]  # fmt: skip
    out = {
        "seed": d.seed, "faults": d.faults, "facts": list(d.facts), "readings": readings,
        "choices": [{"cause": c, "words": w} for c, w in d.choices], "answer": None, "solution": None,
    }  # fmt: skip
    if told:
        out["solution"] = {
            "faults": [plain(slot) for slot in s.slots],
            "findings": [finding_dict(f) for f in s.findings],
            "lines": list((m or mark(d, s, ())).lines) if m is not None else [],
        }
    if m is not None:
        out["answer"] = {"causes": list(m.answers), "right": m.right, "of": m.of, "wrong": m.wrong, "points": m.points}
    return out


def _score(marked: list[Marked]) -> dict[str, int]:
    from evenstand.desk.teaching import score

    made = score(marked)
    return {"points": made.points, "of": made.of, "drills": made.drills, "full": made.full, "streak": made.streak, "best_streak": made.best}


def _score_text(marked: list[Marked]) -> str:
    s = _score(marked)
    return f"{s['points']} of {s['of']} points; {s['full']} of {s['drills']} drills all right; {s['best_streak']} in a row at best."


def _printed(seed: int, faults: int, count: int, units: Profile, out: Path, paper: Any, as_json: bool) -> int:
    from evenstand.paper.teaching import drills_pdf
    from evenstand.paper.writing import write_pdf

    write_pdf(out, drills_pdf(seed, faults=faults, count=count, profile=units, paper=paper))
    if as_json:
        print_json({"file": str(out)})
    else:
        click.echo(f"{out}: {count} drill{'' if count == 1 else 's'}, the answers on the last page.")
    return 0


# lessons ------------------------------------------------------------------------------------------------------------
def _lessons(key: str, units: Profile, out: Path | None, paper: Any, as_json: bool) -> int:
    from evenstand.desk.lessons import lesson, lessons

    chosen = list(lessons().values()) if key in ("list", "all") else [lesson(key)]
    if out is not None:
        from evenstand.paper.teaching import lessons_pdf
        from evenstand.paper.writing import write_pdf

        write_pdf(out, lessons_pdf([x.key for x in chosen], profile=units, paper=paper))
        if as_json:
            print_json({"file": str(out)})
        else:
            click.echo(f"{out}: {len(chosen)} page{'' if len(chosen) == 1 else 's'}.")
    elif as_json:
        print_json({"lessons": chosen})
    elif key == "list":
        from evenstand.cli.common import columns

        for line in columns([(x.key, x.title, x.short) for x in chosen], indent=""):
            click.echo(line)
    else:
        for x in chosen:
            for line in lesson_text(x, units):
                click.echo(line)
    return 0


def lesson_text(x: Lesson, units: Profile) -> list[str]:
    """One lesson for a terminal."""
    from evenstand.base.units import restated

    def parts(title: str, items: tuple[str, ...]) -> list[str]:
        return ["", title, *(wrapped(restated(t, units), bullet="- ") for t in items)]

    return [
        x.title, wrapped(f"{x.short} It is {x.kind}."), *parts("Made of", x.made_of), *parts("It proves", x.proves),
        *parts("It does not prove", x.never), *parts("How to check it", x.check), "", "A sum",
        wrapped(x.sum.text), f"    {x.sum.said}",
        "", wrapped(f"When it is off, look first at: {x.first}."), "",
    ]  # fmt: skip
