"""What the package offers, and what it costs to load."""

from __future__ import annotations

import inspect
import pkgutil
import subprocess
import sys

import pytest

import shimstock_client

PUBLIC = {
    "Absence", "Adjustment", "AdjustmentResponse", "ResponseSample", "CheckPiece", "CheckReading",
    "NextReading", "ReadingsImport", "RowProblem", "Study", "StudyAgreement", "StudyReader", "ControlLimits",
    "CountedQuantity", "CountedStage",
    "ModelReport", "RankedModel", "Ranking", "ReportRun",
    "AllowedMove", "Answer", "ApiKey", "as_planned", "BadAnswer", "BadRequest", "Believed", "Bench",
    "BoundedRetry", "Card", "CardLook", "CardQuantity", "Change", "Changed", "Claim", "ClaimEnded",
    "Client", "Closure", "Coded", "Conflict", "Consent", "FieldError", "Instrument", "InstrumentModel",
    "InvalidFields", "Job", "Move", "NewFinding", "NewReading", "NotAllowed", "Note", "NotFound",
    "NotReachable", "NotSignedIn", "OpeningHours", "Owner", "PartMove", "PartUsed", "PlanSettling",
    "Quantity", "Quote", "Reading", "ReadingSheet", "ReadingWanted", "Recommendation", "Record",
    "Refused", "RoomAir", "ServiceFailed", "SettlingJob", "SetupSpec", "Shift", "ShimstockError",
    "Shop", "SpecItem", "SpecSource", "Step", "StringOfSet", "StringSet", "Technician", "TIMEOUT",
    "Meant", "NotAsked", "OtherReading", "PlanState", "Shown", "Slip", "StateNumber", "Surprise", "Worth",
    "Tool", "TooManyRequests", "Tuning", "uuid7", "Verdict", "VERSION", "Way", "Write", "WSGITransport",
    "PlainHttpWarning",
    "Availability", "BookedInstrument", "BookedJob", "Booking", "CardLink", "Event", "EventObject",
    "Events", "ForgedWebhook", "Service", "Slot", "SlotDay", "verify_webhook", "WebhookDelivery",
    "WebhookEndpoint", "Calendar", "Climate", "ClimateMonth", "Forecast", "ForecastCurve", "ForecastDay",
    "Hygrometer", "Keeping", "LogGap", "LogOutcome", "Reminder", "ReminderEvent", "Room", "RoomNow",
    "RoomDay", "RoomReading", "RoomRemark", "RoomWarning", "SaltCheck", "SeasonSettings", "Sensitivity",
}  # fmt: skip


def test_exactly_these_names_are_public() -> None:
    assert set(shimstock_client.__all__) == PUBLIC


@pytest.mark.parametrize("name", sorted(PUBLIC))
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
