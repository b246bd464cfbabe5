"""The published contract as Python, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import TYPE_CHECKING

from .._lazy import loading

if TYPE_CHECKING:
    from .bodies.absences import *  # noqa: F403
    from .bodies.adjustment_responses import *  # noqa: F403
    from .bodies.bench import *  # noqa: F403
    from .bodies.bench_agreement import *  # noqa: F403
    from .bodies.bookings import *  # noqa: F403
    from .bodies.calendars import *  # noqa: F403
    from .bodies.calibration import *  # noqa: F403
    from .bodies.cards import *  # noqa: F403
    from .bodies.check_pieces import *  # noqa: F403
    from .bodies.climates import *  # noqa: F403
    from .bodies.events import *  # noqa: F403
    from .bodies.exports_and_imports import *  # noqa: F403
    from .bodies.forecasts import *  # noqa: F403
    from .bodies.instrument_models import *  # noqa: F403
    from .bodies.instruments import *  # noqa: F403
    from .bodies.jobs import *  # noqa: F403
    from .bodies.keys import *  # noqa: F403
    from .bodies.owners import *  # noqa: F403
    from .bodies.people_and_tools import *  # noqa: F403
    from .bodies.reminders import *  # noqa: F403
    from .bodies.reports import *  # noqa: F403
    from .bodies.rooms import *  # noqa: F403
    from .bodies.services import *  # noqa: F403
    from .bodies.setup_specs import *  # noqa: F403
    from .bodies.shop import *  # noqa: F403
    from .bodies.strings import *  # noqa: F403
    from .bodies.studies import *  # noqa: F403
    from .bodies.webhooks import *  # noqa: F403
    from .records.absences import *  # noqa: F403
    from .records.adjustment_responses import *  # noqa: F403
    from .records.bench import *  # noqa: F403
    from .records.bench_2 import *  # noqa: F403
    from .records.bench_agreement import *  # noqa: F403
    from .records.bookings import *  # noqa: F403
    from .records.calendars import *  # noqa: F403
    from .records.calibration import *  # noqa: F403
    from .records.cards import *  # noqa: F403
    from .records.check_pieces import *  # noqa: F403
    from .records.climates import *  # noqa: F403
    from .records.events import *  # noqa: F403
    from .records.exports_and_imports import *  # noqa: F403
    from .records.forecasts import *  # noqa: F403
    from .records.instrument_models import *  # noqa: F403
    from .records.instruments import *  # noqa: F403
    from .records.jobs import *  # noqa: F403
    from .records.keys import *  # noqa: F403
    from .records.owners import *  # noqa: F403
    from .records.people_and_tools import *  # noqa: F403
    from .records.recordings import *  # noqa: F403
    from .records.reminders import *  # noqa: F403
    from .records.reports import *  # noqa: F403
    from .records.rooms import *  # noqa: F403
    from .records.services import *  # noqa: F403
    from .records.setup_specs import *  # noqa: F403
    from .records.shop import *  # noqa: F403
    from .records.strings import *  # noqa: F403
    from .records.studies import *  # noqa: F403
    from .records.webhooks import *  # noqa: F403
    from .words import *  # noqa: F403

_HOMES = {
    "bodies.absences": "AbsenceFields AbsenceIn AbsencesFilters ",
    "bodies.adjustment_responses": "AdjustmentResponsesFilters AdjustmentResponsesSamplesFilters "
    "SampleReviewIn ",
    "bodies.bench": "AdjustmentFields AdjustmentIn AdjustmentSaidIn AdjustmentWithdrawalIn ConsentSaidIn "
    "FindingIn InlineStringSetIn InlineTuningIn JobsReadingsFilters NewFinding NewReading "
    "PlanFields PlanInstrumentIn ReadingIn ReadingSaidIn ReadingSheetIn RecommendationIn "
    "RodResponseIn SettingsSaidIn SettlingFilters SheetFields SheetSaidIn ToolSaidIn ",
    "bodies.bench_agreement": "ReportsBenchAgreementFilters ",
    "bodies.bookings": "BookedInstrumentIn BookedWantsIn BookingMoveIn BookingOwnerIn BookingsFilters "
    "CancelIn CheckInFields CheckInIn ConfirmFields ConfirmIn HoldIn NewInstrumentIn ",
    "bodies.calendars": "CalendarIn CalendarsFilters ",
    "bodies.calibration": "ReportsCalibrationFilters ",
    "bodies.cards": "CardLinkIn ",
    "bodies.check_pieces": "CheckFields CheckPieceChange CheckPieceIn CheckPiecesFilters "
    "CheckPiecesReadingsFilters CheckReadingIn ",
    "bodies.climates": "ClimateChange ClimateIn ClimatesFilters MonthIn ProfileIn SeasonFields "
    "SeasonSettingsIn ",
    "bodies.events": "EventsFilters ",
    "bodies.exports_and_imports": "EarlierReadingsIn ",
    "bodies.forecasts": "InstrumentsForecastFilters KeepingFields KeepingIn SensitivitiesFilters ",
    "bodies.instrument_models": "BridgeIn InstrumentModelChange InstrumentModelIn InstrumentModelsFilters "
    "NeckJointIn NutIn PickupIn SidesIn SlotWidthIn StringTravelIn TrussRodIn "
    "WoodPartIn ",
    "bodies.instruments": "BridgeLeftIn HomeIn InstrumentChange InstrumentIn InstrumentsFilters RodLeftIn ",
    "bodies.jobs": "ClaimIn ClaimNextIn ConsentIn HandoverIn JobIn JobPartIn JobPatch JobsFilters MoveIn "
    "QuoteIn QuotePatch RoomIn SpecRenewalIn WantsIn WithdrawalIn ",
    "bodies.keys": "KeyIn KeysFilters ",
    "bodies.owners": "ErasureIn OwnerChange OwnerIn OwnersFilters ",
    "bodies.people_and_tools": "BenchChange BenchIn BenchesFilters ShiftIn TechnicianChange TechnicianIn "
    "TechniciansFilters ToolChange ToolIn ToolsFilters ",
    "bodies.reminders": "ReminderAnswerIn RemindersFilters ",
    "bodies.reports": "ReportRunFields ReportRunIn ReportsInstrumentModelFilters "
    "ReportsInstrumentModelsFilters ReportsRunsFilters ReportsRunsReportsFilters ",
    "bodies.rooms": "BatchReadingIn HygrometerChange HygrometerIn HygrometersChecksFilters "
    "HygrometersFilters KeptRoomChange KeptRoomIn RoomReadingBatchIn RoomReadingFields "
    "RoomReadingIn RoomReadingsFilters RoomWarningsFilters RoomsFilters SaltCheckFields "
    "SaltCheckIn ",
    "bodies.services": "AvailabilityFilters ServiceChange ServiceIn ServicesFilters ",
    "bodies.setup_specs": "SetupSpecIn SetupSpecsFilters SpecItemIn ",
    "bodies.shop": "AdjustmentMinutesIn ClosureIn ClosuresFilters OpeningIn ReadingMinutesIn ShopChange "
    "ShopChangeFields ShopFields ShopIn ShopPricesIn ",
    "bodies.strings": "StringIn StringSetChange StringSetIn StringSetsFilters TuningChange TuningIn "
    "TuningsFilters ",
    "bodies.studies": "StudiesFilters StudiesNextFilters StudyEndIn StudyIn StudyPieceIn StudyReaderIn "
    "StudyReadingFields StudyReadingIn ",
    "bodies.webhooks": "EndpointChange EndpointIn RotationIn WebhookDeliveriesFilters "
    "WebhookEndpointsFilters ",
    "records.absences": "Absence ",
    "records.adjustment_responses": "AdjustmentResponse ResponseSample ",
    "records.bench": "Adjustment AdjustmentTyped AdjustmentWithdrawal Believed Change Coded Finding Meant "
    "NotAsked Note OtherReading PartMove PlanInputs PlanSettling PlanSpecItem PlanState "
    "Reading ReadingRef ReadingSheet ReadingWanted RodResponse Shown Slip StateNumber "
    "Step Surprise ToolDrift Worth ",
    "records.bench_2": "Recommendation SettlingJob Verdict ",
    "records.bench_agreement": "BenchAgreement BenchRepeats BenchStanding StudyInShort ",
    "records.bookings": "BookedInstrument BookedJob Booking ",
    "records.calendars": "Calendar ",
    "records.calibration": "Calibration CalibrationGroup StatedShare ToolNoise ",
    "records.cards": "Card CardCaution CardInstrument CardJob CardLink CardLook CardQuantity CardRoom "
    "CardShop ",
    "records.check_pieces": "CheckPiece CheckReading CheckValue ControlLimits ",
    "records.climates": "Climate ClimateMonth Profile SeasonSettings ",
    "records.events": "Event Events ",
    "records.exports_and_imports": "ReadingsImport RowProblem ",
    "records.forecasts": "Answering Forecast ForecastAir ForecastCurve ForecastDay Keeping RoomDay "
    "Sensitivity ",
    "records.instrument_models": "Bridge InstrumentModel Lack NeckJoint Nut Pickup Sides SlotWidth "
    "StringTravel TrussRod WoodPart ",
    "records.instruments": "BridgeLeft Home Instrument InstrumentModelBrief RodLeft ",
    "records.jobs": "AllowedMove Claim Consent Job Look Move PartUsed PastClaim Quote RoomAir RoomTyped "
    "Wants ",
    "records.keys": "ApiKey ",
    "records.owners": "Owner ",
    "records.people_and_tools": "Bench Shift Technician Tool ",
    "records.recordings": "StringSound ",
    "records.reminders": "Reminder ReminderEvent ",
    "records.reports": "CountedBin CountedQuantity CountedStage ModelReport RankedModel Ranking "
    "ReportCapability ReportJobs ReportMoisture ReportPeriod ReportQuantiles ReportRun "
    "ReportSeason ReportSpec ReportSpread ReportTally ReportVerdicts SuggestedSpec ",
    "records.rooms": "Hygrometer KnownReading LogGap LogOutcome Room RoomNow RoomReading RoomReadingTyped "
    "RoomRemark RoomWarning SaltCheck ",
    "records.services": "Availability Service Slot SlotDay ",
    "records.setup_specs": "SetupSpec SpecItem SpecSource ",
    "records.shop": "AdjustmentMinutes Closure OpeningHours ReadingMinutes Shop ShopPrices WorkMinutes ",
    "records.strings": "StringOfSet StringSet Tuning ",
    "records.studies": "AgreementMethod AgreementReader AgreementReading NextReading Study StudyAgreement "
    "StudyPiece StudyReader StudyReadingTaken VarianceRow ",
    "records.webhooks": "Attempt EventObject WebhookDelivery WebhookEndpoint ",
    "words": "AdjustmentPart AdjustmentResponseKind AdjustmentResponseLevel AgreementTable AirSource "
    "AnsweringOf AnsweringSource ApiKeyScope BookingState BridgeKind BuiltFor By Cause "
    "ConsentHow ConsentStep CoreShape FindingCode ForecastAirSource Handedness HighSalt "
    "InstrumentKind IntonationScrewHead JobInState JobLook JobState Kept LinearDensitySource "
    "LookOutcome MeantCode Measure NeckJointKind NeedsConsent Origin PlanSettlingState Position "
    "QuantityName RankedBy ReadingMethod ReminderAnswer ReminderEventWhat ReminderKind "
    "ReminderState ReportRunState ReportTable ReportsCalibrationFiltersTable RoomRemarkCode "
    "RoomUse Screw SensitivityOf Side Skill SlipCode SpecSourceScope Stage StepKind "
    "StringMaterial StudyState ToolQuantity TrussRodKind Units VerdictWord WaitingFor "
    "WebhookDeliveryState WoodPartPart WrapMaterial WrenchEnd ",
}
HOMES = {name: home for home, names in _HOMES.items() for name in names.split()}
"""The module of each name; it is loaded when the name is first used."""

SOURCES = {
    "Absence": "AbsenceOut NewAbsenceOut",
    "Adjustment": "AdjustmentOut",
    "AdjustmentResponse": "AdjustmentResponseOut",
    "AdjustmentTyped": "AdjustmentTypedOut",
    "AdjustmentWithdrawal": "AdjustmentWithdrawalOut",
    "AgreementMethod": "AgreementMethodOut",
    "AgreementReader": "AgreementReaderOut",
    "AgreementReading": "AgreementReadingOut",
    "AllowedMove": "AllowedMoveOut",
    "ApiKey": "KeyOut NewKeyOut",
    "Attempt": "AttemptOut",
    "Availability": "AvailabilityOut",
    "Believed": "BelievedOut",
    "Bench": "BenchOut",
    "BenchAgreement": "BenchAgreementOut",
    "BenchRepeats": "BenchRepeatsOut",
    "BenchStanding": "BenchStandingOut",
    "BookedInstrument": "BookedInstrumentOut",
    "BookedJob": "BookedJobOut",
    "Booking": "BookingOut ConfirmedOut",
    "Calendar": "CalendarOut",
    "Calibration": "CalibrationOut",
    "CalibrationGroup": "CalibrationGroupOut",
    "Card": "CardOut",
    "CardLink": "CardLinkOut NewCardLinkOut",
    "CardLook": "CardLookOut",
    "CardQuantity": "CardQuantityOut",
    "CardRoom": "CardRoomOut",
    "Change": "ChangeOut",
    "CheckPiece": "CheckPieceOut",
    "CheckReading": "CheckReadingOut",
    "CheckValue": "CheckValueOut",
    "Claim": "ClaimOut",
    "Climate": "ClimateOut",
    "ClimateMonth": "MonthOut",
    "Closure": "ClosureOut NewClosureOut",
    "Coded": "CodedTextOut",
    "Consent": "ConsentOut",
    "ControlLimits": "ControlLimitsOut",
    "CountedBin": "CountedBinOut",
    "CountedQuantity": "ReportQuantityOut",
    "CountedStage": "ReportStageOut",
    "Event": "EventOut",
    "EventObject": "EventObjectOut ObjectOut",
    "Events": "FeedOut",
    "Forecast": "ForecastOut",
    "ForecastCurve": "ForecastCurveOut",
    "ForecastDay": "ForecastDayOut",
    "Home": "HomeOut",
    "Hygrometer": "HygrometerOut",
    "Instrument": "InstrumentOut",
    "InstrumentModel": "InstrumentModelOut",
    "InstrumentModelBrief": "InstrumentModelBriefOut",
    "Job": "JobOut",
    "Keeping": "KeepingOut",
    "KnownReading": "KnownReadingOut",
    "LogGap": "LogGapOut",
    "LogOutcome": "RoomLogOut",
    "Look": "LookOut",
    "Meant": "MeantOut",
    "ModelReport": "ModelReportOut",
    "Move": "MoveOut",
    "NextReading": "NextReadingOut",
    "NotAsked": "NotAskedOut",
    "Note": "PlanNoteOut",
    "OpeningHours": "OpeningOut",
    "OtherReading": "OtherReadingOut",
    "Owner": "OwnerOut",
    "PartMove": "PartMoveOut",
    "PartUsed": "JobPartOut",
    "PastClaim": "PastClaimOut",
    "PlanSettling": "PlanSettlingOut",
    "PlanSpecItem": "PlanSpecItemOut",
    "PlanState": "StateOut",
    "Quote": "QuoteOut",
    "RankedModel": "RankedModelOut",
    "Ranking": "RankingOut",
    "Reading": "ReadingOut StandingReadingOut",
    "ReadingSheet": "PostedSheetOut ReadingSheetOut",
    "ReadingWanted": "ReadingWantedOut",
    "ReadingsImport": "EarlierReadingsOut",
    "Recommendation": "RecommendationOut",
    "Reminder": "ReminderOut",
    "ReminderEvent": "ReminderEventOut",
    "ReportCapability": "ReportCapabilityOut",
    "ReportJobs": "ReportJobsOut",
    "ReportMoisture": "ReportMoistureOut",
    "ReportPeriod": "ReportPeriodOut",
    "ReportQuantiles": "ReportQuantilesOut",
    "ReportRun": "ReportRunOut",
    "ReportSeason": "ReportSeasonOut",
    "ReportSpec": "ReportSpecOut",
    "ReportSpread": "ReportSpreadOut",
    "ReportTally": "ReportTallyOut",
    "ReportVerdicts": "ReportVerdictsOut",
    "ResponseSample": "ResponseSampleOut",
    "RodResponse": "RodResponseOut",
    "Room": "KeptRoomOut",
    "RoomAir": "RoomOut SheetRoomOut",
    "RoomDay": "RoomDayOut",
    "RoomNow": "RoomAirNowOut",
    "RoomReading": "RoomNewestOut RoomReadingOut",
    "RoomReadingTyped": "RoomReadingTypedOut",
    "RoomRemark": "RoomRemarkOut",
    "RoomTyped": "RoomTypedOut",
    "RoomWarning": "RoomAlertOut",
    "RowProblem": "RowProblemOut",
    "SaltCheck": "SaltCheckOut",
    "SeasonSettings": "SeasonSettingsOut",
    "Sensitivity": "SensitivityOut",
    "Service": "ServiceOut",
    "SettlingJob": "SettlingOut",
    "SetupSpec": "ResolvedSpecOut SetupSpecOut",
    "Shift": "ShiftOut",
    "Shop": "ShopOut",
    "Shown": "ShownOut",
    "Sides": "SidesOut",
    "Slip": "SlipOut",
    "Slot": "SlotOut",
    "SlotDay": "SlotDayOut",
    "SlotWidth": "SlotWidthOut",
    "SpecItem": "ResolvedItemOut SpecItemOut",
    "SpecSource": "SpecOriginOut",
    "StateNumber": "StateNumberOut",
    "StatedShare": "StatedShareOut",
    "Step": "StepOut",
    "StringOfSet": "StringOut",
    "StringSet": "StringSetOut",
    "StringSound": "StringSoundOut",
    "StringTravel": "StringTravelOut",
    "Study": "StudyOut",
    "StudyAgreement": "StudyAgreementOut",
    "StudyInShort": "StudyInShortOut",
    "StudyReader": "StudyReaderOut",
    "StudyReadingTaken": "StudyReadingTakenOut",
    "SuggestedSpec": "SuggestedSpecOut",
    "Surprise": "SurpriseOut",
    "Technician": "TechnicianOut",
    "Tool": "ToolOut",
    "ToolDrift": "ToolDriftOut",
    "ToolNoise": "ToolNoiseOut",
    "Tuning": "TuningOut",
    "VarianceRow": "VarianceRowOut",
    "Verdict": "VerdictOut",
    "WebhookDelivery": "DeliveryOut",
    "WebhookEndpoint": "EndpointOut NewEndpointOut",
    "WorkMinutes": "MinutesOut",
    "Worth": "WorthOut",
}
"""The schemas of the document that each record is made of."""

if not TYPE_CHECKING:
    __getattr__ = loading(__name__, HOMES)
