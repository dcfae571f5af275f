"""Drills: the same seed is the same drill; what counts as right follows the truth and what six readings can tell; lessons' sums are right."""

from __future__ import annotations

import ast
import math
import operator
from dataclasses import replace
from types import SimpleNamespace

import pytest

from evenstand.base.errors import InputError, MissingError, RangeError
from evenstand.desk.drill_marks import mark, read_answer
from evenstand.desk.drills import CANNOT, SIX, Drill, Slot, Solution, draw
from evenstand.desk.lessons import lesson, lessons
from evenstand.desk.teaching import repeated, score
from evenstand.model import Finding
from evenstand.simulate import parse_fault

SEEDS = range(40, 64)


@pytest.fixture(scope="module")
def drawn():
    return {(seed, n): draw(seed, faults=n) for n in (1, 2) for seed in SEEDS}


def made_up(*slots: Slot) -> tuple[Drill, Solution]:
    choices = tuple((c, c) for c in ("factor:A", "fill-missed:A", "width", "distance", "overlap", "run", "head", CANNOT))
    drill = Drill(seed=1, faults=len(slots), facts=(), readings=(), bins=("A",), choices=choices)
    return drill, Solution(slots=slots, findings=(), drawn=1)


def slot(truth: str, *accepted: str) -> Slot:
    return Slot(truth=truth, size="5 %", accepted=accepted, told=accepted != (CANNOT,), settle_by="a tape")


def test_the_same_seed_is_the_same_drill_in_any_units_but_for_its_words():
    one, again, us = draw(7), draw(7), draw(7, profile="us")
    assert one == again
    assert [(r.key, r.value) for r in us[0].readings] == [(r.key, r.value) for r in one[0].readings]
    assert [s.accepted for s in us[1].slots] == [s.accepted for s in one[1].slots]
    assert us[0].readings[0].said("us") != one[0].readings[0].said("si")
    assert draw(8)[0] != one[0]


def test_a_drill_has_six_readings_a_witness_among_them_and_as_many_faults_as_asked(drawn):
    for (_, n), (drill, solution) in drawn.items():
        assert len(drill.readings) == SIX == len({r.key for r in drill.readings})
        assert len(solution.slots) == n == drill.faults
        assert any(r.nature == "witness" for r in drill.readings)
        assert {r.lesson for r in drill.readings} <= set(lessons())


def test_every_right_answer_can_be_chosen_and_is_marked_right(drawn):
    for drill, solution in drawn.values():
        best = [s.accepted[0] for s in solution.slots]
        marked = mark(drill, solution, read_answer(drill, ", ".join(best)))
        assert marked.full, (drill.seed, best)
        assert marked.points == len(solution.slots)


def test_what_can_be_told_counts_the_truth_and_all_that_stands_with_it_in_a_class(drawn):
    told = [s for _, solution in drawn.values() for s in solution.slots if s.told]
    classes = [s for s in told if len(s.accepted) > 1]
    assert told and classes
    assert all(s.truth in s.accepted for s in told)
    assert all(CANNOT not in s.accepted for s in told)


def test_what_nobody_could_tell_is_among_them_and_only_saying_so_is_right(drawn):
    unknown = [(d, sol, s) for d, sol in drawn.values() for s in sol.slots if not s.told]
    assert len(unknown) >= 5
    for drill, solution, s in unknown:
        assert s.accepted == (CANNOT,)
        assert s.settle_by
        if len(solution.slots) == 1:
            truth = mark(drill, solution, [s.truth])
            assert (truth.points, truth.wrong) == (0, 1)  # a lucky guess is an accusation without evidence
            assert solution.findings == ()


def test_the_check_never_accuses_what_was_not_put_in(drawn):
    for _, solution in drawn.values():
        truths = {s.truth for s in solution.slots}
        for finding in solution.findings:
            if finding.suspects:
                assert truths & set(finding.suspects[0])


def slots_of(*findings: Finding, spread: float = math.inf):
    from evenstand.desk.drills import _slots

    verdict = SimpleNamespace(spreads={"factor:D": spread}, settles={})
    return _slots([parse_fault("factor:D=6")], findings, verdict, SimpleNamespace(typed={}, truth=None), "si")


def test_a_draw_is_thrown_away_where_the_check_accuses_what_is_not_there_or_misses_what_it_could_see():
    wrong = Finding(claim="x", state="does-not-hold", suspects=(("width",),))
    right = Finding(claim="x", state="does-not-hold", suspects=(("fill-missed:D", "factor:D"),), settle_by="a catch")
    assert slots_of(wrong) is None
    assert slots_of(right, wrong) is None
    assert slots_of(right) == (
        Slot(
            truth="factor:D", size="6.0 % more a turn than is typed", accepted=("fill-missed:D", "factor:D"), told=True, settle_by="a catch"
        ),
    )
    assert slots_of(spread=math.log(1.06) / 4.4) is None  # 4.4 standard deviations and not a word
    unseen = slots_of(spread=math.log(1.06) / 4.2)
    assert (unseen[0].accepted, unseen[0].told) == ((CANNOT,), False)
    assert slots_of()[0].settle_by.startswith("catch test of bin D")


