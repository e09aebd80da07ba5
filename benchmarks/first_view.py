"""The first view of a fresh process: run as a child, prints the seconds of its first request, by wall and processor."""

import os
import sys

from benchmarks.house import both, wake


def main(path: str) -> None:
    """Ask for one page; the cookie of whoever signed in comes from the environment."""
    wake()
    from benchmarks.asking import Visitor

    visitor = Visitor(os.environ["MARKSTEAD_BENCH_COOKIE"])
    print(*both(lambda: visitor.get(path)))


if __name__ == "__main__":
    main(sys.argv[1])
