"""Numbers as people type them."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from django import forms


class CommaDecimalField(forms.DecimalField):
    """A decimal with spaces around it and a comma for a point understood; a thousand separator is not."""

    def to_python(self, value: Any) -> Decimal | None:
        return super().to_python(value.strip().replace(",", ".") if isinstance(value, str) else value)
