"""The migrations: how the tables came to be what they are."""
