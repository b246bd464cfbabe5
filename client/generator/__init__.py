"""Writes the SDK's records, words, bodies and lists from the published document."""
