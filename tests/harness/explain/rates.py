"""The rates of the explanations over all 2,000 composites, in one command.

python -m tests.harness.explain.rates
"""

from __future__ import annotations

import multiprocessing
from collections import Counter
from concurrent.futures import ProcessPoolExecutor

from tests.harness.explain.test_explain_sound import COMPOSITES, PARTS, judge_part, rates

WORKERS = 2


def main() -> None:
    with ProcessPoolExecutor(WORKERS, multiprocessing.get_context("fork")) as pool:
        parts = list(pool.map(judge_part, range(PARTS)))
    print(
        f"{COMPOSITES} composites in {PARTS} parts: {rates(sum((c for c, _ in parts), Counter()))}"
    )


if __name__ == "__main__":
    main()
