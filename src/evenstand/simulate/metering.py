"""What the meters turn, what really leaves the bins, and when the driver stops to fill."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from evenstand.model import BinPlan, Outfit
from evenstand.model.place import FloatArray
from evenstand.simulate.driving import Path, pass_ends
from evenstand.simulate.faults import FaultSet, SimulationError
from evenstand.simulate.worlds import Dice, World

GUESSED_DENSITY_KG_M3 = 750.0
RESERVE_SHARE = 0.02
TOP_UP_BELOW = 0.55
CHUNK_SHARE = 0.4
PRIMARY_HOLDS_KG = 24.0
GUESSED_LIGHT_SHARE = 0.04


@dataclass(frozen=True, slots=True, kw_only=True)
class BinSetup:
    """A bin as it is today. full_kg: what a fill reaches [kg]; rate_kg_ha: in force on the display [kg/ha]; asked_kg_ha [kg/ha];
    typed: kg/turn typed [kg/turn]; true: kg/turn at the start, settled [kg/turn]; light_kg: where the low-level light really comes
    on [kg]; light_known_kg, light_sd_kg: where the book says it does [kg]."""

    letter: str
    product: str
    full_kg: float
    asked_kg_ha: float
    rate_kg_ha: float
    typed: float
    true: float
    light_kg: float
    light_known_kg: float
    light_sd_kg: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Put:
    """Product really put into a bin before a cell. level_kg: what was in [kg]; times_entered: 0 a forgotten one, 2 entered twice."""

    cell: int
    bin: int
    kg: float
    level_kg: float
    times_entered: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Metered:
    """counted_m (n,): distance as the machine counts it in each cell [m]; turns, sown_kg (n, bins): meter turns and product that
    left the bin in each cell; level_kg (bins,): at the end [kg]; puts: in order; light_cell: first cell after each fill in which
    the low-level light is on, by bin and put index; stalled: cells in which a plugged head's segment has backed up."""

    counted_m: FloatArray
    turns: FloatArray
    sown_kg: FloatArray
    level_kg: FloatArray
    puts: tuple[Put, ...]
    light_cell: dict[int, list[int]] = field(default_factory=dict)


def set_up(bins: tuple[BinPlan, ...], outfit: Outfit, faults: FaultSet, world: World, dice: Dice) -> tuple[BinSetup, ...]:
    """Each bin with its typed and its true figures."""
    out = []
    for plan in bins:
        own = next((b for b in outfit.bins if b.letter == plan.bin), None)
        full = plan.full_kg.value if plan.full_kg is not None else 0.0
        if full <= 0 and own is not None and own.capacity_m3 is not None:
            full = own.capacity_m3.value * own.fill_share * GUESSED_DENSITY_KG_M3
        if full <= 0:
            full = max(2000.0, (plan.need_kg or 0.0) / 2)
        typed = plan.factor_kg_turn.value if plan.factor_kg_turn is not None else 1.0
        roll = dice.of(f"bin {plan.bin}")
        off = roll.normal(0.0, 1.0) * world.factor_sd
        learned = own.low_light_kg if own is not None else None
        known = learned.value if learned is not None else GUESSED_LIGHT_SHARE * full
        sd = (learned.sd if learned is not None and learned.sd > 0 else 0.1 * known) if learned is not None else 0.4 * known
        out.append(
            BinSetup(
                letter=plan.bin,
                product=plan.product,
                full_kg=full,
                asked_kg_ha=plan.rate_kg_ha,
                rate_kg_ha=plan.rate_kg_ha * faults.slip.get(plan.bin, 1.0),
                typed=typed,
                true=typed * faults.factor.get(plan.bin, 1.0) * (1 + off),
                light_kg=max(0.2 * known, known + roll.normal(0.0, 1.0) * sd * world.error),
                light_known_kg=known,
                light_sd_kg=sd,
            )
        )
    return tuple(out)


def meter(
    path: Path,
    bins: tuple[BinSetup, ...],
    outfit: Outfit,
    faults: FaultSet,
    *,
    typed_width_m: float,
    head_cells: dict[str, int],
    world: World,
    dice: Dice,
) -> Metered:
    """Run the day cell by cell in stretches between possible stops: count, turn, sow, fill."""
    day = _Day(path, bins, outfit, faults, typed_width_m, head_cells, world, dice)
    if not day.run(special_first=False):
        day = _Day(path, bins, outfit, faults, typed_width_m, head_cells, world, dice)
        day.run(special_first=True)
    return Metered(
        counted_m=day.counted, turns=day.turns, sown_kg=day.sown, level_kg=day.level, puts=tuple(day.puts), light_cell=day.light,
    )  # fmt: skip


