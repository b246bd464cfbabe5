"""API keys: made, listed, revoked."""

from .routes import blueprints
from .work import make_key, revoke_key, site_of

__all__ = ["blueprints", "make_key", "revoke_key", "site_of"]
