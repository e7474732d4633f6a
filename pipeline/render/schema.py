"""The shape of draft.json as JSON Schema 2020-12, published as templates/draft.schema.json."""

from __future__ import annotations

import json

from pipeline.draft import Draft

FILE = "draft.schema.json"


def draft_schema() -> str:
    """The schema as JSON text, made of the model itself."""
    schema = Draft.model_json_schema(by_alias=True, mode="serialization")
    head = {"$schema": "https://json-schema.org/draft/2020-12/schema", "$id": "urn:jobtape:draft:1"}
    return json.dumps(head | schema, indent=1, ensure_ascii=False) + "\n"
