"""JSON Schema of what each command writes with ``--json``, made from the types of its job.

json_schema("verify")             # a dict, JSON Schema draft 2020-12
"""

from importlib import import_module
from typing import Any

from padbench.results.documents import SCHEMA

__all__ = ["DOCUMENTS", "json_schema"]

DOCUMENTS = {
    "verify": "verify.VerifyDocument",
    "play": "verify.PlayDocument",
    "regress": "regress.RegressDocument",
    "wiring": "wiring.WiringDocument",
    "inspect": "inspect.InspectDocument",
    "routine": "routine.RoutineDocument",
    "sweep --routine": "routine.RoutineDocument",
    "sweep --sheet": "pad_sections.PadSweepDocument",
    "play --routine": "routine_case.CaseDocument",
    "latency": "latency.LatencyDocument",
}
"""Command, and the type of its object (without its ``schema`` number) in `padbench.jobs`."""


def json_schema(command: str) -> dict[str, Any]:
    """JSON Schema of what ``padbench COMMAND --json`` writes.

    Of several files at once a command writes ``verdict`` and ``results``, one object a file. Raises
    ``KeyError`` for a command that has no such object.
    """
    from pydantic import TypeAdapter  # noqa: PLC0415 - only who asks for a schema needs it

    module, name = DOCUMENTS[command].split(".")
    document = getattr(import_module(f"padbench.jobs.{module}"), name)
    schema = TypeAdapter(document).json_schema()
    schema["properties"]["schema"] = {"const": SCHEMA}
    schema["required"] = ["schema", *schema["required"]]
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = f"padbench {command} --json"
    return schema
