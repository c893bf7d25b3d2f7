"""Stored rows ⇄ the pure values that they stand for. The JSON of a row holds the fields of its value, nothing else."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import fields
from typing import Any

from handover.protocols.models import Kind
from handover.schedule.library import Rule, SeasonGate
from handover.schedule.release import Criterion
from handover.schedule.watertime import WaterProtocol

Value = Rule | SeasonGate | WaterProtocol | Criterion
VALUES: dict[str, type[Value]] = {
    Kind.RULE: Rule,
    Kind.GATE: SeasonGate,
    Kind.WATER: WaterProtocol,
    Kind.CRITERION: Criterion,
}


def value_of(kind: str, content: Mapping[str, Any]) -> Value:
    """The value that a row stands for. Raises ValueError, with a sentence, for content that is none."""
    return VALUES[kind].from_json(content)


def content_of(value: Value) -> dict[str, Any]:
    """The JSON of a value: reading it back gives an equal one."""
    return {field.name: _plain(getattr(value, field.name)) for field in fields(value)}


def _plain(part: Any) -> Any:
    if isinstance(part, frozenset):
        return sorted(part)
    if isinstance(part, tuple):
        return list(part)
    return str(part) if isinstance(part, str) else part
