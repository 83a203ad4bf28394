"""Judges the table of examples with the Python package jsonschema; shares no code with bractline.

Usage: check_schema.py SCHEMA EXAMPLES

Prints one line of JSON, {"name of the case": true or false, ...}, for every case that is not
marked text_only. Fails if the schema breaks its own meta-schema, if a member lacks its words or
an example, if an example in the schema is refused, or if a verdict hinges on asserted formats.
"""

import json
import sys

from jsonschema import Draft202012Validator


def read(path):
    with open(path, encoding="utf-8") as file:
        return json.load(file)


def document_of(case):
    """The document of a case, with each list under `repeat` grown to its length."""
    document = case["document"]
    for pointer, length in case.get("repeat", {}).items():
        items = document
        for step in pointer.split("/")[1:]:
            items = items[int(step)] if isinstance(items, list) else items[step]
        items.extend([items[0]] * (length - len(items)))
    return document


def check_words(schema, validator, place="#"):
    """Every member has a title, a description and examples that its own schema accepts."""
    for name, member in schema.get("properties", {}).items():
        where = f"{place}/properties/{name}"
        for keyword in ("title", "description", "examples"):
            if not member.get(keyword):
                sys.exit(f"{where} has no {keyword}")
    for example in schema.get("examples", []):
        if not validator.evolve(schema=schema).is_valid(example):
            sys.exit(f"{place} refuses its own example {json.dumps(example)}")
    for keyword in ("properties", "$defs"):
        for name, part in schema.get(keyword, {}).items():
            check_words(part, validator, f"{place}/{keyword}/{name}")
    if isinstance(schema.get("items"), dict):
        check_words(schema["items"], validator, f"{place}/items")


def main(schema_path, examples_path):
    schema = read(schema_path)
    Draft202012Validator.check_schema(schema)
    with_formats = Draft202012Validator(schema, format_checker=Draft202012Validator.FORMAT_CHECKER)
    without_formats = Draft202012Validator(schema)
    if with_formats.format_checker.conforms("2026-07-21", "date-time"):
        sys.exit("the format checker does not know date-time: install rfc3339-validator")
    check_words(schema, with_formats)

    verdicts = {}
    for case in read(examples_path):
        if case.get("text_only"):
            continue
        document = document_of(case)
        verdicts[case["name"]] = with_formats.is_valid(document)
        if without_formats.is_valid(document) != verdicts[case["name"]]:
            sys.exit(f"the verdict on {case['name']!r} hinges on asserted formats")
    print(json.dumps(verdicts))


if __name__ == "__main__":
    main(*sys.argv[1:])
