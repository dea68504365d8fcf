"""What it is worth to look up how a part left the factory, before a finish goes on.

Without looking, the finish with the smallest expected loss is put on. A source may change that; what it saves is

    min_f E[L(f, g)] - Σ_e P(e) min_f E[L(f, g) | e],

with L(f, g) the loss when f is put on and g was right, and e what the source says. With n answers and the strength r,
P(e | g) is r / (r + n - 1) for e = g and 1 / (r + n - 1) else (see `evidence`), so that

    E[L(f, g) given e] P(e) = (E[L(f, g)] + (r - 1) P(g = e) L(f, e)) / (r + n - 1).

The saving is summed as what the best choice then saves against the best choice now, for each e: never negative, and
exactly 0 where nothing the source can say changes the choice. It is at most the value of knowing,
min_f E[L(f, g)] - Σ_g P(g) min_f L(f, g) (Howard, Information Value Theory, 1966: value from memory of what is proved there).

Worked: red or black alike, none .04, so .48, .48, .04. Red put on where black was right loses 1000, black where red was
600, either where it was neither 800.

| | red | black | |
| --- | --- | --- | --- |
| expected loss now | .48 · 1000 + .04 · 800 = 512 | .48 · 600 + .04 · 800 = 320 | black |
| a source (r = 8) says red, × 10 | 512 | 320 + 7 · .48 · 600 = 2336 | red, saves 1824 |
| it says black, × 10 | 512 + 7 · .48 · 1000 = 3872 | 320 | black |
| it says neither, × 10 | 512 + 7 · .04 · 800 = 736 | 320 + 7 · .04 · 800 = 544 | black |

It saves 182.40; knowing would save 320 - .04 · 800 = 288.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Any

from quotes.engine.errors import BadInput
from quotes.engine.evidence import belief, checked_strength
from quotes.engine.inputs import NONE_OF_THESE, FinishQuestion, LookUp

#: (put on, right) to what that loses [money].
Losses = Mapping[tuple[str, str], Decimal]


@dataclass(frozen=True, slots=True)
class Share:
    """What a source saves on one part [money], what knowing would save there, and whether it can change the choice."""

    part: str
    saving: Decimal
    knowing: Decimal
    changes: bool


@dataclass(frozen=True, slots=True)
class Worth:
    """What looking into a source is expected to save over all parts it speaks of [money], and what it costs."""

    key: str
    name: str
    saving: Decimal
    cost: Decimal
    knowing: Decimal
    shares: tuple[Share, ...]

    @property
    def net(self) -> Decimal:
        """Saving less cost [money]; looking pays where it is above 0."""
        return self.saving - self.cost

    @property
    def changes(self) -> bool:
        """Whether it can change a choice at all."""
        return any(share.changes for share in self.shares)


def checked(look_up: LookUp) -> LookUp:
    """``look_up`` if its strength and cost can be, else `BadInput`."""
    checked_strength(look_up.strength, name=look_up.name)
    if (isinstance(look_up.cost, Decimal) and not look_up.cost.is_finite()) or look_up.cost < 0:
        raise BadInput(
            "Looking into “{name}” costs {cost}. Give 0 or more.", field="cost", name=look_up.name, cost=look_up.cost
        )
    return look_up


def worth(
    look_ups: Iterable[LookUp], questions: Mapping[str, FinishQuestion], losses: Mapping[str, Losses]
) -> tuple[Worth, ...]:
    """``look_ups`` by what they save less what they cost, the best first, ties by key.

    ``questions`` as `evidence.checked` and ``losses`` go by part uid; a part that has none of either saves nothing.

    >>> from quotes.engine.inputs import Candidate
    >>> asked = FinishQuestion("b", (Candidate("r", "red"), Candidate("b", "black")), none=Decimal("0.04"))
    >>> lost = {("r", "b"): Decimal(1000), ("b", "r"): Decimal(600), ("r", ""): Decimal(800), ("b", ""): Decimal(800)}
    >>> archive = LookUp("archive", "works record", Decimal(40), Decimal(8), ("tank",))
    >>> (found,) = worth([archive], {"tank": asked}, {"tank": lost})
    >>> [str(value.normalize()) for value in (found.saving, found.net)], found.knowing == 288
    (['182.4', '142.4'], True)
    """
    choices = {uid: _Choice.of(questions[uid], losses[uid]) for uid in questions if uid in losses}
    found = [_worth(checked(look_up), choices) for look_up in look_ups]
    return tuple(sorted(found, key=lambda item: (-item.net, item.key)))


def _worth(look_up: LookUp, choices: Mapping[str, "_Choice"]) -> Worth:
    parts = [uid for uid in dict.fromkeys(look_up.parts) if uid in choices]
    shares = tuple(choices[uid].share(uid, look_up.strength) for uid in parts)
    nothing = look_up.cost * 0
    return Worth(
        key=look_up.key,
        name=look_up.name,
        saving=sum((share.saving for share in shares), nothing),
        cost=look_up.cost,
        knowing=sum((share.knowing for share in shares), nothing),
        shares=shares,
    )


@dataclass(frozen=True, slots=True)
class _Choice:
    """Which finish to put on, by what is believed: expected loss of each, and the best as things stand."""

    chances: Mapping[str, Any]
    losses: Losses
    expected: Mapping[str, Any]
    best: str
    noticed: Any

    @classmethod
    def of(cls, question: FinishQuestion, losses: Losses) -> "_Choice":
        chances = belief(question)
        keys = sorted(candidate.key for candidate in question.candidates)
        expected = {
            key: sum(chance * losses[key, right] for right, chance in chances.items() if right != key) for key in keys
        }
        best = min(keys, key=lambda key: (expected[key], key))
        return cls(chances, losses, expected, best, question.noticed)

    def lost(self, put_on: str, right: str) -> Any:
        return 0 if put_on == right else self.losses[put_on, right]

    def share(self, uid: str, strength: Any) -> Share:
        """What a source of ``strength`` saves on the part ``uid``."""
        gains = [self._gain(says, strength) for says in self.chances]
        scale = self.noticed / (strength + len(self.chances) - 1)
        return Share(uid, scale * sum(gains), self.noticed * self._knowing(), any(gain > 0 for gain in gains))

    def _gain(self, says: str, strength: Any) -> Any:
        """What the best choice saves against the present one when the source ``says`` so, times its normalisation."""
        weight = (strength - 1) * self.chances[says]
        then = {key: loss + weight * self.lost(key, says) for key, loss in self.expected.items()}
        return then[self.best] - min(then.values())

    def _knowing(self) -> Any:
        rest = self.chances[NONE_OF_THESE] * min(self.lost(key, NONE_OF_THESE) for key in self.expected)
        return self.expected[self.best] - rest
