"""Drills and lessons. Drill, answer and score stand in the address; nothing is stored."""

from __future__ import annotations

from dataclasses import dataclass

from fastapi import APIRouter, Request, Response
from fastapi.responses import RedirectResponse

from evenstand.base.errors import EvenstandError, InputError
from evenstand.desk.drill_marks import Marked, mark, read_answer
from evenstand.desk.drills import Drill, Solution, draw
from evenstand.desk.lessons import lesson, lessons
from evenstand.desk.teaching import repeated
from evenstand.web.site import site_of

router = APIRouter()

MOST = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Tally:
    """The score so far, as it stands in the address."""

    points: int
    of: int
    streak: int
    best: int

    def query(self) -> str:
        """For the address."""
        return f"points={self.points}&of={self.of}&streak={self.streak}&best={self.best}"

    def after(self, marked: Marked) -> Tally:
        """With one more drill."""
        streak = self.streak + 1 if marked.full else 0
        return Tally(points=self.points + marked.points, of=self.of + marked.of, streak=streak, best=max(self.best, streak))


def _whole(request: Request, name: str, low: int, high: int, default: int) -> int:
    text = request.query_params.get(name, "")
    return min(max(int(text), low), high) if text.isdigit() and len(text) < 12 else default


def _tally(request: Request) -> Tally:
    points, of, streak, best = (_whole(request, name, 0, MOST, 0) for name in ("points", "of", "streak", "best"))
    return Tally(points=min(points, of), of=of, streak=streak, best=max(best, streak))


@router.get("/proof/drill")
def drill(request: Request) -> Response:
    """Six readings: what is wrong? With an answer in the address, what it was."""
    site = site_of(request)
    if not request.query_params.get("seed", "").isdigit():
        seed = int(site.clock.now().timestamp()) // 60 % 1_000_000
        return RedirectResponse(f"/proof/drill?seed={seed}", status_code=303)
    seed, faults = _whole(request, "seed", 0, 10**9 - 1, 1), _whole(request, "faults", 1, 2, 1)
    profile = site.profile()
    question, solution = site.once(("drill", seed, faults, profile), lambda: draw(seed, faults=faults, profile=profile))
    given = [
        (request.query_params.get(f"answer{i}", "")[:40], request.query_params.get(f"where{i}", "")[:10]) for i in range(1, faults + 1)
    ]
    marked, fault = _marked(question, solution, given)
    so_far = _tally(request)
    tally = so_far.after(marked) if marked is not None else so_far
    return site.page(
        request, "drill.html", status=422 if fault else 200, drill=question, solution=solution, marked=marked, fault=fault, given=given,
        tally=tally, so_far=so_far, repeated=repeated, titles={k: x.title for k, x in lessons().items()},
    )  # fmt: skip


def _marked(question: Drill, solution: Solution, given: list[tuple[str, str]]) -> tuple[Marked | None, str]:
    """The answer marked, or what is wrong with it."""
    texts = [f"{cause}:{where}" if cause in ("run", "head") and where else cause for cause, where in given if cause]
    if not texts:
        return None, ""
    try:
        return mark(question, solution, read_answer(question, ", ".join(texts))), ""
    except InputError as error:
        return None, "; ".join(f"{f.what[:1].upper()}{f.what[1:]}" for f in error.faults) + ". Type it in the field beside the list."


@router.get("/proof/drill.pdf")
def printed(request: Request) -> Response:
    """Four drills to print, the answers behind them."""
    from evenstand.paper.teaching import drills_pdf

    seed, faults = _whole(request, "seed", 0, 10**9 - 10, 1), _whole(request, "faults", 1, 2, 1)
    profile = site_of(request).profile()
    return _pdf(drills_pdf(seed, faults=faults, profile=profile), f"drills-{seed}.pdf")


@router.get("/proof/lessons")
def all_lessons(request: Request) -> Response:
    """One page for each number of a cab."""
    return site_of(request).page(request, "lessons.html", lessons=list(lessons().values()))


@router.get("/proof/lessons.pdf")
def lessons_printed(request: Request) -> Response:
    """All lessons, or the one asked for, to print."""
    from evenstand.paper.teaching import lessons_pdf

    key = request.query_params.get("lesson", "")
    keys = [key] if key else list(lessons())
    return _pdf(lessons_pdf(keys, profile=site_of(request).profile()), f"lesson-{key}.pdf" if key else "lessons.pdf")


@router.get("/proof/lessons/{key}")
def one_lesson(request: Request, key: str) -> Response:
    """One lesson."""
    site = site_of(request)
    try:
        found = lesson(key)
    except EvenstandError as error:
        return site.page(request, "error.html", status=404, title="No such lesson", faults=error.faults, back="/proof/lessons")
    return site.page(request, "lesson.html", lesson=found)


def _pdf(content: bytes, name: str) -> Response:
    return Response(content, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}"'})
