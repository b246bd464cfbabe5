"""What an operator needs: health, metrics, the document, backup and restore, the admin command line."""

from .routes import blueprints

__all__ = ["blueprints"]
