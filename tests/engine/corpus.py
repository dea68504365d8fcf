"""Three hundred made quotes, and the seals of what they were priced at.

``python -m tests.engine.corpus`` writes the seals anew. Do that when the shape of a restoration or of a result changes
before any quote is issued with it; a formula that changes gets a new variant instead.
"""

from collections.abc import Iterator
from pathlib import Path

from quotes.engine import canonical
from quotes.engine.rollup import price
from tests.engine import made

SEALS = Path(__file__).with_name("corpus.txt")
QUOTES = 300

TOPICS = (
    "belief cap comebacks contingency contingency_margin cost damage discount fee film floor handling instalments labour line "
    "material mix net overhead plating portion powder price purchase rework setups share sum tax usage vendor wrong_finish"
)
#: The variants the corpus was sealed with: it goes on recomputing with them when later ones come.
VARIANTS = {topic: f"{topic}_1" for topic in TOPICS.split()}


def seals() -> Iterator[str]:
    for seed in range(QUOTES):
        restoration = made.by_seed(seed)
        snapshot = canonical.sha256(canonical.dump(restoration))
        result = canonical.sha256(canonical.dump(price(restoration, VARIANTS).result))
        yield f"{seed} {snapshot[:16]} {result[:16]}"


if __name__ == "__main__":
    SEALS.write_text("\n".join(seals()) + "\n", encoding="ascii")
