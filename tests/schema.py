"""Write the JSON Schema of vocabulary files: python -m tests.schema."""

from __future__ import annotations

import json

from fitgraph.catalogue import shipped_folder
from fitgraph.catalogue.vocabulary_shape import vocabulary_schema

FILE = "vocabulary.schema.json"


def schema_text() -> str:
    """Return the schema as it is shipped."""
    return json.dumps(vocabulary_schema(), indent=1, ensure_ascii=True) + "\n"


if __name__ == "__main__":
    (shipped_folder("data") / FILE).write_text(schema_text(), encoding="utf-8")
