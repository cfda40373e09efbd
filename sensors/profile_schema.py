"""What may stand at a key of a profile, told from the types of `sensors.profile`."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Final

import msgspec
from msgspec import inspect

from sensors.profile import HexBytes, Profile, Ratio, Uuid
from sensors.toml_lines import KeyPath

_CUSTOM: Final = {
    Uuid: "a UUID in quotes",
    HexBytes: "bytes in quotes, as pairs of hex digits",
    Ratio: "a number above 0 or a fraction in quotes",
}


def keys_at(tables: dict[str, Any], path: KeyPath) -> tuple[str, ...]:
    """Keys that the table at a path may have, the path being one of the file's."""
    (table,) = _tables_at(tables, path)[:1] or (None,)
    if table is None:
        return ()
    tag = (table.tag_field,) if table.tag_field else ()
    return (*tag, *(field.encode_name for field in table.fields))


def expected_at(tables: dict[str, Any], path: KeyPath) -> str:
    """What is expected at a path, in words, the path being one of the file's."""
    if not path:
        return "a table"
    above = _tables_at(tables, path[:-1])
    if path[-1] in {table.tag_field for table in above}:
        return _one_of([table.tag for table in _all_tables_at(tables, path[:-1])])
    kind: inspect.Type | None = _kind_at(tables, path)
    return _words(kind) if kind is not None else "another value"


def every_key() -> Iterator[str]:
    """Every key of a profile, lists as `[]`: for the documents that must name them."""
    yield from _keys(inspect.type_info(Profile), "")


def _keys(kind: inspect.Type, at: str) -> Iterator[str]:
    if isinstance(kind, inspect.StructType):
        if kind.tag_field:
            yield f"{at}.{kind.tag_field}={kind.tag}"
        for field in kind.fields:
            key = f"{at}.{field.encode_name}".removeprefix(".")
            yield key
            yield from _keys(field.type, key)
    elif isinstance(kind, inspect.VarTupleType):
        yield from _keys(kind.item_type, f"{at}[]")
    elif isinstance(kind, inspect.UnionType):
        for one in kind.types:
            yield from _keys(one, at)


def _one_of(values: list[Any]) -> str:
    quoted = [msgspec.json.encode(value).decode() for value in values]
    return f"one of {', '.join(quoted)}"


def _words(kind: inspect.Type) -> str:
    if isinstance(kind, inspect.UnionType):
        if all(isinstance(one, inspect.StructType) for one in kind.types):
            return "a table with the key 'field'"
        parts = [_words(one) for one in kind.types if not isinstance(one, inspect.NoneType)]
        return " or ".join(dict.fromkeys(parts))
    if isinstance(kind, inspect.LiteralType):
        return _one_of(list(kind.values))
    if isinstance(kind, inspect.CustomType):
        return _CUSTOM.get(kind.cls, "another value")
    plain: list[tuple[type[inspect.Type], str]] = [
        (inspect.IntType, "a whole number"),
        (inspect.FloatType, "a number"),
        (inspect.StrType, "text in quotes"),
        (inspect.BoolType, "true or false"),
        (inspect.StructType, "a table"),
        (inspect.TupleType, "a list"),
        (inspect.VarTupleType, "a list"),
    ]
    return next((words for of, words in plain if isinstance(kind, of)), "another value")


def _kind_at(tables: dict[str, Any], path: KeyPath) -> inspect.Type | None:
    """Type at a path; where tables are told apart by a field, the file's own choice."""
    kind: inspect.Type | None = inspect.type_info(Profile)
    data: Any = tables
    for step in path:
        table = _chosen(kind, data)
        if isinstance(step, int):
            kind = _item(kind, step)
            data = data[step] if isinstance(data, list) and step < len(data) else None
        else:
            fields = {field.encode_name: field.type for field in table.fields} if table else {}
            kind = fields.get(step)
            data = data.get(step) if isinstance(data, dict) else None
    return kind


def _item(kind: inspect.Type | None, index: int) -> inspect.Type | None:
    if isinstance(kind, inspect.VarTupleType):
        return kind.item_type
    if isinstance(kind, inspect.TupleType) and index < len(kind.item_types):
        return kind.item_types[index]
    return None


def _structs(kind: inspect.Type | None) -> list[inspect.StructType]:
    kinds = kind.types if isinstance(kind, inspect.UnionType) else (kind,)
    return [one for one in kinds if isinstance(one, inspect.StructType)]


def _chosen(kind: inspect.Type | None, data: Any) -> inspect.StructType | None:  # noqa: ANN401
    tables = _structs(kind)
    if len(tables) > 1 and isinstance(data, dict):
        tables = [table for table in tables if data.get(table.tag_field or "") == table.tag]
    return tables[0] if tables else None


def _all_tables_at(tables: dict[str, Any], path: KeyPath) -> list[inspect.StructType]:
    return _structs(_kind_at(tables, path))


def _tables_at(tables: dict[str, Any], path: KeyPath) -> list[inspect.StructType]:
    data: Any = tables
    for step in path:
        try:
            data = data[step]
        except (KeyError, IndexError, TypeError):
            data = None
    kind = _kind_at(tables, path)
    found = _chosen(kind, data)
    return [found] if found else _structs(kind)
