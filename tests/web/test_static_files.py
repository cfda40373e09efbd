"""Styles and pages as files: contrast by WCAG 2.2, nothing inline, nothing from elsewhere."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

WEB = Path(__file__).parents[2] / "web"
TOKENS = (WEB / "css" / "tokens.css").read_text("utf-8")
PAGES = sorted(WEB.glob("*.html"))
FILES = sorted(path for kind in ("*.js", "*.css", "*.html", "*.svg") for path in WEB.rglob(kind))

TEXT, GRAPHIC = 4.5, 3.0
"""WCAG 2.2: 1.4.3 Contrast (Minimum), AA, and 1.4.11 Non-text Contrast."""
PAIRS = [
    *(("ink", ground, TEXT) for ground in ("ground", "sheet", "chosen", "notice-ground")),
    *(("ink-soft", ground, TEXT) for ground in ("ground", "sheet", "chosen")),
    *(("action", ground, TEXT) for ground in ("ground", "sheet", "chosen")),
    ("loud-ink", "loud-ground", TEXT),
    *((line, "sheet", GRAPHIC) for line in ("pelvis", "upper-back", "rule-strong")),
]


def theme(name: str) -> dict[str, str]:
    """Tokens of a theme, name -> hexadecimal colour."""
    blocks = {
        "light": r":root,\s*\.paper \{(.*?)\}",
        "dark": r"prefers-color-scheme: dark\) \{\s*:root \{(.*?)\}",
        "print": r"@media print \{\s*:root \{(.*?)\}",
    }
    block = re.search(blocks[name], TOKENS, re.DOTALL)
    assert block, name
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", block.group(1)))


def luminance(colour: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    bright, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (bright + 0.05) / (dark + 0.05)


def test_the_contrast_formula_gives_the_published_extremes():
    """Black on white is 21 : 1 by WCAG's own definition; #767676 is its known AA grey (4.54)."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


@pytest.mark.parametrize("name", ["light", "dark", "print"])
@pytest.mark.parametrize(("front", "ground", "least"), PAIRS)
def test_every_colour_stands_out_enough(name, front, ground, least):
    colours = theme(name)
    assert contrast(colours[front], colours[ground]) >= least


def test_segments_keep_the_published_colours():
    """Paul Tol, Colour Schemes, SRON/EPS/TN/09-002, issue 3.2 (2021): 'medium contrast'."""
    assert (theme("light")["pelvis"], theme("dark")["pelvis"]) == ("#997700", "#eecc66")
    assert (theme("light")["upper-back"], theme("dark")["upper-back"]) == ("#994455", "#ee99aa")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_pages_hold_no_inline_script_or_style(page):
    text = page.read_text("utf-8")
    assert not re.search(r"<script(?![^>]*\bsrc=)|<style|\sstyle=|\son\w+=", text)
    assert 'lang="en"' in text
    assert 'name="viewport"' in text


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_every_file_a_page_names_is_there(page):
    named = re.findall(r'(?:href|src)="/static/([^"]+)"', page.read_text("utf-8"))
    assert len(named) > 5
    assert [name for name in named if not (WEB / name).is_file()] == []


def test_every_import_of_a_script_is_there():
    missing = [
        f"{path.relative_to(WEB)}: {name}"
        for path in WEB.rglob("*.js")
        for name in re.findall(r'from "(\.[^"]+)"', path.read_text("utf-8"))
        if not (path.parent / name).is_file()
    ]
    assert missing == []


def test_no_file_names_another_host():
    allowed = "http://www.w3.org/2000/svg"
    strangers = [
        f"{path.relative_to(WEB)}: {url}"
        for path in FILES
        for url in re.findall(
            r"(?:https?:)?//[\w.-]+\.[a-z]{2,}[^\s\"')]*", path.read_text("utf-8")
        )
        if url != allowed
    ]
    assert strangers == []


def test_text_goes_in_as_text():
    for path in WEB.rglob("*.js"):
        text = path.read_text("utf-8")
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write", text), path
