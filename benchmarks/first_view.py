"""The first view of a fresh process: run as a child, prints the milliseconds of one request and of the next."""

import os
import sys

from benchmarks.house import seconds, wake


def main(path: str) -> None:
    """Ask for one page twice; the cookie of whoever signed in comes from the environment."""
    wake()
    from benchmarks.asking import Visitor

    visitor = Visitor(os.environ["MARKSTEAD_BENCH_COOKIE"])
    first = seconds(lambda: visitor.get(path))
    second = seconds(lambda: visitor.get(path))
    print(first * 1000, second * 1000)


if __name__ == "__main__":
    main(sys.argv[1])
