"""What the answers so far say of each suspect, and which picture to look at next.

The suspects are all single faults, and that there is none (the last). Bayes' rule gives their
probabilities. A picture splits the suspects into groups that look the same; what it is expected to
tell is the entropy of these groups: Shannon, A Mathematical Theory of Communication, 1948. The next
picture is the one with the most bits a second of the person's time.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from emulator.arrays import Floats, Ints

ENOUGH = 0.95  # of one place: it is named
RIGHT_ENOUGH = 0.999  # that nothing is wrong: each fault should have had its chance to show
LEAST_BITS = 0.002  # a picture that is expected to tell less is not worth the time


@dataclass(frozen=True, eq=False)
class Belief:
    """What the answers say.

    probability: (F + 1,) of each suspect; the last: there is no further fault. place: (F + 1,) the
    class of each: those of a class look the same in all pictures. beside: numbers of the suspects
    that are taken to be there as well. twins: (K, 2) suspects that are one part: always as the
    first of them says, or now and then.
    """

    probability: Floats
    place: Ints
    beside: tuple[int, ...]
    twins: Ints

    @cached_property
    def of_place(self) -> Floats:
        """The probability of each class."""
        return np.asarray(np.bincount(self.place, self.probability), dtype=np.float64)

    @property
    def best(self) -> int:
        """The class that is most likely."""
        return int(self.of_place.argmax())

    def beside_members(self, place: int) -> Ints:
        """The suspects of other classes that are a part of this class, too: the same joint, always
        open or now and then."""
        inside = self.place[self.twins] == place
        return np.unique(self.twins[:, ::-1][inside & ~inside[:, ::-1]])

    @property
    def sureness(self) -> float:
        """The probability that the part to repair is one of the most likely class."""
        twins = self.probability[self.beside_members(self.best)].sum()
        return float(self.of_place[self.best] + twins)

    @property
    def sure(self) -> bool:
        """Whether one place has enough; that nothing is wrong takes more."""
        right = self.best == self.place[-1]
        return self.sureness >= (RIGHT_ENOUGH if right else ENOUGH)

    def members(self, place: int) -> Ints:
        """The suspects of a class, the most likely first."""
        found = np.flatnonzero(self.place == place)
        return np.asarray(found[np.argsort(-self.probability[found], kind="stable")])

    def ranked(self, most: int) -> list[int]:
        """The most likely classes, at most so many."""
        order: list[int] = np.argsort(-self.of_place, kind="stable")[:most].tolist()
        return order


def probabilities(log_odds: Floats) -> Floats:
    """(F,) probabilities of suspects, one of which is the case, from logarithms of their odds."""
    each = np.exp(log_odds - log_odds.max())
    return np.asarray(each / each.sum())


def expected_bits(group: Ints, probability: Floats) -> float:
    """Entropy, in bits, of the groups (F,) that a picture splits suspects into."""
    share = np.bincount(group, probability)
    share = share[share > 0]
    return float(-(share * np.log2(share)).sum())


def places(signatures: NDArray[np.uint64]) -> Ints:
    """(F,) the number of the class of each suspect: those of one look the same in all pictures."""
    return np.unique(signatures, axis=0, return_inverse=True)[1].ravel()


def best_question(
    groups: Ints, seconds: Floats, probability: Floats, but: Container[int] = ()
) -> tuple[int, float] | None:
    """The picture that tells the most a second, and its bits; None if none tells LEAST_BITS.

    groups: (F, Q) the group of each suspect under each picture. but: pictures not to take.
    """
    some = np.flatnonzero(probability > probability.max() * 1e-6)
    bits = [
        expected_bits(groups[some, number], probability[some]) for number in range(len(seconds))
    ]
    rate = [
        one / seconds[number] if number not in but and one >= LEAST_BITS else 0.0
        for number, one in enumerate(bits)
    ]
    best = int(np.argmax(rate))
    return (best, bits[best]) if rate[best] > 0 else None
