"""Who sees what: one rule for every id that can stand in an address."""

from __future__ import annotations

from collections.abc import Callable
from uuid import UUID

from sqlalchemy import select
from sqlalchemy.orm import InstrumentedAttribute, Session

from .context import Actor

Rule = Callable[[Session, Actor, UUID], bool]

_rules: dict[str, Rule] = {}


def visibility(argument: str, rule: Rule) -> None:
    """Register the rule for a path argument, once, by the area that owns the object.

    Parameters
    ----------
    argument : str
        The argument's name in the address, such as ``job_id``.
    rule : callable
        ``rule(session, actor, id)`` tells whether the object exists and the actor may see it. For a manager
        it tells whether it exists.

    Raises
    ------
    ValueError
        When another rule stands for that argument.
    """
    if _rules.get(argument, rule) is not rule:
        raise ValueError(f"{argument} has a visibility rule already")
    _rules[argument] = rule


def exists(column: InstrumentedAttribute[UUID], scopes: tuple[str, ...] = ("bench", "manager")) -> Rule:
    """Make the rule of an object that everybody of these scopes sees, as soon as it exists."""

    def rule(session: Session, actor: Actor, identifier: UUID) -> bool:
        if actor.scope not in scopes:
            return False
        return session.execute(select(column).where(column == identifier)).first() is not None

    return rule


def rule_for(argument: str) -> Rule | None:
    """Return the rule for a path argument, or None when there is none."""
    return _rules.get(argument)
