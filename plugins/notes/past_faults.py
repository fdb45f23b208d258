"""Past faults: how often shops proved each part to have failed, in which way, and their weight.

Only a fault note that names how the part was proved bad counts; one in conflict, withdrawn or
without a proof counts as nothing.
"""

from __future__ import annotations

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from typing import Any, Final, NamedTuple

from ...schema.note import Note
from ..readings.observed_range import select_settled_notes

# How technicians write each way of failing. Common practice.
_WAYS: Final = {
    "slider open": r"\bslider\b",
    "open": r"(?<!slider )\b(open|interrupted)\b",
    "shorted": r"\b(shorted|short(ed)? circuit|shorts|a short)\b(?! turns)",
    "dried out": r"\bdr(ied|y) (out|up)\b|\bdried\b",
    "leaky": r"\bleak(s|y|ing|age)?\b",
    "value high": r"\b(gone|too|value|drifted|drifts) (high|up)\b",
    "value low": r"\b(gone|too|value|drifted|drifts) (low|down)\b",
    "off frequency": r"\boff frequency\b|\banother frequency\b",
    "weak": r"\bweak\b",
}
_JOINT: Final = re.compile(r"\bjoint of pin ([1-9][0-9]*)\b", re.IGNORECASE)


class PastFault(NamedTuple):
    """A cause that one note proved, in one set or several."""

    kind: str
    """``part`` or ``joint``."""
    name: str
    """Reference of the part, number of the pin whose joint was open."""
    way: str | None
    """Way of failing as fault finding names it; None where the note's words fit none or several."""
    chassis: str | None
    shop: str
    """Name under which its shop counts; shops whose key nobody compared have one together."""
    sets: int


class WaySeen(NamedTuple):
    """One way of failing of a part, counted here and in other chassis."""

    way: str | None
    sets: int
    of_sets: int
    """Sets with any proved cause."""
    shops: int
    sets_elsewhere: int = 0
    of_sets_elsewhere: int = 0

    @property
    def words(self) -> str:
        """The counts as the card says them: ``open in 5 of 7 sets here, 2 shops``."""
        way = self.way or "failed in another way"
        pieces = []
        if self.of_sets:
            pieces.append(f"{way} in {_format_share(self.sets, self.of_sets)} here")
        if self.of_sets_elsewhere:
            share = _format_share(self.sets_elsewhere, self.of_sets_elsewhere)
            pieces.append(f"{way if not pieces else ''} in {share} of other chassis".strip())
        shops = f"{self.shops} shop" + ("s" if self.shops > 1 else "")
        return f"{', '.join(pieces)}, {shops}"

    def document(self) -> dict[str, Any]:
        """Return the counts and their words as plain data."""
        return {**self._asdict(), "words": self.words}


def collect_past_faults(notes: Iterable[Note]) -> list[PastFault]:
    """Return the cause that each note on one chip proved; the other notes give none."""
    faults = []
    for note in select_settled_notes(notes):
        # Without a proof the part may have been changed in vain.
        if note.kind != "fault and remedy" or not note.proof:
            continue
        failure = note.failure or ""
        joint = _JOINT.search(failure)
        if note.part is not None:
            cause = ("part", note.part, name_way(failure))
        elif joint is not None:
            cause = ("joint", joint[1], "open")
        else:
            continue
        faults.append(PastFault(*cause, note.chassis, note.voice, note.sets))
    return faults


def name_way(failure: str) -> str | None:
    """Return the way of failing that a note's words name; None for none or several."""
    text = " ".join(failure.casefold().split())
    named_ways = [way for way, pattern in _WAYS.items() if re.search(pattern, text)]
    return named_ways[0] if len(named_ways) == 1 else None


def count_ways(
    faults: Sequence[PastFault], part: str, chassis: str | None = None
) -> tuple[WaySeen, ...]:
    """Return each way in which a part was proved to have failed, the most frequent first.

    With ``chassis`` the sets of other chassis are counted apart; without it all are here.
    """
    # Of all sets with a proved cause: "open in 5 of 7 sets".
    sets_here = sum(fault.sets for fault in faults if is_here(fault, chassis))
    sets_elsewhere = sum(fault.sets for fault in faults) - sets_here
    faults_of_way: dict[str | None, list[PastFault]] = {}
    for fault in faults:
        if (fault.kind, fault.name) == ("part", part):
            faults_of_way.setdefault(fault.way, []).append(fault)
    ways = [
        WaySeen(
            way=way,
            sets=sum(fault.sets for fault in same_way if is_here(fault, chassis)),
            of_sets=sets_here,
            shops=len({fault.shop for fault in same_way}),
            sets_elsewhere=sum(fault.sets for fault in same_way if not is_here(fault, chassis)),
            of_sets_elsewhere=sets_elsewhere,
        )
        for way, same_way in faults_of_way.items()
    ]
    return tuple(sorted(ways, key=lambda seen: (-seen.sets, -seen.sets_elsewhere)))


def is_here(fault: PastFault, chassis: str | None) -> bool:
    """Return whether a fault counts as of this chassis; every one does while it is not known."""
    return not chassis or (fault.chassis or "").casefold() == chassis.casefold()


def weigh_sets(
    faults: Sequence[PastFault],
    chassis: str | None,
    *,
    here: float,
    elsewhere: float,
    most_of_a_shop: float,
) -> list[float]:
    """Return the number of sets that each fault counts as.

    A set here counts as ``here`` sets, one of another chassis as ``elsewhere``: a power prior, in
    which earlier data of another population enter with a power below 1 (J. G. Ibrahim and M.-H.
    Chen, Power Prior Distributions for Regression Models, Statistical Science 15, 2000; from
    memory). All sets of one shop together count as at most ``most_of_a_shop``; beyond that each of
    its faults counts less in proportion.
    """
    weighed_sets = [
        fault.sets * (here if is_here(fault, chassis) else here * elsewhere) for fault in faults
    ]
    sets_of_shop: dict[str, float] = defaultdict(float)
    for fault, sets in zip(faults, weighed_sets, strict=True):
        sets_of_shop[fault.shop] += sets
    return [
        sets * min(1.0, most_of_a_shop / sets_of_shop[fault.shop]) if sets else 0.0
        for fault, sets in zip(faults, weighed_sets, strict=True)
    ]


def update_shares(
    shares: Sequence[float], counts: Sequence[float], sets_behind: float
) -> list[float]:
    """Return the shares of some causes after ``counts`` sets of each.

    The shares of the causes are given a Dirichlet distribution with the parameters A p_k, where
    p_k are the ``shares``, adding up to 1, and A is ``sets_behind``, the number of sets that they
    are worth. After n_k sets with the cause k, N in all, the posterior mean of its share is

        (A p_k + n_k) / (A + N).

    Source: A. Gelman et al., Bayesian Data Analysis, 3rd edition, section 3.4 (multinomial model
    with a Dirichlet prior; from memory).
    """
    total = sets_behind + sum(counts)
    return [
        (sets_behind * share + count) / total for share, count in zip(shares, counts, strict=True)
    ]


def _format_share(sets: int, of_sets: int) -> str:
    return f"{sets} of {of_sets} set" + ("s" if of_sets > 1 else "")
