"""What each scope gets from each address, for a bare request with ids that nobody has.

403 is "not with this key", 404 "no such object", 415 "allowed, and now the body". A new address needs a line
here: look at what each scope may do before writing it.
"""

from __future__ import annotations

TABLE = """\
bench booking manager
200 200 200  GET    /board
401 401 401  GET    /board/data
204 403 204  POST   /board/session
204 204 204  DELETE /board/session
404 404 404  GET    /calendars/{token}.ics
404 404 404  GET    /cards/{token}
200 200 200  GET    /docs
200 200 200  GET    /docs/calculations
200 200 200  GET    /docs/problems
200 200 200  GET    /livez
200 200 200  GET    /metrics
200 200 200  GET    /openapi.json
200 200 200  GET    /readyz
200 403 200  GET    /v1/adjustment-responses
200 403 200  GET    /v1/adjustment-responses/samples
404 403 404  POST   /v1/adjustment-responses/samples/{sample_id}/review
422 422 422  GET    /v1/availability
200 403 200  GET    /v1/benches
403 403 415  POST   /v1/benches
404 403 404  GET    /v1/benches/{bench_id}
403 403 404  PATCH  /v1/benches/{bench_id}
409 403 409  GET    /v1/board
200 200 200  GET    /v1/bookings
415 415 415  POST   /v1/bookings
404 404 404  GET    /v1/bookings/{booking_id}
404 404 404  POST   /v1/bookings/{booking_id}/cancel
404 404 404  POST   /v1/bookings/{booking_id}/card-links
404 403 404  POST   /v1/bookings/{booking_id}/check-in
404 404 404  POST   /v1/bookings/{booking_id}/confirm
404 404 404  POST   /v1/bookings/{booking_id}/move
404 403 404  POST   /v1/bookings/{booking_id}/no-show
200 200 200  GET    /v1/calculations
415 415 415  POST   /v1/calculations/action-forecast
415 415 415  POST   /v1/calculations/adjustment-response
415 415 415  POST   /v1/calculations/bench-agreement
415 415 415  POST   /v1/calculations/bridge-height
415 415 415  POST   /v1/calculations/cents
415 415 415  POST   /v1/calculations/compensation
415 415 415  POST   /v1/calculations/conformity
415 415 415  POST   /v1/calculations/fret-positions
415 415 415  POST   /v1/calculations/hygrometer-check
415 415 415  POST   /v1/calculations/indoor-humidity
415 415 415  POST   /v1/calculations/moisture-response
415 415 415  POST   /v1/calculations/nut-slots
415 415 415  POST   /v1/calculations/pitch
415 415 415  POST   /v1/calculations/relief-at-fret
415 415 415  POST   /v1/calculations/restring-forecast
415 415 415  POST   /v1/calculations/saddle-position
415 415 415  POST   /v1/calculations/seasonal-drift
415 415 415  POST   /v1/calculations/string-clearance
415 415 415  POST   /v1/calculations/string-inharmonicity
415 415 415  POST   /v1/calculations/string-tension
415 415 415  POST   /v1/calculations/summary
415 415 415  POST   /v1/calculations/wood-moisture
415 415 415  POST   /v1/calculations/wood-movement
403 403 200  GET    /v1/calendars
403 403 415  POST   /v1/calendars
403 403 404  GET    /v1/calendars/{calendar_id}
403 403 404  DELETE /v1/calendars/{calendar_id}
404 404 404  GET    /v1/card-links/{card_link_id}
404 404 404  DELETE /v1/card-links/{card_link_id}
200 403 200  GET    /v1/climates
403 403 415  POST   /v1/climates
403 403 415  POST   /v1/climates/csv
403 403 415  POST   /v1/climates/epw
404 403 404  GET    /v1/climates/{climate_id}
403 403 404  PATCH  /v1/climates/{climate_id}
200 403 200  GET    /v1/closures
403 403 415  POST   /v1/closures
404 403 404  GET    /v1/closures/{closure_id}
403 403 404  DELETE /v1/closures/{closure_id}
200 200 200  GET    /v1/events
200 403 200  GET    /v1/hygrometers
415 403 415  POST   /v1/hygrometers
404 403 404  GET    /v1/hygrometers/{hygrometer_id}
404 403 404  PATCH  /v1/hygrometers/{hygrometer_id}
404 403 404  GET    /v1/hygrometers/{hygrometer_id}/checks
404 403 404  POST   /v1/hygrometers/{hygrometer_id}/checks
200 403 200  GET    /v1/instrument-models
403 403 415  POST   /v1/instrument-models
404 403 404  GET    /v1/instrument-models/{model_id}
403 403 404  PATCH  /v1/instrument-models/{model_id}
404 403 404  GET    /v1/instrument-models/{model_id}/setup-spec
403 403 404  PUT    /v1/instrument-models/{model_id}/setup-spec
200 403 200  GET    /v1/instruments
415 403 415  POST   /v1/instruments
404 403 404  GET    /v1/instruments/{instrument_id}
404 403 404  PATCH  /v1/instruments/{instrument_id}
404 403 404  GET    /v1/instruments/{instrument_id}/clearance
404 403 404  GET    /v1/instruments/{instrument_id}/forecast
404 403 404  GET    /v1/instruments/{instrument_id}/intonation
404 403 404  GET    /v1/instruments/{instrument_id}/keeping
404 403 404  PUT    /v1/instruments/{instrument_id}/keeping
404 403 404  GET    /v1/instruments/{instrument_id}/setup-spec
403 403 404  PUT    /v1/instruments/{instrument_id}/setup-spec
404 403 404  GET    /v1/instruments/{instrument_id}/setup-spec/resolved
200 403 200  GET    /v1/jobs
415 403 415  POST   /v1/jobs
415 403 415  POST   /v1/jobs/claims
404 403 404  GET    /v1/jobs/{job_id}
404 403 404  PATCH  /v1/jobs/{job_id}
404 403 404  GET    /v1/jobs/{job_id}/adjustments
404 403 404  POST   /v1/jobs/{job_id}/adjustments
404 403 404  GET    /v1/jobs/{job_id}/card
404 403 404  GET    /v1/jobs/{job_id}/card-links
404 403 404  POST   /v1/jobs/{job_id}/card-links
404 403 404  POST   /v1/jobs/{job_id}/claim
404 403 404  DELETE /v1/jobs/{job_id}/claim/{claim_id}
404 403 404  GET    /v1/jobs/{job_id}/claims
404 403 404  GET    /v1/jobs/{job_id}/consents
404 403 404  POST   /v1/jobs/{job_id}/consents
404 403 404  POST   /v1/jobs/{job_id}/consents/{consent_id}/withdrawal
404 403 404  POST   /v1/jobs/{job_id}/handover
404 403 404  GET    /v1/jobs/{job_id}/looks
404 403 404  GET    /v1/jobs/{job_id}/moves
404 403 404  POST   /v1/jobs/{job_id}/moves
404 403 404  GET    /v1/jobs/{job_id}/parts
404 403 404  POST   /v1/jobs/{job_id}/parts
404 403 404  GET    /v1/jobs/{job_id}/quotes
404 403 404  POST   /v1/jobs/{job_id}/quotes
404 403 404  PATCH  /v1/jobs/{job_id}/quotes/{quote_id}
404 403 404  GET    /v1/jobs/{job_id}/reading-sheets
404 403 404  POST   /v1/jobs/{job_id}/reading-sheets
404 403 404  GET    /v1/jobs/{job_id}/reading-sheets/{sheet_id}
404 403 404  GET    /v1/jobs/{job_id}/readings
404 403 404  GET    /v1/jobs/{job_id}/recommendation
404 403 404  GET    /v1/jobs/{job_id}/setup-spec
404 403 404  PUT    /v1/jobs/{job_id}/setup-spec
403 403 404  POST   /v1/jobs/{job_id}/setup-spec/renewal
404 403 404  GET    /v1/jobs/{job_id}/setup-spec/resolved
403 403 200  GET    /v1/keys
403 403 415  POST   /v1/keys
403 403 404  GET    /v1/keys/{key_id}
403 403 404  DELETE /v1/keys/{key_id}
200 403 200  GET    /v1/owners
415 403 415  POST   /v1/owners
404 403 404  GET    /v1/owners/{owner_id}
404 403 404  PATCH  /v1/owners/{owner_id}
403 403 404  POST   /v1/owners/{owner_id}/erasure
415 403 415  POST   /v1/recommendations
409 403 409  GET    /v1/reminders
404 403 404  GET    /v1/reminders/{reminder_id}
404 403 404  POST   /v1/reminders/{reminder_id}/answers
404 403 404  GET    /v1/reminders/{reminder_id}/history
200 403 200  GET    /v1/room-readings
415 403 415  POST   /v1/room-readings
415 403 415  POST   /v1/room-readings/batch
415 403 415  POST   /v1/room-readings/csv
404 403 404  GET    /v1/room-readings/{room_reading_id}
200 403 200  GET    /v1/room-warnings
200 403 200  GET    /v1/rooms
415 403 415  POST   /v1/rooms
404 403 404  GET    /v1/rooms/{room_id}
404 403 404  PATCH  /v1/rooms/{room_id}
404 403 404  GET    /v1/rooms/{room_id}/air
200 403 200  GET    /v1/season-settings
403 403 415  PUT    /v1/season-settings
200 403 200  GET    /v1/sensitivities
200 200 200  GET    /v1/services
403 403 415  POST   /v1/services
404 404 404  GET    /v1/services/{service_id}
403 403 404  PATCH  /v1/services/{service_id}
200 403 200  GET    /v1/settling
200 403 200  GET    /v1/setup-specs
404 403 404  GET    /v1/setup-specs/shop/{kind}
403 403 415  PUT    /v1/setup-specs/shop/{kind}
404 403 404  GET    /v1/setup-specs/{spec_id}
404 403 404  GET    /v1/shop
403 403 415  PUT    /v1/shop
403 403 415  PATCH  /v1/shop
200 403 200  GET    /v1/string-sets
403 403 415  POST   /v1/string-sets
404 403 404  GET    /v1/string-sets/{string_set_id}
403 403 404  PATCH  /v1/string-sets/{string_set_id}
200 403 200  GET    /v1/technicians
403 403 415  POST   /v1/technicians
404 403 404  GET    /v1/technicians/{technician_id}
403 403 404  PATCH  /v1/technicians/{technician_id}
200 403 200  GET    /v1/tools
403 403 415  POST   /v1/tools
404 403 404  GET    /v1/tools/{tool_id}
403 403 404  PATCH  /v1/tools/{tool_id}
200 403 200  GET    /v1/tunings
403 403 415  POST   /v1/tunings
404 403 404  GET    /v1/tunings/{tuning_id}
403 403 404  PATCH  /v1/tunings/{tuning_id}
403 200 200  GET    /v1/webhook-deliveries
403 404 404  GET    /v1/webhook-deliveries/{delivery_id}
403 404 404  POST   /v1/webhook-deliveries/{delivery_id}/replay
403 200 200  GET    /v1/webhook-endpoints
403 415 415  POST   /v1/webhook-endpoints
403 404 404  GET    /v1/webhook-endpoints/{endpoint_id}
403 404 404  PATCH  /v1/webhook-endpoints/{endpoint_id}
403 404 404  DELETE /v1/webhook-endpoints/{endpoint_id}
403 404 404  POST   /v1/webhook-endpoints/{endpoint_id}/secret
"""


def _read() -> dict[str, list[int]]:
    expected = {}
    for line in TABLE.splitlines()[1:]:
        bench, booking, manager, method, path = line.split()
        expected[f"{method} {path}"] = [int(bench), int(booking), int(manager)]
    return expected


EXPECTED = _read()