class _Day:
    """The state that runs through a day of metering."""

    def __init__(
        self,
        path: Path,
        bins: tuple[BinSetup, ...],
        outfit: Outfit,
        faults: FaultSet,
        typed_width_m: float,
        head_cells: dict[str, int],
        world: World,
        dice: Dice,
    ) -> None:
        self.path, self.bins, self.faults, self.world = path, bins, faults, world
        n, m = path.length_m.size, len(bins)
        sown_m = path.length_m * path.share
        travel = faults.distance * (1 + dice.of("travel").normal() * world.travel_sd)
        self.base = path.length_m * travel * (1 + dice.lasting("soil", n, world.soil_reach_m, world.soil_sd))
        rates = np.array([b.rate_kg_ha for b in bins])
        self.turn_per_m = rates * typed_width_m / 1e4 / np.array([b.typed for b in bins])
        self.gives = _factor_course(path, bins, world, dice) * _stalled(path, bins, outfit, head_cells, typed_width_m)
        self.gives *= _out_of_the_bin(path, bins, faults, dice)
        use = np.array([b.rate_kg_ha * b.true / b.typed for b in bins]) * typed_width_m * travel / 1e4
        self.use = np.concatenate([[np.zeros(m)], np.cumsum(sown_m[:, None] * use[None, :], axis=0)])
        asked = np.array([b.asked_kg_ha for b in bins]) * typed_width_m / 1e4
        self.expected = np.concatenate([[np.zeros(m)], np.cumsum(sown_m[:, None] * asked[None, :], axis=0)])
        self.settled = np.concatenate([[0.0], np.cumsum(sown_m)]) * typed_width_m / 1e4
        self.full = np.array([b.full_kg for b in bins])
        self.settle = np.array([dice.of(f"settle {b.letter}").uniform(0.3, 1.0) for b in bins]) * world.settle_high
        self.dice = dice
        self.counted, self.turns, self.sown = np.empty(n), np.zeros((n, m)), np.zeros((n, m))
        self.level, self.since_fill = np.zeros(m), np.zeros(m)
        self.puts: list[Put] = []
        self.light: dict[int, list[int]] = {i: [] for i in range(m)}
        self.lit = np.ones(m, dtype=np.bool_)
        self.special = {b.letter: self._special(b) for b in bins}

    def _special(self, one: BinSetup) -> tuple[float, int] | None:
        """Mass and number of entries of the fill that goes wrong, if one does."""
        for kg, entries in ((self.faults.missed_kg.get(one.letter), 0), (self.faults.doubled_kg.get(one.letter), 2)):
            if kg:
                if kg > one.full_kg:
                    raise SimulationError(
                        f"bin {one.letter}: a fill of {kg:g} kg does not go into a bin of {one.full_kg:.0f} kg. Choose a smaller one."
                    )
                return kg, entries
        return None

    def run(self, *, special_first: bool) -> bool:
        """Go through the day; False if a fill that should go wrong found no room."""
        cuts = self._cuts()
        when = {b.letter: int(len(cuts) * self.dice.of(f"special {b.letter}").uniform(0.15, 0.7)) for b in self.bins}
        waiting = {b.letter for b in self.bins if self.special[b.letter]}
        for k in range(len(cuts) - 1):
            a, z = cuts[k], cuts[k + 1]
            for i, one in enumerate(self.bins):
                if one.letter not in waiting:
                    continue
                kg, entries = self.special[one.letter] or (0.0, 1)
                if special_first or (k > 0 and k >= when[one.letter] and self.full[i] - self.level[i] >= kg):
                    self._put(a, i, kg, entries)
                    waiting.discard(one.letter)
            self._maybe_fill(a, z, k)
            self._sow(a, z)
        return not waiting

    def _cuts(self) -> list[int]:
        """Cells before which the driver may stop: between passes, and within a pass that would empty too much of a bin."""
        _, stop = pass_ends(self.path.pass_id)
        edges = sorted({0, *stop.tolist(), self.path.length_m.size})
        out = [0]
        for a, z in pairwise(edges):
            parts = int(np.ceil(((self.use[z] - self.use[a]) / (CHUNK_SHARE * self.full)).max()))
            if parts > 1:
                span = self.use[a : z + 1, 0]
                inner = np.searchsorted(span, np.linspace(span[0], span[-1], parts + 1)[1:-1]) + a
                out += [int(c) for c in inner if out[-1] < c < z]
            out.append(z)
        return out

    def _maybe_fill(self, a: int, z: int, k: int) -> None:
        need = self.use[z] - self.use[a]
        short = self.level - 1.03 * need < RESERVE_SHARE * self.full * (need > 0)
        if not short.any():
            return
        rest = 1.03 * (self.expected[-1] - self.expected[a])
        low = short | (self.level < np.minimum(TOP_UP_BELOW * self.full, rest))
        for i in np.flatnonzero(low):
            roll = self.dice.of(f"fill {self.bins[i].letter} {len(self.puts)}")
            margin = self.full[i] * roll.uniform(0.02, 0.07)
            goal = max(rest[i] + margin, 1.05 * need[i] + 0.1 * self.full[i])
            room = self.full[i] - self.level[i]
            put = min(room, (goal - self.level[i]) * (1 + roll.normal() * self.world.aim_sd))
            if put > 0.01 * self.full[i]:
                self._put(a, int(i), float(put), 1)

    def _put(self, cell: int, i: int, kg: float, entries: int) -> None:
        self.puts.append(Put(cell=cell, bin=i, kg=kg, level_kg=float(self.level[i]), times_entered=entries))
        self.level[i] += kg
        self.since_fill[i] = self.settled[cell]
        self.lit[i] = self.level[i] <= self.bins[i].light_kg

    def _sow(self, a: int, z: int) -> None:
        loaded = float((self.level / self.full).mean()) - 0.5
        counted = self.base[a:z] * (1 + self.world.load_slip * loaded)
        self.counted[a:z] = counted
        turns = (counted * self.path.share[a:z])[:, None] * self.turn_per_m[None, :]
        since = self.settled[a:z, None] - self.since_fill[None, :]
        gives = self.gives[a:z] * (1 - self.settle * np.exp(-since / self.world.settle_ha))
        sown = turns * gives
        total = sown.sum(axis=0)
        short = total > self.level
        if short.any():  # runs empty: the meter turns on nothing
            left = np.maximum(self.level[None, :] - np.cumsum(sown, axis=0) + sown, 0.0)
            sown = np.minimum(sown, left)
            total = np.minimum(sown.sum(axis=0), self.level)
        self._light(a, sown)
        self.turns[a:z], self.sown[a:z] = turns, sown
        self.level = self.level - total

    def _light(self, a: int, sown: FloatArray) -> None:
        for i, one in enumerate(self.bins):
            if self.lit[i]:
                continue
            below = self.level[i] - np.cumsum(sown[:, i]) <= one.light_kg
            if below.any():
                self.light[i].append(a + int(np.argmax(below)))
                self.lit[i] = True


