"""The causes a check knows: names, prior odds, what is usual, and what to say about each."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from evenstand.reference.figures import figure, figures
from evenstand.reference.practice import fault_odds

KINDS = (
    "factor", "distance", "width", "density", "fill-missed", "fill-doubled", "slip", "overlap", "run", "head", "lid", "bridge", "fan",
    "fixes",
)  # fmt: skip
OF_BIN = ("factor", "density", "fill-missed", "fill-doubled", "slip", "lid", "bridge")


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """A cause by name, such as "factor:A" or "distance". kind: before the colon; where: bin letter, run or head, or ""."""

    name: str

    @property
    def kind(self) -> str:
        """What is wrong. [-]"""
        return self.name.partition(":")[0]

    @property
    def where(self) -> str:
        """Bin letter, run number or head letter, "" for the whole machine. [-]"""
        return self.name.partition(":")[2]


@dataclass(frozen=True, slots=True, kw_only=True)
class Words:
    """What is said about a cause. name: in a list; act: how to confirm it; never: what it must not be taken for."""

    name: str
    act: str
    never: str


_WORDS = {
    "factor": Words(
        name="the meter gives another mass per turn than is typed",
        act="Catch {bin} again over more turns before the next field.",
        never="That the right mass was sown because the display showed its target.",
    ),
    "distance": Words(
        name="the machine counts its distance wrong",
        act="Drive a taped 100 m with the bins half full and compare the count.",
        never="A wrong width, unless the width was taped.",
    ),
    "width": Words(
        name="the typed width is not the tool's width",
        act="Tape the tool, first opener to last plus one row.",
        never="A wrong width from the outline alone: overlap looks the same.",
    ),
    "density": Words(
        name="the bulk density taken for volume fills is wrong",
        act="Weigh a known volume out of {bin}.",
        never="A wrong meter: the scale has not seen these fills.",
    ),
    "fill-missed": Words(
        name="a fill went in that is not on record",
        act="Go through tickets and the loader's memory for {bin}.",
        never="A meter fault from one fill.",
    ),
    "fill-doubled": Words(
        name="a fill is on record twice",
        act="Lay the tickets for {bin} side by side.",
        never="A meter fault from one fill.",
    ),
    "slip": Words(
        name="the rate in force is not the rate asked for",
        act="Read the rate and its unit in force for {bin}, digit by digit.",
        never="Certainty from a ratio alone.",
    ),
    "overlap": Words(
        name="more ground was sown twice than usual",
        act="Look at the passes: headlands, point rows, obstacles.",
        never="A wrong width or distance: the outline cannot tell them from overlap.",
    ),
    "run": Words(
        name="one run is plugged",
        act="Stop the fan, then look at the opener and the hose of {run}; dig behind it.",
        never="Any change of kg/ha: the meter keeps dropping, the siblings take it.",
    ),
    "head": Words(
        name="a whole head or its primary is plugged",
        act="Stop the fan, look into {head} and its primary hose; dig behind two of its openers.",
        never="That the fan caused it, without the fan's speed.",
    ),
    "lid": Words(
        name="air or product leaks at the bin: lid, seal, hose or an open catch door",
        act="Soap the lid and seals of {bin} with the fan running, look for a pile under the cart; stop the fan before any lid is opened.",
        never="A new factor as the cure: what was caught while it leaked, or before, is void once it is tight.",
    ),
    "bridge": Words(
        name="product bridged or did not fall into the meter for a while",
        act="Stop the fan, lock out, and look into {bin} before anybody reaches in.",
        never="From the rate on the display: the meter turned. Nor ground left unsown, without times.",
    ),
    "fan": Words(
        name="the fan does not run at its proven speed",
        act="Read the fan's speed steady at work and through two lifts; then the puff test: product out of every opener within about 3 s.",
        never="Air speed in the hoses, or that a hose plugged: the same turns move less air past a leak or a plug.",
    ),
    "fixes": Words(
        name="the receiver lost its position for a part of the way",
        act="Look at the fix quality of those minutes, and tape 100 m if the distance matters.",
        never="A wrong distance count: the way between lost positions is missing from the receiver, not from the machine.",
    ),
}  # fmt: skip


def words(name: str) -> Words:
    """What is said about a cause, its place filled in.

    Parameters
    ----------
    name : str
        Such as "factor:A". [-]
    """
    cause = Cause(name=name)
    plain = _WORDS[cause.kind]
    places = {"bin": f"bin {cause.where}" if cause.where else "the bin", "run": f"run {cause.where}", "head": f"head {cause.where}"}
    return Words(name=plain.name, act=plain.act.format(**places), never=plain.never)


def described(name: str) -> str:
    """The cause in words with its place, for lists. [-]

    Parameters
    ----------
    name : str
        Such as "factor:A". [-]
    """
    cause = Cause(name=name)
    place = f" (bin {cause.where})" if cause.kind in OF_BIN and cause.where else ""
    return words(name).name + place


@cache
def prior_odds(name: str) -> float:
    """Odds that a job has this cause. [-]

    Parameters
    ----------
    name : str
        Such as "factor:A". [-]
    """
    return fault_odds()[Cause(name=name).kind] * figure("causes", "odds", "distance-drift").value


@cache
def usual_size(kind: str) -> float:
    """Usual size of a cause when it is there, one standard deviation. [share]

    Parameters
    ----------
    kind : str
        "factor", "distance", "width", "density", "overlap", "fill" (of the usual fill) or "slip". [-]
    """
    return figure("causes", "size", kind).value


@cache
def usual(name: str) -> float:
    """What moves on a good day, one standard deviation. [share]

    Parameters
    ----------
    name : str
        Key of `usual` in causes.toml. [-]
    """
    return figure("causes", "usual", name).value


@cache
def usual_stops() -> float:
    """Stops long enough for a fill at which nothing is put in. [1/h]"""
    return figure("causes", "stops", "other").value


@cache
def could_read(name: str) -> float:
    """What a reading not taken yet would be worth, one standard deviation. [share]

    Parameters
    ----------
    name : str
        Key of `could-read` in causes.toml. [-]
    """
    return figure("causes", "could-read", name).value


@cache
def limit(name: str) -> float:
    """A threshold of the check. [-]

    Parameters
    ----------
    name : str
        "believe" or "next". [-]
    """
    return figure("causes", "limits", name).value


@cache
def asked_beyond(kind: str) -> float:
    """Log-evidence asked of one kind of cause beyond the limit for all, so that each kind takes its share of the one budget. [-]

    Parameters
    ----------
    kind : str
        Such as "distance". [-]
    """
    found = figures("causes", "limits-of", kind)
    return found[0].value if found else 0.0


@cache
def stop_share(product_kind: str) -> float:
    """Rate error worth stopping for. [share]

    Parameters
    ----------
    product_kind : str
        "seed", "fertilizer", "inoculant"; anything else counts as seed. [-]
    """
    return figure("causes", "stop", product_kind if product_kind in ("seed", "fertilizer", "inoculant") else "seed").high
