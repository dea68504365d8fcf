"""What nobody can see yet: possible damage, and which finish a part had when it was new."""

from dataclasses import dataclass
from decimal import Decimal

from quotes.engine.inputs.kinds import ONE, CostClass, Treatment
from quotes.engine.inputs.work import Remedy


@dataclass(frozen=True, slots=True)
class Damage:
    """What strip-down may reveal on a part: with ``chance`` it costs between ``low`` and ``high``, mostly ``likely`` [money].

    ``cost_class`` says by which margin it is sold.
    """

    uid: str
    name: str
    chance: Decimal
    low: Decimal
    likely: Decimal
    high: Decimal
    treatment: Treatment
    cost_class: CostClass = CostClass.LABOUR
    source: str = ""


#: Key of the answer "none of these" to the question which finish a part had.
NONE_OF_THESE = ""


@dataclass(frozen=True, slots=True)
class Candidate:
    """A finish a part may have had: how likely before any evidence (``prior``, any scale), how it is put on and taken off."""

    key: str
    name: str
    prior: Decimal = ONE
    apply: tuple[Remedy, ...] = ()
    remove: tuple[Remedy, ...] = ()


@dataclass(frozen=True, slots=True)
class Evidence:
    """Something that says the finish was ``says`` (a candidate's key, or none of these).

    ``strength`` is how many times likelier it is to be seen if that is true than if another is. What has one ``origin``
    is one witness.
    """

    uid: str
    name: str
    origin: str
    says: str
    strength: Decimal


@dataclass(frozen=True, slots=True)
class FinishQuestion:
    """Which factory finish a part had: the ``candidates``, the ``evidence``, and the ``chosen`` one to be put on.

    ``none`` is the prior chance that it was none of them [fraction]; ``noticed`` the chance that a wrong finish is seen
    at the final look.
    """

    chosen: str
    candidates: tuple[Candidate, ...]
    evidence: tuple[Evidence, ...] = ()
    none: Decimal = Decimal("0.03")
    noticed: Decimal = ONE


@dataclass(frozen=True, slots=True)
class LookUp:
    """A source nobody has looked into yet: its ``cost`` [money], its ``strength``, and the uids of the parts it speaks of."""

    key: str
    name: str
    cost: Decimal
    strength: Decimal
    parts: tuple[str, ...]
    source: str = ""
