"""Commands: read arguments, call records, print."""
