"""Holds what a bench really told its followers against the schemas of the interface's document."""

import json
import sys

from jsonschema_rs import Draft202012Validator

cases = json.load(open(sys.argv[1], encoding="utf-8"))
document = cases[0]["document"]
events = cases[1:]
schemas = document["components"]["schemas"]


def closed(schema):
    """The same, taking no field that it does not name, so that one too many is found."""
    if isinstance(schema, list):
        return [closed(each) for each in schema]
    if not isinstance(schema, dict):
        return schema
    done = {key: closed(value) for key, value in schema.items()}
    if "properties" in done:
        done.setdefault("additionalProperties", False)
    return done


names = {
    "state": "BenchView",
    "reading": "ReadingView",
    "bell": "BellView",
    "beat": "BeatView",
}
validators = {
    event: Draft202012Validator(
        {
            "$ref": f"#/components/schemas/{name}",
            "components": {"schemas": closed(schemas)},
        }
    )
    for event, name in names.items()
}
wrong = []
for case in events:
    for error in validators[case["event"]].iter_errors(case["data"]):
        wrong.append(f"{case['event']}: /{'/'.join(map(str, error.instance_path))}: {error.message}")
for line in wrong[:20]:
    print(line)
for event in names:
    print(f"{event}s that fit:", sum(case["event"] == event for case in events))
sys.exit(bool(wrong))
