"""The JSON Schema of the kit file, for completion and explanations in an editor."""

import tomllib
from pathlib import Path
from typing import Any

from controller.kit.kit import Kit

WORDS = Path(__file__).with_name("kit_words.toml")
DIALECT = "https://json-schema.org/draft/2020-12/schema"  # the dialect that pydantic writes

Schema = dict[str, Any]


def kit_schema() -> Schema:
    """The kit's JSON Schema for editors.

    Every key has a meaning from kit_words.toml, which must list all keys and no others. The sensor's size is not required
    if the camera is named, because it is looked up before the kit is validated.
    """
    schema = Kit.model_json_schema()
    words = tomllib.loads(WORDS.read_text(encoding="utf-8"))
    words["TiltAxis"] = words["Axis"]
    for name, table in {"Kit": schema, **schema["$defs"]}.items():
        if "properties" in table:
            if table["properties"].keys() != words[name].keys():
                raise KeyError(f"kit_words.toml: {name} {sorted(table['properties'].keys() ^ words[name].keys())}")
            for key, part in table["properties"].items():
                part["description"] = words[name][key]
                part.pop("title", None)
                if "anyOf" in part:  # a kit has no null: a missing key is left out
                    part.update(next(each for each in part.pop("anyOf") if each.get("type") != "null"))
                    part.pop("default")
    camera, sensor = schema["$defs"]["Camera"], ["sensor_width_mm", "sensor_height_mm"]
    camera["required"] = [key for key in camera["required"] if key not in sensor]
    camera["anyOf"] = [{"required": sensor}, {"required": ["make", "model"]}]
    return {"$schema": DIALECT, **schema}
