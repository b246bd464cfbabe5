"""What every endpoint shares: keys, problems, idempotency, ETags, paging, strict fields, quantities."""

DESCRIPTION = """\
The service of a workshop that sets up fretted instruments.

* A measured or computed value is `{"value": 1.7, "unit": "mm"}`. Any unit of the right dimension is taken;
  `?units=inch` or the key's preference turns the answers.
* Instants are RFC 3339, in with any offset, out in UTC. Days are `YYYY-MM-DD` in the shop's time zone.
  Both lie in the years 1900 to 2999.
* Errors are `application/problem+json` (RFC 9457). `code` says which, `errors` points to every bad field.
* A POST that creates takes an `Idempotency-Key`; sent again with the same one it is done once.
* Edits need `If-Match` with the `ETag` of what was read.
* Lists are read page by page: follow `next`.
* Version 1 only ever adds. Ignore fields that you do not know.
"""
