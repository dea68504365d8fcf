"""What the engine worked out a moment ago, for whoever looks at the very same values again.

The engine is pure: the same values give the same answer by the same formulas, so nothing here can be out of date. Values
are the same when they are written alike to the last digit, as figures and their explanations are. Errors are not kept.
"""

import hashlib
import pickle
from collections import OrderedDict
from collections.abc import Callable
from functools import wraps
from threading import Lock
from typing import ParamSpec, TypeVar

from quotes.engine.formulas import PRESENT

P = ParamSpec("P")
T = TypeVar("T")


def remembered(work: Callable[P, T], *, most: int) -> Callable[P, T]:
    """``work``, which must be pure and give back what nobody changes; its ``most`` latest answers are kept in this process."""
    kept: OrderedDict[bytes, T] = OrderedDict()
    lock = Lock()

    @wraps(work)
    def look(*args: P.args, **kwargs: P.kwargs) -> T:
        key = hashlib.sha256(pickle.dumps((PRESENT, args, kwargs), protocol=5)).digest()
        with lock:
            if key in kept:
                kept.move_to_end(key)
                return kept[key]
        answer = work(*args, **kwargs)
        with lock:
            kept[key] = answer
            while len(kept) > most:
                kept.popitem(last=False)
        return answer

    return look
