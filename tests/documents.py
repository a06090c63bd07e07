"""What --json printed, against its type and its schema."""

from functools import cache

import jsonschema
import msgspec

from fit.desk.show.document.catalogue import DIALECT, DOCUMENTS, json_schema
from fit.desk.show.document.pieces import plain


def typed(document):
    """The document as its type, no key of which is lacking or too many; its schema allows it, and it becomes the same again."""
    name = document["schema"].removeprefix("coilsweep.").removesuffix("/1")
    _validator(name).validate(document)
    found = _convert(document, DOCUMENTS[name])
    assert plain(found) == document
    assert msgspec.json.decode(msgspec.json.encode(found), type=type(found)) == found
    return found


# The first form that fits; the message of the last one tells where none does.
def _convert(document, forms):
    *others, last = forms
    for form in others:
        try:
            return msgspec.convert(document, form, strict=True)
        except msgspec.ValidationError:
            continue
    return msgspec.convert(document, last, strict=True)


@cache
def _validator(name):
    schema = json_schema(name)
    kind = jsonschema.validators.validator_for({"$schema": DIALECT})
    kind.check_schema(schema)
    return kind(schema)
