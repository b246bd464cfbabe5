"""What the SDK calls the document's schemas, and where it stays with what earlier releases gave."""

from __future__ import annotations

RECORDS = {
    "CodedTextOut": "Coded",
    "ConfirmedOut": "Booking",
    "DeliveryOut": "WebhookDelivery",
    "EarlierReadingsOut": "ReadingsImport",
    "EndpointOut": "WebhookEndpoint",
    "FeedOut": "Events",
    "JobPartOut": "PartUsed",
    "KeptRoomOut": "Room",
    "KeyOut": "ApiKey",
    "MinutesOut": "WorkMinutes",
    "MonthOut": "ClimateMonth",
    "NewAbsenceOut": "Absence",
    "NewCardLinkOut": "CardLink",
    "NewClosureOut": "Closure",
    "NewEndpointOut": "WebhookEndpoint",
    "NewKeyOut": "ApiKey",
    "ObjectOut": "EventObject",
    "OpeningOut": "OpeningHours",
    "PlanNoteOut": "Note",
    "PostedSheetOut": "ReadingSheet",
    "ReportQuantityOut": "CountedQuantity",
    "ReportStageOut": "CountedStage",
    "ResolvedItemOut": "SpecItem",
    "ResolvedSpecOut": "SetupSpec",
    "RoomAirNowOut": "RoomNow",
    "RoomAlertOut": "RoomWarning",
    "RoomLogOut": "LogOutcome",
    "RoomNewestOut": "RoomReading",
    "RoomOut": "RoomAir",
    "SettlingOut": "SettlingJob",
    "SheetRoomOut": "RoomAir",
    "SpecOriginOut": "SpecSource",
    "StandingReadingOut": "Reading",
    "StateOut": "PlanState",
    "StringOut": "StringOfSet",
}
"""Schemas whose record is not named after them without `Out`. Several schemas of one record are merged."""

DICTIONARIES = frozenset(
    {
        "AdjustmentMinutes",
        "AnsweringOut",
        "BridgeLeftOut",
        "BridgeOut",
        "CardCautionOut",
        "CardInstrumentOut",
        "CardJobOut",
        "CardShopOut",
        "FindingOut",
        "ForecastAirOut",
        "LackOut",
        "NeckJointOut",
        "NutOut",
        "PickupOut",
        "PlanInputsOut",
        "ProfileOut",
        "ReadingMinutes",
        "ReadingRefOut",
        "RodLeftOut",
        "ShopPrices",
        "StudyPieceOut",
        "TrussRodOut",
        "UsedReadingOut",
        "WantsOut",
        "WoodPartOut",
    }
)
"""Schemas that stay dictionaries as they travel, so that they can be changed in part and sent back."""

BASES = {
    "Availability": "HasSlots",
    "Recommendation": "HasSteps",
    "Note": "Coded",
    "RoomWarning": "RoomRemark",
}
"""What a record is built on besides its schema: hand-written properties, or the record that it extends."""

AS_TEXT = frozenset(
    {"Absence.first", "Absence.last", "CheckPiece.limits_from", "CheckReading.day", "Closure.day"}
)
"""Days that earlier releases gave as text, and that stay so."""

SENT = {"FindingIn": "NewFinding", "ReadingIn": "NewReading"}
"""Bodies that are also a dataclass, for programs that fill in one field after the other."""

FIELDS = {
    "AbsenceFields": ("AbsenceIn", "technician_id first last"),
    "AdjustmentFields": ("AdjustmentIn", "claim part ?id ?done_at"),
    "CheckFields": ("CheckReadingIn", "values"),
    "CheckInFields": ("CheckInIn", ""),
    "ConfirmFields": ("ConfirmIn", ""),
    "KeepingFields": ("KeepingIn", ""),
    "PlanFields": ("RecommendationIn", ""),
    "ReportRunFields": ("ReportRunIn", ""),
    "RoomReadingFields": ("RoomReadingIn", "room_id hygrometer_id ?id ?taken_at"),
    "SaltCheckFields": ("SaltCheckIn", "?checked_at"),
    "SeasonFields": ("SeasonSettingsIn", ""),
    "SheetFields": ("ReadingSheetIn", "readings ?id ?taken_at"),
    "ShopChangeFields": ("ShopChange", ""),
    "ShopFields": ("ShopIn", ""),
    "StudyReadingFields": ("StudyReadingIn", "number value"),
}
"""Bodies with the options of a change, without the fields that a method of the SDK names itself.

It fills in those with a question mark where they are left out.
"""

LEFT_OUT = frozenset({"calculations", "formulas", "board", "curves", "health", "documents"})
"""Tags whose answers the SDK gives as they are."""

SETS = {"electric": "InstrumentKind", "studies": "AgreementTable"}
"""Names of words that are not told by a field, by the first of them."""

BY_HAND = frozenset({"Absences.create"})
"""Methods of lists that the SDK writes itself."""

WORDS = {
    "answer": "ReminderAnswer",
    "covers": "ConsentStep",
    "how": "ConsentHow",
    "material": "StringMaterial",
    "method": "ReadingMethod",
    "of": "SensitivityOf",
    "outcome": "LookOutcome",
    "quantities": "ToolQuantity",
    "quantity": "QuantityName",
    "skills": "Skill",
    "source": "AirSource",
    "table": "ReportTable",
    "to": "JobState",
    "verdict": "VerdictWord",
}
"""Names of words that are not told by the field that holds them."""
