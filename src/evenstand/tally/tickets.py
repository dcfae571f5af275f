"""One weighed ticket over several fills that nobody weighed one by one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from evenstand.base.errors import RangeError
from evenstand.base.estimate import Est


@dataclass(frozen=True, slots=True, kw_only=True)
class Split:
    """A ticket split. parts: each fill, made to agree with the ticket [kg]; cov (n, n): their covariance, below 0 between fills
    because what one has less another has more [kg²]; total: of the parts [kg];
    off_kg: ticket - sum of the guesses; off_sd_kg; z: their ratio [-]."""

    parts: tuple[Est, ...]
    cov: npt.NDArray[np.float64]
    total: Est
    off_kg: float
    off_sd_kg: float
    z: float

    @property
    def fits(self) -> bool:
        """Whether the guesses agree with the ticket, at 1 in 100."""
        return abs(self.z) <= 2.576


def split_ticket(ticket: Est, guesses: Sequence[Est]) -> Split:
    """Fills known roughly, their sum known well: the likeliest mass of each.

    The difference is shared out by variance: a fill judged by eye gives way, one off a scale hardly. If part of the load stayed on the
    truck, give it as a guess of its own.

    Parameters
    ----------
    ticket : Est
        Mass of the whole load. [kg]
    guesses : sequence of Est
        Each fill as it was judged; standard deviations above 0 except where a fill was weighed. [kg]

    Returns
    -------
    Split
        Adjusted fills with their covariance. [kg]

    Raises
    ------
    RangeError
        If there is no fill, or neither ticket nor fills have any uncertainty to share the difference by.

    References
    ----------
    definition: least squares under one exact sum: each guess gives way by its variance.

    Examples
    --------
    19,840 kg on the ticket, three fills judged 7, 7 and 6 t, the last one weighed:

    >>> fills = [Est(value=7000, sd=350), Est(value=7000, sd=350), Est(value=6000, sd=30)]
    >>> [round(p.value) for p in split_ticket(Est(value=19840, sd=40), fills).parts]
    [6921, 6921, 5999]
    """
    if not guesses:
        raise RangeError("no fills to split it into", where="guesses", cure="Give each fill as it was judged.")
    v = np.array([g.sd**2 for g in guesses])
    x = np.array([g.value for g in guesses])
    spread = float(v.sum()) + ticket.sd**2
    if spread == 0:
        raise RangeError("nothing has a standard deviation", where="ticket, guesses", cure="Say how well each mass is known.")
    off = ticket.value - float(x.sum())
    gain = v / spread
    parts, cov = x + gain * off, np.diag(v) - np.outer(v, v) / spread
    sd = np.sqrt(np.maximum(np.diag(cov), 0.0))
    return Split(
        parts=tuple(Est(value=float(p), sd=float(s), basis="computed", source="ticket split") for p, s in zip(parts, sd, strict=True)),
        cov=cov,
        total=Est(value=float(parts.sum()), sd=math.sqrt(max(float(cov.sum()), 0.0)), basis="computed", source="ticket split"),
        off_kg=off,
        off_sd_kg=math.sqrt(spread),
        z=off / math.sqrt(spread),
    )
