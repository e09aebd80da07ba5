"""The clock: one of the two places that read it (the other is the command line)."""

import os
from datetime import UTC, datetime, timedelta

from markstead.records.home import Home


def real_now() -> datetime:
    """The instant of the machine, or the one that `MARKSTEAD_NOW` holds still for tests."""
    fixed = os.environ.get("MARKSTEAD_NOW")
    return datetime.fromisoformat(fixed) if fixed else datetime.now(UTC).replace(microsecond=0)


def now(home: Home) -> datetime:
    """The instant of a home; a demonstration's clock runs behind."""
    return real_now() - timedelta(seconds=home.demo_shift or 0)
