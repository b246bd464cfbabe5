"""The card that an owner takes home, and the page on which the owner sees where the instrument is."""

from .links import (
    CardLinkIn,
    NewCardLinkOut,
    derived_from,
    find_for_recheck,
    first_path_again,
    is_active,
    make_link,
)
from .links import show_again as show_link_again
from .links import told as link_told
from .routes import blueprint, owners

__all__ = [
    "CardLinkIn",
    "NewCardLinkOut",
    "blueprints",
    "derived_from",
    "find_for_recheck",
    "first_path_again",
    "is_active",
    "link_told",
    "make_link",
    "show_link_again",
]

blueprints = (blueprint, owners)
