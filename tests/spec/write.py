"""Write docs/reference/trade-rules.md anew: python -m tests.spec.write."""

from tests.spec.page import PAGE, rendering

if __name__ == "__main__":
    PAGE.write_text(rendering(), encoding="utf-8")
