"""JSON Schema of what each command writes with ``--json``, made from the types of its job.

json_schema("verify")                  # a dict, JSON Schema draft 2020-12
json_schema("verify", several=True)    # of `padbench verify A B --json`
"""

from importlib import import_module
from typing import Any, NotRequired

from typing_extensions import TypedDict

from padbench.results.documents import SCHEMA
from padbench.sheet import Assumed


class NewDocument(TypedDict):
    """``padbench new``: the sheet that was written."""

    sheet: str


class LiveDocument(TypedDict):
    """``padbench live``: where the page is, or the page that was written."""

    address: NotRequired[str]
    export: NotRequired[str]


DOCUMENTS = {
    "new": "schemas.NewDocument",
    "live": "schemas.LiveDocument",
    "verify": "verify.VerifyDocument",
    "play": "verify.PlayDocument",
    "regress": "regress.RegressDocument",
    "wiring": "wiring.WiringDocument",
    "diagnose": "diagnose.DiagnoseDocument",
    "inspect": "inspect.InspectDocument",
    "routine": "routine.RoutineDocument",
    "sweep --routine": "routine.RoutineDocument",
    "sweep --sheet": "pad_sections.PadSweepDocument",
    "play --routine": "routine_case.CaseDocument",
    "latency": "latency.LatencyDocument",
}
"""Command, and the type of its object (without its ``schema`` number) in `padbench.jobs`."""


def json_schema(command: str, *, several: bool = False) -> dict[str, Any]:
    """JSON Schema of what ``padbench COMMAND --json`` writes.

        jsonschema.validate(json.loads(text), padbench.json_schema("sweep"))

    ``several`` is for several files at once (`verify`, `regress`, `inspect`): the worst
    ``verdict``, and ``results`` with one object a file. ``"sweep"`` and ``"play"`` with
    ``" --routine"`` or ``"sweep --sheet"`` ask for one form of those commands, ``"sweep"`` alone
    for either. Raises ``KeyError`` for a command that has no such object.
    """
    from pydantic import TypeAdapter  # noqa: PLC0415 - only who asks for a schema needs it

    if command == "sweep":
        either = [json_schema(form) for form in ("sweep --routine", "sweep --sheet")]
        shared = {name: shape for form in either for name, shape in form.pop("$defs").items()}
        return {"anyOf": either, "$defs": shared, "$schema": _DRAFT, "title": _title(command)}
    module, name = DOCUMENTS[command].split(".")
    document = getattr(import_module(f"padbench.jobs.{module}"), name)
    schema = TypeAdapter(document).json_schema()
    schema["properties"]["schema"] = {"const": SCHEMA}
    common = ["schema"]
    if command not in ("new", "live"):
        # What the sheet leaves unsaid; these two have no sheet that was judged.
        schema["properties"]["assumed"] = _ASSUMED
        common.append("assumed")
    schema["required"] = [*common, *schema.get("required", ())]
    if several:
        # The number stands once, beside the verdict of them all.
        defs = schema.pop("$defs")
        del schema["properties"]["schema"]
        schema["required"].remove("schema")
        shape: dict[str, Any] = {"schema": {"const": SCHEMA}, "verdict": {"type": "string"}}
        shape["results"] = {"type": "array", "items": schema}
        schema = {"type": "object", "properties": shape, "required": [*shape], "$defs": defs}
    schema["$schema"] = _DRAFT
    schema["title"] = _title(command)
    return schema


_TEXT = {"type": "string"}
_ASSUMED = {
    "type": "array",
    "items": {
        "type": "object",
        "properties": dict.fromkeys(Assumed._fields, _TEXT),
        "required": [*Assumed._fields],
    },
}
"""`padbench.sheet.Assumed`, as an object."""

_DRAFT = "https://json-schema.org/draft/2020-12/schema"


def _title(command: str) -> str:
    return f"padbench {command} --json"
