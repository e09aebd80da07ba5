"""Numbers in a page in Spanish."""

DECIMAL_SEPARATOR = "."
THOUSAND_SEPARATOR = ""
