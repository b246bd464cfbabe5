"""The trade in one place: quantities, parts, kinds of bridges and findings, each with what is said of it."""

from .bridges import BRIDGES, BridgeKind, BridgeTerm, BridgeWord
from .findings import FINDINGS, FindingCode, FindingTerm, FindingWord
from .instruments import Kind, KindWord, RodKind, RodKindWord, Side, SideWord
from .parts import PARTS, TIGHTEN, WAYS, ConsentKind, ConsentWord, Part, PartTerm, PartWord, Way
from .quantities import DISTURBS, GEOMETRY, QUANTITIES, Quantity, QuantityTerm, QuantityWord

__all__ = [
    "BRIDGES",
    "DISTURBS",
    "FINDINGS",
    "GEOMETRY",
    "PARTS",
    "QUANTITIES",
    "TIGHTEN",
    "WAYS",
    "BridgeKind",
    "BridgeTerm",
    "BridgeWord",
    "ConsentKind",
    "ConsentWord",
    "FindingCode",
    "FindingTerm",
    "FindingWord",
    "Kind",
    "KindWord",
    "Part",
    "PartTerm",
    "PartWord",
    "Quantity",
    "QuantityTerm",
    "QuantityWord",
    "RodKind",
    "RodKindWord",
    "Side",
    "SideWord",
    "Way",
]
