"""Data as JSON: ASCII, so that no character set can spoil it."""

from __future__ import annotations

import datetime
import json
from collections.abc import Mapping
from typing import Any


def plain_value(value: Any) -> Any:
    """Return a value as JSON has it: dates as ISO 8601, the rest as it is."""
    return value.isoformat() if isinstance(value, datetime.date) else value


def json_text(data: Mapping[str, Any]) -> str:
    """Return data as JSON; what is not finite is no JSON and an error.

    Examples
    --------
    >>> json_text({"price": 1.5, "unit": "N·m"})
    '{\\n  "price": 1.5,\\n  "unit": "N\\\\u00b7m"\\n}'
    """
    return json.dumps(data, indent=2, allow_nan=False)
