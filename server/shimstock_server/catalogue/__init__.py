"""The catalogue: string sets, tunings, instrument models, setup specs, and what the plan makes of them."""

from .inline import PlanInstrumentIn, plan_instrument_from_body, spec_from_body
from .lacks import Lack
from .model_checks import instrument_errors
from .model_schemas import (
    BridgeLeftIn,
    BridgeLeftOut,
    InstrumentModelIn,
    RodLeftIn,
    RodLeftOut,
    WoodPartIn,
    WoodPartOut,
)
from .models import create_model
from .plan_instrument import own_values, plan_instrument, plan_other_sets, plan_string_set, strung
from .plausible import KIND_OF_VALUE, plausible_range
from .problems import InstrumentIncomplete, NoInstrumentYet
from .resolving import ResolvedItem, current_spec_ids, resolve_spec, spec_items
from .routes import instrument_models, strings
from .schemas import StringSetIn, TuningIn
from .spec_book import SpecBook
from .spec_checks import PLAUSIBLE
from .spec_routes import setup_specs
from .spec_schemas import ResolvedItemOut, SetupSpecIn, SpecItemIn
from .specs import applies_to_instrument, applies_to_job, current_spec, resolved_told, store_spec
from .string_sets import create_string_set, create_tuning, fitting_errors, named_in, refuse_misfits
from .woods import normalised_parts

blueprints = (strings, instrument_models, setup_specs)

__all__ = [
    "KIND_OF_VALUE",
    "PLAUSIBLE",
    "BridgeLeftIn",
    "BridgeLeftOut",
    "InstrumentIncomplete",
    "InstrumentModelIn",
    "Lack",
    "NoInstrumentYet",
    "PlanInstrumentIn",
    "ResolvedItem",
    "ResolvedItemOut",
    "RodLeftIn",
    "RodLeftOut",
    "SetupSpecIn",
    "SpecBook",
    "SpecItemIn",
    "StringSetIn",
    "TuningIn",
    "WoodPartIn",
    "WoodPartOut",
    "applies_to_instrument",
    "applies_to_job",
    "blueprints",
    "create_model",
    "create_string_set",
    "create_tuning",
    "current_spec",
    "current_spec_ids",
    "fitting_errors",
    "instrument_errors",
    "named_in",
    "normalised_parts",
    "own_values",
    "plan_instrument",
    "plan_instrument_from_body",
    "plan_other_sets",
    "plan_string_set",
    "plausible_range",
    "refuse_misfits",
    "resolve_spec",
    "resolved_told",
    "spec_from_body",
    "spec_items",
    "store_spec",
    "strung",
]
