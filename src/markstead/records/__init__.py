"""The only door to the database: models, actions that write, queries that read."""
