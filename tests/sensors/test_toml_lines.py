"""Where each key of a TOML text stands."""

import tomllib

from hypothesis import given, settings

from sensors.toml_lines import key_lines, line_of
from tests.support.any_profile import profile_tables, toml_text

TEXT = '''\
# a comment = 1
plain = "a # no comment, [no] table"
"quoted key" = 'x'
many = """
line = 1
[no table]
"""
dotted.inside = { a = 1, b = [2, { c = 3 }] }
list = [
    1,  # one
    "]",
    { deep = true },
]

[table."a.b"]
key = 1979-05-27

[[rows]]
key = 1
[[rows]]

key = 2
[rows.below]
key = 3
[[rows.inner]]
key = 4
'''


def test_keys_tables_and_list_items_are_found():
    lines = key_lines(TEXT)
    assert lines["plain",] == 2
    assert lines["quoted key",] == 3
    assert lines["many",] == 4
    assert ("line",) not in lines
    assert lines["dotted", "inside", "b", 1, "c"] == 8
    assert lines["list", 1] == 11
    assert lines["list", 2, "deep"] == 12
    assert lines["table", "a.b", "key"] == 16
    assert lines["rows",] == 18
    assert lines["rows", 0, "key"] == 19
    assert lines["rows", 1, "key"] == 22
    assert lines["rows", 1, "below", "key"] == 24
    assert lines["rows", 1, "inner", 0, "key"] == 26


def test_what_is_missing_has_the_line_of_what_is_around_it():
    assert line_of(key_lines(TEXT), ("rows", 1, "missing")) == 20
    assert line_of(key_lines(TEXT), ("nothing",)) is None


def paths(value: object, at: tuple = ()):
    parts = value.items() if isinstance(value, dict) else enumerate(value)
    for key, part in parts:
        yield (*at, key)
        if isinstance(part, dict | list):
            yield from paths(part, (*at, key))


def test_windows_line_ends_count_once():
    assert key_lines("a = 1\r\nb = 2\r\n")["b",] == 2


@given(profile_tables())
@settings(max_examples=50, deadline=None)
def test_every_key_of_any_profile_is_found_and_no_other(tables):
    text = toml_text(tables)
    found = key_lines(text)
    assert set(found) == set(paths(tomllib.loads(text)))
    for number, key in enumerate(tables, 1):
        assert found[key,] == number
