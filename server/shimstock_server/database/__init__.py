"""The database: engine, sessions, tables, history and migrations."""
