"""The board on the shop's wall: what waits, what is on which bench, what settles, what is promised."""

from .content import board
from .routes import blueprint

__all__ = ["blueprint", "board"]