def test_any_of_a_class_counts_and_a_false_accusation_costs_a_point():
    drill, solution = made_up(slot("width", "width", "distance"))
    assert mark(drill, solution, ["distance"]).full
    assert mark(drill, solution, ["width", "distance"]).full
    assert "each of them counts" in mark(drill, solution, ["distance"]).lines[0]
    wrong = mark(drill, solution, ["distance", "overlap"])
    assert (wrong.right, wrong.wrong, wrong.points) == (1, 1, 0)
    missed = mark(drill, solution, [CANNOT])
    assert (missed.right, missed.points) == (0, 0)
    assert "do tell it" in missed.lines[-1]


def test_two_faults_of_which_one_cannot_be_told_want_both_said():
    drill, solution = made_up(slot("factor:A", "factor:A"), slot("run:37", CANNOT))
    assert mark(drill, solution, ["factor:A", CANNOT]).points == 2
    assert mark(drill, solution, ["factor:A"]).points == 1
    assert mark(drill, solution, ["factor:A", "run:37"]).points == 0


def test_answers_are_read_as_people_type_them():
    drill, _ = made_up(slot("width", "width"))
    assert read_answer(drill, "Factor:a, run 37") == ("factor:A", "run:37")
    assert read_answer(drill, "factor") == ("factor:A",)  # the only bin there is
    assert read_answer(drill, "head=c and cannot tell") == ("head:C", CANNOT)
    for text, told in (
        ("", "nothing is answered"),
        ("gremlins", "no choice here"),
        ("run", "wants a number"),
        ("factor:Z", "no choice here"),
    ):
        with pytest.raises(InputError, match=told):
            read_answer(drill, text)
    with pytest.raises(InputError, match="no choice here"):
        read_answer(replace(drill, bins=("A", "B")), "factor")


def test_a_seed_or_a_number_of_faults_out_of_range_is_refused():
    for bad in ({"seed": -1}, {"seed": 1, "faults": 3}, {"seed": 1, "faults": 0}):
        with pytest.raises(RangeError):
            draw(**bad)


def test_the_score_counts_points_and_rows_of_full_ones():
    drill, solution = made_up(slot("width", "width"))
    right, wrong = mark(drill, solution, ["width"]), mark(drill, solution, ["overlap"])
    made = score([right, right, wrong, right])
    assert (made.points, made.of, made.drills, made.full, made.streak, made.best) == (3, 4, 4, 3, 1, 2)
    assert score([]).streak == 0


def test_what_an_echo_repeats_is_said_in_words():
    assert repeated(("F:D", "turns:D", "W")) == "typed product per turn, turns, typed width"


_OPS = {ast.Add: operator.add, ast.Sub: operator.sub, ast.Mult: operator.mul, ast.Div: operator.truediv}


def worked_out(node: ast.AST) -> float:
    """Plain arithmetic, nothing else."""
    if isinstance(node, ast.Expression):
        return worked_out(node.body)
    if isinstance(node, ast.BinOp):
        return _OPS[type(node.op)](worked_out(node.left), worked_out(node.right))
    assert isinstance(node, ast.Constant)
    return float(node.value)


@pytest.mark.parametrize("key", lessons())
def test_the_sum_of_a_lesson_comes_out_as_printed(key):
    made = lesson(key).sum
    digits = len(made.result.partition(".")[2])
    assert round(worked_out(ast.parse(made.formula, mode="eval")), digits) == float(made.result)
    assert "*" not in made.said
    assert made.result in made.said


@pytest.mark.parametrize("key", lessons())
def test_a_lesson_says_what_it_is_what_it_proves_and_what_it_does_not(key):
    made = lesson(key)
    for part in (made.made_of, made.proves, made.never, made.check):
        assert part and all(t.strip() == t and t for t in part)
    assert made.short.endswith(".")
    assert made.nature in made.kind or made.nature == "both"


def test_a_lesson_that_is_not_there_lists_those_that_are():
    with pytest.raises(MissingError, match="area-counter"):
        lesson("moon")


def test_the_machine_is_drawn_by_the_seed_alone_and_all_kinds_come_up():
    import random

    from evenstand.desk.demo_farm import demo_farm
    from evenstand.desk.drill_outfits import drill_outfit

    farm = demo_farm()
    made = {seed: drill_outfit(farm, seed, random.Random(seed)) for seed in range(60)}
    assert {m.kind for m in made.values()} == {"wide", "ground", "one-bin", "narrow"}
    assert all(drill_outfit(farm, seed, random.Random(1)).kind == m.kind for seed, m in made.items())
    for m in made.values():
        assert (m.outfit.drive == "ground") == (m.kind == "ground")
        assert any(r.sensor is not None for r in m.outfit.runs) == (m.kind == "wide")
        assert {b.bin for b in m.plan.bins} <= {b.letter for b in m.outfit.bins}
        if m.kind == "one-bin":
            assert len(m.outfit.bins) == len(m.plan.bins) == 1


def test_a_plugged_run_is_only_asked_for_where_a_sensor_could_show_it(drawn):
    for drill, solution in drawn.values():
        if any("No run sensors" in fact for fact in drill.facts):
            assert not any(s.truth.startswith(("run", "head")) for s in solution.slots)
            assert not any(r.key == "run_sensors" for r in drill.readings)
