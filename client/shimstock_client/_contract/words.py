"""Words, made by client/generate.py: do not edit."""

from __future__ import annotations

from typing import Literal

AdjustmentPart = Literal[
    "truss-rod",
    "strings",
    "bridge-post",
    "saddle-screw",
    "saddle",
    "saddle-position",
    "nut-slot",
    "spring-claw",
    "neck-shim",
    "pickup-screw",
    "tailpiece",
    "frets",
    "tuners",
    "instrument",
]
AdjustmentResponseKind = Literal["rod", "coupling", "compliance"]
AdjustmentResponseLevel = Literal["instrument", "model", "shop"]
AgreementTable = Literal["studies", "readings", "repeats", "checks"]
AirSource = Literal["own", "learned", "usual"]
AnsweringOf = Literal["relief", "saddle-height"]
AnsweringSource = Literal["instrument", "model", "shop", "prior"]
ApiKeyScope = Literal["bench", "booking", "manager"]
BookingState = Literal["held", "expired", "confirmed", "checked-in", "cancelled", "no-show"]
BridgeKind = Literal[
    "two-post",
    "one-piece",
    "individual-saddles",
    "paired-saddles",
    "fixed-saddle",
    "movable",
    "resting-tremolo",
    "floating-tremolo",
    "locking-tremolo",
]
BuiltFor = Literal["steel", "nylon"]
By = Literal["all", "quantity", "tool", "bench", "model"]
Cause = Literal["spec", "moisture", "none"]
ConsentHow = Literal["in-person", "phone", "e-mail", "written", "website"]
ConsentStep = Literal["general", "nut-filing", "saddle-filing", "fret-work", "high-pull"]
CoreShape = Literal["round", "hex"]
FindingCode = Literal[
    "frets-worn",
    "fret-high",
    "fret-loose",
    "fret-ends-sharp",
    "rise-at-the-end",
    "crack",
    "bridge-lifting",
    "belly",
    "neck-angle-low",
    "neck-joint-loose",
    "twist",
    "rod-stiff",
    "rod-creaks",
    "rod-no-response",
    "rod-broken",
    "nut-cracked",
    "nut-slot-low",
    "tuner-slips",
    "string-damaged",
    "plate-level",
    "plate-tail-high",
    "plate-tail-low",
    "saddle-pickup-uneven",
]
ForecastAirSource = Literal["log", "model", "log-and-model"]
Handedness = Literal["right", "left"]
HighSalt = Literal["LiCl", "CH3COOK", "MgCl2", "K2CO3", "NaCl", "KCl", "KNO3", "K2SO4"]
InstrumentKind = Literal["electric", "acoustic-steel", "classical-nylon", "bass"]
IntonationScrewHead = Literal["tail", "nut"]
JobInState = Literal["received", "booked"]
JobLook = Literal["settle-hour", "settle-day"]
JobState = Literal[
    "booked",
    "received",
    "queued",
    "on-bench",
    "settling",
    "waiting",
    "final-check",
    "ready",
    "collected",
    "returned-unrepaired",
    "cancelled",
]
Kept = Literal["case", "wall", "stand"]
LinearDensitySource = Literal["stated", "computed", "unknown"]
LookOutcome = Literal["settling", "due", "on-bench", "read", "early", "skipped"]
MeantCode = Literal["unit", "string", "digit"]
Measure = Literal["relative_humidity", "dew_point", "vapour_pressure"]
NeckJointKind = Literal["bolt-on", "set", "through"]
NeedsConsent = Literal["general", "named"]
Origin = Literal["entered", "csv", "epw"]
PlanSettlingState = Literal["not needed", "settled", "waiting"]
Position = Literal["playing", "on-back"]
QuantityName = Literal[
    "relief", "action", "nut-action", "pickup-height", "intonation", "break-clearance", "twist", "saddle-out"
]
RankedBy = Literal["cost", "bench-minutes"]
ReadingMethod = Literal["string", "straightedge", "open-string", "tuner"]
ReminderAnswer = Literal["acknowledged", "snoozed", "done", "cancelled"]
ReminderEventWhat = Literal["made", "moved", "due", "acknowledged", "snoozed", "done", "cancelled"]
ReminderKind = Literal["settle-hour", "settle-day", "seasonal", "strings"]
ReminderState = Literal["open", "acknowledged", "snoozed", "done", "cancelled"]
ReportRunState = Literal["waiting", "running", "done", "failed"]
ReportTable = Literal["quantities", "bins", "steps", "findings", "season", "jobs"]
ReportsCalibrationFiltersTable = Literal["coverage", "scatter", "forecasts"]
RoomRemarkCode = Literal["too-dry", "too-damp", "laminates-may-split", "mould", "swing"]
RoomUse = Literal["shop", "home"]
Screw = Literal["ring", "body"]
SensitivityOf = Literal["reading", "adjustment"]
Side = Literal["bass", "treble"]
Skill = Literal["setup", "acoustic", "nylon", "bass", "fretwork", "nut-and-saddle", "tremolo", "electronics"]
SlipCode = Literal["this-reading", "other-reading", "moved", "nothing"]
SpecSourceScope = Literal["shop", "model", "instrument", "job"]
Stage = Literal["as-received", "in-progress", "final", "recheck"]
StepKind = Literal[
    "look-over",
    "tune",
    "measure",
    "read-again",
    "restring",
    "balance",
    "relief",
    "settle",
    "fret-check",
    "nut",
    "action",
    "shim",
    "break-clearance",
    "pickups",
    "intonation",
    "final-readings",
]
StringMaterial = Literal["steel", "nylon", "fluorocarbon", "gut"]
StudyState = Literal["open", "ended", "abandoned"]
ToolQuantity = Literal[
    "relief",
    "action",
    "nut-action",
    "pickup-height",
    "intonation",
    "break-clearance",
    "twist",
    "saddle-out",
    "radius",
    "pitch",
    "relative-humidity",
]
TrussRodKind = Literal["none", "single-action", "dual-action"]
Units = Literal["mm", "inch"]
VerdictWord = Literal["in spec", "out of spec", "too close to call"]
WaitingFor = Literal["consent", "parts", "owner"]
WebhookDeliveryState = Literal["pending", "delivered", "parked"]
WoodPartPart = Literal["neck", "fingerboard", "top", "back", "sides", "body", "bridge"]
WrapMaterial = Literal[
    "steel",
    "nickel-plated-steel",
    "stainless-steel",
    "nickel",
    "phosphor-bronze",
    "brass-80-20",
    "brass-90-10",
    "copper",
    "silver-plated-copper",
    "silver",
]
WrenchEnd = Literal["head", "body"]
