"""Owners and their instruments."""

from .fitting import fit_strings, put_back_strings
from .instruments import add_instrument
from .people import Erasure, add_owner, erase, erase_again, erasures, jobs_of, on_erasure
from .routes import instrument_routes, owners
from .schemas import InstrumentIn, OwnerIn

blueprints = (owners, instrument_routes)

__all__ = [
    "Erasure",
    "InstrumentIn",
    "OwnerIn",
    "add_instrument",
    "add_owner",
    "blueprints",
    "erase",
    "erase_again",
    "erasures",
    "fit_strings",
    "jobs_of",
    "on_erasure",
    "put_back_strings",
]
