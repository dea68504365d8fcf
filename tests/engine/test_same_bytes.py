"""The same inputs give the same bytes in another process, whatever its hash seed."""

import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
PRICED = """
from quotes.engine import canonical
from quotes.engine.rollup import price
from tests.engine import made
made_of = b"".join(canonical.dump(made.by_seed(seed)) for seed in range(40))
priced = b"".join(canonical.dump(price(made.by_seed(seed)).result) for seed in range(40))
print(canonical.sha256(made_of), canonical.sha256(priced))
"""


def printed(hash_seed: str) -> str:
    environment = os.environ | {"PYTHONHASHSEED": hash_seed, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", PRICED], env=environment, capture_output=True, text=True, check=True
    )
    return done.stdout


def test_forty_quotes_have_the_same_bytes_under_five_hash_seeds() -> None:
    first, *others = [printed(seed) for seed in ("0", "1", "2", "1234", "4294967295")]
    assert len(first.split()) == 2
    assert others == [first] * 4
