"""Measure the first rows of answers over all enquiries: ``python -m tests.bench.first_rows``."""

from __future__ import annotations

import time

import fitgraph
from tests.first_rows import FIRST, measure


def main() -> None:
    """Print the share of weighings that are hit, and the regret."""
    shop = fitgraph.open()
    began = time.process_time()
    found = measure(shop.engine, shop.catalogue.enquiries)
    print(
        f"{found.enquiries} enquiries, 500 weighings each, first {FIRST} rows: a best way among "
        f"them {found.hits:.1%}, mean regret {found.regret:.3%}, at worst {found.worst:.3%} of an "
        f"enquiry's span ({time.process_time() - began:.0f} s)"
    )


if __name__ == "__main__":
    main()
