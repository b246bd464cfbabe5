"""What the package offers, and what it costs to load."""

from __future__ import annotations

import inspect
import pkgutil
import subprocess
import sys

import pytest

import shimstock_client
from shimstock_client._contract import HOMES

WRITTEN = {
    "Answer", "BadAnswer", "BadRequest", "BoundedRetry", "CallOptions", "Changed", "ClaimEnded",
    "Client", "Conflict", "FieldError", "ForgedWebhook", "InvalidFields", "NotAllowed", "NotFound",
    "NotReachable", "NotSignedIn", "PlainHttpWarning", "Quantity", "QuantityDict", "Record", "Refused",
    "ServiceFailed", "ShimstockError", "TIMEOUT", "TooManyRequests", "VERSION", "WSGITransport", "Way",
    "Write", "WriteOptions", "as_planned", "uuid7", "verify_webhook",
}  # fmt: skip
RECORDS = {
    "Absence", "Adjustment", "AdjustmentResponse", "AllowedMove", "ApiKey", "Availability", "Believed",
    "Bench", "BookedInstrument", "BookedJob", "Booking", "Calendar", "Card", "CardLink", "CardLook",
    "CardQuantity", "Change", "CheckPiece", "CheckReading", "Claim", "Climate", "ClimateMonth",
    "Closure", "Coded", "Consent", "ControlLimits", "CountedQuantity", "CountedStage", "Event",
    "EventObject", "Events", "Forecast", "ForecastCurve", "ForecastDay", "Hygrometer", "Instrument",
    "InstrumentModel", "Job", "Keeping", "LogGap", "LogOutcome", "Meant", "ModelReport", "Move",
    "NewFinding", "NewReading", "NextReading", "NotAsked", "Note", "OpeningHours", "OtherReading",
    "Owner", "PartMove", "PartUsed", "PlanSettling", "PlanState", "Quote", "RankedModel", "Ranking",
    "Reading", "ReadingSheet", "ReadingWanted", "ReadingsImport", "Recommendation", "Reminder",
    "ReminderEvent", "ReportRun", "ResponseSample", "Room", "RoomAir", "RoomDay", "RoomNow",
    "RoomReading", "RoomRemark", "RoomWarning", "RowProblem", "SaltCheck", "SeasonSettings",
    "Sensitivity", "Service", "SettlingJob", "SetupSpec", "Shift", "Shop", "Shown", "Slip", "Slot",
    "SlotDay", "SpecItem", "SpecSource", "StateNumber", "Step", "StringOfSet", "StringSet", "Study",
    "StudyAgreement", "StudyReader", "Surprise", "Technician", "Tool", "Tuning", "Verdict",
    "WebhookDelivery", "WebhookEndpoint", "Worth",
}  # fmt: skip
"""Records that programs written for an earlier release import."""


def test_exactly_these_names_are_public() -> None:
    assert set(shimstock_client.__all__) == WRITTEN | set(HOMES)
    assert set(HOMES) >= RECORDS


@pytest.mark.parametrize("name", sorted(shimstock_client.__all__))
def test_a_public_name_loads_and_says_what_it_is(name: str) -> None:
    thing = getattr(shimstock_client, name)
    if inspect.isclass(thing) or inspect.isfunction(thing):
        assert thing.__doc__
        assert thing.__module__.startswith("shimstock_client._")


def test_every_module_beside_the_command_line_is_private() -> None:
    names = {module.name for module in pkgutil.iter_modules(shimstock_client.__path__)}
    assert {name for name in names if not name.startswith("_")} == {"cli"}


def test_an_unknown_name_is_refused() -> None:
    with pytest.raises(AttributeError, match="no attribute 'Job2'"):
        _ = shimstock_client.Job2


def test_nothing_of_the_service_is_loaded() -> None:
    code = (
        "import sys, shimstock_client as s; [getattr(s, n) for n in s.__all__]; "
        "import shimstock_client.cli._app; "
        "print(sorted(n for n in sys.modules if n.split('.')[0] in "
        "{'shimstock_server', 'shimstock_calc', 'flask', 'numpy', 'pint', 'sqlalchemy', 'marshmallow'}))"
    )
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert loaded.stdout.strip() == "[]"
