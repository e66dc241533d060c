"""Plays sessions one after the other, and counts."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field
from statistics import median

from tests.outside.generated_find.builder import Builder


@dataclass
class Done:
    """How many sessions ended in which way, and the stories of what must not be."""

    results: Counter[str] = field(default_factory=Counter)
    questions: list[int] = field(default_factory=list)
    blamed: list[str] = field(default_factory=list)  # sure, and not it
    unseen: int = 0  # faults that no picture shows to this person
    beyond: list[str] = field(default_factory=list)  # faults that it cannot know
    missed: list[str] = field(default_factory=list)  # not found, though it can be seen
    back: list[str] = field(default_factory=list)
    misread: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def __str__(self) -> str:
        lines = [", ".join(f"{n} {what}" for what, n in self.results.most_common())]
        lines.append(f"{self.unseen} that no picture shows")
        if self.questions:
            lines.append(f"pictures to the right name: median {median(self.questions)}, "
                         f"most {max(self.questions)}")  # fmt: skip
        for name in ("wrong", "blamed", "missed", "beyond", "misread", "back"):
            told = getattr(self, name)
            lines += [f"{name}: {len(told)}", *(f"  - {x}" for x in told)]
        return "\n".join(lines)


def play(numbers: Iterable[int], most: tuple[int, int] = (14, 10)) -> Done:
    """The sessions of these numbers."""
    done = Done()
    for n in numbers:
        builder = Builder(n, most)
        told = builder.run()
        d = builder.case.display.grid
        story = f"{n}, {d.columns} × {d.rows}, {builder.case.sentence}: "
        done.results[told.result] += 1
        done.unseen += not told.visible
        if told.questions:
            done.questions.append(told.questions)
        if builder.case.beyond:
            done.beyond.append(f"{story}{told.result}; {'; '.join(told.named)}")
        else:
            done.blamed += [story + x for x in told.named]
            if told.visible and told.result in ("nothing", "unfinished"):
                done.missed.append(f"{story}{told.result} after {told.asked}")
        done.back += [f"{n}: {x}" for x in told.back]
        done.misread += [f"{n}: {x}" for x in told.misread]
        done.wrong += [story + x for x in told.wrong]
    return done
