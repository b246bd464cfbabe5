"""Client of a Shimstock service: what a workshop's own programs use to read and change its jobs.

Everything public is named here; modules that begin with an underscore may change. Names load when they
are first used, so that the command line starts fast.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from ._version import VERSION

if TYPE_CHECKING:
    from ._answer import Answer as Answer
    from ._bench import as_planned as as_planned
    from ._bench_records import Adjustment as Adjustment
    from ._bench_records import AllowedMove as AllowedMove
    from ._bench_records import Card as Card
    from ._bench_records import CardLook as CardLook
    from ._bench_records import CardQuantity as CardQuantity
    from ._bench_records import Claim as Claim
    from ._bench_records import Consent as Consent
    from ._bench_records import Job as Job
    from ._bench_records import Move as Move
    from ._bench_records import NewFinding as NewFinding
    from ._bench_records import NewReading as NewReading
    from ._bench_records import PartUsed as PartUsed
    from ._bench_records import Quote as Quote
    from ._bench_records import Reading as Reading
    from ._bench_records import ReadingSheet as ReadingSheet
    from ._bench_records import RoomAir as RoomAir
    from ._bench_records import SettlingJob as SettlingJob
    from ._bench_records import ToolDrift as ToolDrift
    from ._booking_records import Availability as Availability
    from ._booking_records import BookedInstrument as BookedInstrument
    from ._booking_records import BookedJob as BookedJob
    from ._booking_records import Booking as Booking
    from ._booking_records import CardLink as CardLink
    from ._booking_records import Event as Event
    from ._booking_records import EventObject as EventObject
    from ._booking_records import Events as Events
    from ._booking_records import Service as Service
    from ._booking_records import Slot as Slot
    from ._booking_records import SlotDay as SlotDay
    from ._booking_records import WebhookDelivery as WebhookDelivery
    from ._booking_records import WebhookEndpoint as WebhookEndpoint
    from ._client import Client as Client
    from ._connection import TIMEOUT as TIMEOUT
    from ._errors import BadAnswer as BadAnswer
    from ._errors import BadRequest as BadRequest
    from ._errors import Changed as Changed
    from ._errors import ClaimEnded as ClaimEnded
    from ._errors import Conflict as Conflict
    from ._errors import FieldError as FieldError
    from ._errors import InvalidFields as InvalidFields
    from ._errors import NotAllowed as NotAllowed
    from ._errors import NotFound as NotFound
    from ._errors import NotReachable as NotReachable
    from ._errors import NotSignedIn as NotSignedIn
    from ._errors import PlainHttpWarning as PlainHttpWarning
    from ._errors import Refused as Refused
    from ._errors import ServiceFailed as ServiceFailed
    from ._errors import ShimstockError as ShimstockError
    from ._errors import TooManyRequests as TooManyRequests
    from ._ids import uuid7 as uuid7
    from ._learning_records import AdjustmentResponse as AdjustmentResponse
    from ._learning_records import Calibration as Calibration
    from ._learning_records import CalibrationGroup as CalibrationGroup
    from ._learning_records import CheckPiece as CheckPiece
    from ._learning_records import CheckReading as CheckReading
    from ._learning_records import ControlLimits as ControlLimits
    from ._learning_records import CountedQuantity as CountedQuantity
    from ._learning_records import CountedStage as CountedStage
    from ._learning_records import ModelReport as ModelReport
    from ._learning_records import NextReading as NextReading
    from ._learning_records import RankedModel as RankedModel
    from ._learning_records import Ranking as Ranking
    from ._learning_records import ReadingsImport as ReadingsImport
    from ._learning_records import ReportRun as ReportRun
    from ._learning_records import ResponseSample as ResponseSample
    from ._learning_records import RowProblem as RowProblem
    from ._learning_records import StatedShare as StatedShare
    from ._learning_records import Study as Study
    from ._learning_records import StudyAgreement as StudyAgreement
    from ._learning_records import StudyReader as StudyReader
    from ._learning_records import ToolNoise as ToolNoise
    from ._plan_records import Believed as Believed
    from ._plan_records import Change as Change
    from ._plan_records import Coded as Coded
    from ._plan_records import Meant as Meant
    from ._plan_records import NotAsked as NotAsked
    from ._plan_records import Note as Note
    from ._plan_records import OtherReading as OtherReading
    from ._plan_records import PartMove as PartMove
    from ._plan_records import PlanSettling as PlanSettling
    from ._plan_records import PlanState as PlanState
    from ._plan_records import ReadingWanted as ReadingWanted
    from ._plan_records import Recommendation as Recommendation
    from ._plan_records import Shown as Shown
    from ._plan_records import Slip as Slip
    from ._plan_records import StateNumber as StateNumber
    from ._plan_records import Step as Step
    from ._plan_records import Surprise as Surprise
    from ._plan_records import Verdict as Verdict
    from ._plan_records import Worth as Worth
    from ._quantity import Quantity as Quantity
    from ._records import Absence as Absence
    from ._records import ApiKey as ApiKey
    from ._records import Bench as Bench
    from ._records import Closure as Closure
    from ._records import Instrument as Instrument
    from ._records import InstrumentModel as InstrumentModel
    from ._records import OpeningHours as OpeningHours
    from ._records import Owner as Owner
    from ._records import SetupSpec as SetupSpec
    from ._records import Shift as Shift
    from ._records import Shop as Shop
    from ._records import SpecItem as SpecItem
    from ._records import SpecSource as SpecSource
    from ._records import StringOfSet as StringOfSet
    from ._records import StringSet as StringSet
    from ._records import Technician as Technician
    from ._records import Tool as Tool
    from ._records import Tuning as Tuning
    from ._records import WorkMinutes as WorkMinutes
    from ._retries import BoundedRetry as BoundedRetry
    from ._season_records import Calendar as Calendar
    from ._season_records import Climate as Climate
    from ._season_records import ClimateMonth as ClimateMonth
    from ._season_records import Forecast as Forecast
    from ._season_records import ForecastCurve as ForecastCurve
    from ._season_records import ForecastDay as ForecastDay
    from ._season_records import Hygrometer as Hygrometer
    from ._season_records import Keeping as Keeping
    from ._season_records import LogGap as LogGap
    from ._season_records import LogOutcome as LogOutcome
    from ._season_records import Reminder as Reminder
    from ._season_records import ReminderEvent as ReminderEvent
    from ._season_records import Room as Room
    from ._season_records import RoomDay as RoomDay
    from ._season_records import RoomNow as RoomNow
    from ._season_records import RoomReading as RoomReading
    from ._season_records import RoomRemark as RoomRemark
    from ._season_records import RoomWarning as RoomWarning
    from ._season_records import SaltCheck as SaltCheck
    from ._season_records import SeasonSettings as SeasonSettings
    from ._season_records import Sensitivity as Sensitivity
    from ._webhooks import ForgedWebhook as ForgedWebhook
    from ._webhooks import verify_webhook as verify_webhook
    from ._wire import Record as Record
    from ._writes import Way as Way
    from ._writes import Write as Write
    from ._wsgi import WSGITransport as WSGITransport

_HOMES = {
    "_answer": "Answer",
    "_bench": "as_planned",
    "_bench_records": "Adjustment AllowedMove Card CardLook CardQuantity Claim Consent ToolDrift Job Move "
    "NewFinding NewReading PartUsed Quote Reading ReadingSheet RoomAir SettlingJob",
    "_booking_records": "Availability BookedInstrument BookedJob Booking CardLink Event EventObject Events "
    "Service Slot SlotDay WebhookDelivery WebhookEndpoint",
    "_client": "Client",
    "_connection": "TIMEOUT",
    "_errors": "BadAnswer BadRequest Changed ClaimEnded Conflict FieldError InvalidFields NotAllowed "
    "NotFound NotReachable NotSignedIn PlainHttpWarning Refused ServiceFailed ShimstockError "
    "TooManyRequests",
    "_ids": "uuid7",
    "_learning_records": "AdjustmentResponse Calibration CalibrationGroup CheckPiece CheckReading "
    "ControlLimits CountedQuantity CountedStage ModelReport NextReading RankedModel Ranking ReadingsImport "
    "ReportRun ResponseSample RowProblem StatedShare Study StudyAgreement StudyReader ToolNoise",
    "_plan_records": "Believed Change Coded Meant NotAsked Note OtherReading PartMove PlanSettling PlanState "
    "ReadingWanted Recommendation Shown Slip StateNumber Step Surprise Verdict Worth",
    "_quantity": "Quantity",
    "_records": "Absence ApiKey Bench Closure Instrument InstrumentModel OpeningHours Owner SetupSpec Shift "
    "Shop SpecItem SpecSource StringOfSet StringSet Technician Tool Tuning WorkMinutes",
    "_retries": "BoundedRetry",
    "_season_records": "Calendar Climate ClimateMonth Forecast ForecastCurve ForecastDay Hygrometer Keeping "
    "LogGap LogOutcome Reminder ReminderEvent Room RoomDay RoomNow RoomReading RoomRemark RoomWarning "
    "SaltCheck SeasonSettings Sensitivity",
    "_version": "VERSION",
    "_webhooks": "ForgedWebhook verify_webhook",
    "_wire": "Record",
    "_writes": "Way Write",
    "_wsgi": "WSGITransport",
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names.split()}

__all__ = sorted(_HOME_OF)  # noqa: PLE0605

__version__ = VERSION


def __getattr__(name: str) -> Any:
    """Load a public name when it is first asked for (PEP 562)."""
    home = _HOME_OF.get(name)
    if home is None:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f".{home}", __name__), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return [*__all__, "__version__"]