def _factor_course(path: Path, bins: tuple[BinSetup, ...], world: World, dice: Dice) -> FloatArray:
    """kg/turn over the day, settled product, shape (n, bins): drift, the warmth of the day, ground speed."""
    x = np.cumsum(path.length_m / path.speed_m_s)
    x = x / x[-1]
    usual = float(np.median(path.speed_m_s[path.down]))
    speed = (path.speed_m_s / usual) ** world.speed_power
    out = np.empty((x.size, len(bins)))
    for i, one in enumerate(bins):
        roll = dice.of(f"drift {one.letter}")
        size = roll.uniform(world.drift_low, world.drift_high) * roll.choice([-1.0, 1.0])
        course = size * (x - 0.5) + 0.3 * size * np.sin(np.pi * x + roll.uniform(0, 2 * np.pi))
        out[:, i] = one.true * (1 + course) * speed
    return out


def _out_of_the_bin(path: Path, bins: tuple[BinSetup, ...], faults: FaultSet, dice: Dice) -> FloatArray:
    """What leaves each bin over what its meter would give, shape (n, bins): a leak all day, a bridge for a sixteenth to a fifth of it."""
    out = np.ones((path.length_m.size, len(bins)))
    way = np.cumsum(path.length_m * path.share)
    for i, one in enumerate(bins):
        out[:, i] *= faults.lid.get(one.letter, 1.0)
        share = faults.bridge.get(one.letter, 0.0)
        if share:
            roll = dice.of(f"bridge {one.letter}")
            begin = roll.uniform(0.1, 0.7)
            a, z = np.searchsorted(way, way[-1] * np.array([begin, begin + roll.uniform(0.06, 0.2)]))
            out[a:z, i] *= 1 - share
    return out


def _stalled(path: Path, bins: tuple[BinSetup, ...], outfit: Outfit, head_cells: dict[str, int], width_m: float) -> FloatArray:
    """Share of the product that still gets out, shape (n, bins): a plugged head backs up its primary, then its segment stalls."""
    out = np.ones((path.length_m.size, len(bins)))
    rows = sum(1 for r in outfit.runs if not r.shut) or (outfit.rows or 1)
    streams = {b.letter: b.stream for b in outfit.bins}
    area = np.cumsum(path.length_m * path.share) * width_m / 1e4
    for letter, cell in head_cells.items():
        head = next(h for h in outfit.heads if h.letter == letter)
        mine = [i for i, b in enumerate(bins) if head.stream is None or streams.get(b.letter) in (None, head.stream)]
        share = head.outlets / rows
        flow = sum(bins[i].rate_kg_ha for i in mine) * share
        if flow > 0:
            out[int(np.searchsorted(area, area[cell] + PRIMARY_HOLDS_KG / flow)) :, mine] *= 1 - share
    return out
