"""The three reports as paper and as a page: printed and read back, opened in a real Chromium.

PDFium (pypdfium2) reads the PDFs; axe-core judges the HTML. What a page must have is common
practice of printing, no source, where no other source is named.
"""

from __future__ import annotations

import ctypes
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from pypdfium2 import raw

from firelog.demo import past
from firelog.record.store import Store
from firelog.report import pdf, write
from firelog.report.page import html_of
from firelog.report.sheet import Letterhead, Sheet
from tests.dashboards.test_chromium import CHROMIUM, FLAGS

NOW_US = 1_764_064_800_000_000
REPORTS = (("heron heat", "heat"), ("owl and toad", "firing"), ("toad", "casting"))
LETTER = Letterhead(
    ("12 Kiln Lane", "Larkspur"), "Lark Street Library", "27-114", ("Founder", "Client")
)
FEWEST_WORDS = 110  # on a page with no picture; a page with one has less room for words
PAPERS = {"A4": (595.3, 841.9), "Letter": (612.0, 792.0)}  # ISO 216 and ANSI, in points

pytestmark = [
    pytest.mark.browser,
    pytest.mark.slow,
    pytest.mark.skipif(CHROMIUM is None, reason="there is no Chromium here"),
]


@dataclass(frozen=True)
class Printed:
    """A report as sheet and as PDF."""

    sheet: Sheet
    paper: str
    path: Path

    def pages(self) -> list[Any]:
        """Return the pages of the PDF."""
        return list(pypdfium2.PdfDocument(self.path))

    def texts(self) -> list[str]:
        """Return the words of each page, headers and footers included, spaces made even."""
        words = [page.get_textpage().get_text_range() for page in self.pages()]
        return [re.sub(r"\s+", " ", one.replace("\ufffe", "-")) for one in words]


@pytest.fixture(scope="module")
def sheets(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Sheet]:
    """Return the three reports of the demo."""
    path = tmp_path_factory.mktemp("sheets") / "demo.firelog"
    with Store.open(path, write=True) as store:
        past.build(store, NOW_US)
        return {kind: write.make(store, name, NOW_US, kind, LETTER).sheet for name, kind in REPORTS}


@pytest.fixture(scope="module")
def prints(sheets: dict[str, Sheet], tmp_path_factory: pytest.TempPathFactory) -> list[Printed]:
    """Return the three reports printed on both papers."""
    folder, found = tmp_path_factory.mktemp("prints"), []
    for kind, sheet in sheets.items():
        for paper in PAPERS:
            path = folder / f"{kind}-{paper}.pdf"
            pdf.write(html_of(sheet, paper), path)
            found.append(Printed(sheet, paper, path))
    return found


# ---------------------------------------------------------------- on paper
def test_every_page_says_whose_it_is(prints: list[Printed]) -> None:
    """Each page has number and count, the day it was made and the seal; from the second, names."""
    for one in prints:
        texts = one.texts()
        assert 3 <= len(texts) <= 6
        for number, text in enumerate(texts, 1):
            assert f"page {number} of {len(texts)}" in text
            assert one.sheet.made in text
            assert one.sheet.seal in text
            assert one.sheet.title in text
            assert one.sheet.foundry in text


def test_the_paper_is_the_paper_asked_for(prints: list[Printed]) -> None:
    """A4 and Letter have the sizes of ISO 216 and ANSI."""
    for one in prints:
        for page in one.pages():
            assert page.get_size() == pytest.approx(PAPERS[one.paper], abs=1.0)


def test_no_page_is_almost_empty(prints: list[Printed]) -> None:
    """Each page without a picture holds a fair number of words; the last one too."""
    for one in prints:
        for page, text in zip(one.pages(), one.texts(), strict=True):
            if not _has_picture(page):
                assert len(text.split()) >= FEWEST_WORDS, (one.path.name, text)


def _has_picture(page: Any) -> bool:
    return any("numbers stand in the tables" in words for _, words in _tags(page))


def test_no_heading_stands_last_on_its_page(prints: list[Printed]) -> None:
    """Under every heading at least two lines of its part stand on the same page."""
    for one in prints:
        titles = [part.title for part in one.sheet.sections]
        places = list(_headings(one, titles))
        assert {title for title, _, _ in places} >= set(titles)
        for title, under, left in places:
            assert under > 24.0, (one.path.name, title)  # points: two lines of a small type
            assert left > 24.0, (one.path.name, title)


def _headings(one: Printed, titles: list[str]) -> Iterator[tuple[str, float, float]]:
    """Yield each heading with how far what stands below it on its page reaches, and the edge."""
    for page in one.pages():
        text = page.get_textpage()
        body = [text.get_rect(n) for n in range(text.count_rects())]
        foot = min(box[1] for box in body)
        body = [box for box in body if box[1] > foot + 20.0]  # without the running foot
        for title in titles:
            found = text.search(title, match_case=True)
            while (hit := found.get_next()) is not None:
                left, bottom, _, top = text.get_charbox(hit[0])
                if top - bottom < 5.0 or left > 60.0:
                    continue  # the same words in small type, or in a table
                yield title, bottom - min(box[1] for box in body), bottom - foot


def test_the_pdf_is_tagged(prints: list[Printed]) -> None:
    """Headings, tables with heads, and each picture with words for it are tagged as such.

    PDF/UA-1 (ISO 14289-1:2014), 7.2 (headings), 7.5 (tables), 7.3 (figures with alternatives).
    """
    for one in prints:
        document = pypdfium2.PdfDocument(one.path)
        assert raw.FPDFCatalog_IsTagged(document)
        tags = [tag for page in document for tag in _tags(page)]
        names = {name for name, _ in tags}
        assert {"H1", "H2", "Table", "TR", "TH", "TD"} <= names
        figures = [words for name, words in tags if name == "Figure"]
        assert any("numbers stand in the tables" in words for words in figures)
        assert document.get_metadata_dict()["Title"].startswith(one.sheet.title)


def _tags(page: Any) -> Iterator[tuple[str, str]]:
    tree = raw.FPDF_StructTree_GetForPage(page)
    waiting = [
        raw.FPDF_StructTree_GetChildAtIndex(tree, n)
        for n in range(raw.FPDF_StructTree_CountChildren(tree))
    ]
    while waiting:
        node = waiting.pop()
        if not node:
            continue
        name, words = (
            _read(ask, node)
            for ask in (raw.FPDF_StructElement_GetType, raw.FPDF_StructElement_GetAltText)
        )
        yield name, words
        waiting += [
            raw.FPDF_StructElement_GetChildAtIndex(node, n)
            for n in range(max(0, raw.FPDF_StructElement_CountChildren(node)))
        ]


def _read(ask: Any, node: Any) -> str:
    size = ask(node, None, 0)
    if size <= 2:
        return ""
    room = ctypes.create_string_buffer(size)
    ask(node, room, size)
    return room.raw[: size - 2].decode("utf-16-le")


def test_the_first_page_has_verdict_and_picture(prints: list[Printed]) -> None:
    """Verdict, for whom, and the picture stand on the first page."""
    for one in prints:
        first = one.texts()[0]
        assert one.sheet.verdict in first
        assert _has_picture(one.pages()[0])
        for said in ("Lark Street Library", "27-114", "12 Kiln Lane"):
            assert said in first
        assert "Founder, date" in one.texts()[-1]


# ---------------------------------------------------------------- on a screen
@pytest.fixture(scope="module")
def opened(
    sheets: dict[str, Sheet], tmp_path_factory: pytest.TempPathFactory
) -> Iterator[dict[str, Any]]:
    """Open the three reports in one Chromium."""
    playwright = pytest.importorskip("playwright.sync_api")
    folder = tmp_path_factory.mktemp("html")
    with playwright.sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        pages = {}
        for kind, sheet in sheets.items():
            path = folder / f"{kind}.html"
            path.write_text(html_of(sheet), "utf-8")
            pages[kind] = browser.new_page()
            pages[kind].goto(path.as_uri())
        yield pages
        browser.close()


@pytest.mark.parametrize("width", [320, 390, 704, 820, 1440])
def test_nothing_scrolls_sideways(opened: dict[str, Any], width: int) -> None:
    """At every width the page is as wide as its window (WCAG 2.2, 1.4.10: reflow at 320 px)."""
    for kind, page in opened.items():
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate("document.documentElement.scrollWidth") <= width, kind
        hidden = page.evaluate(
            "[...document.querySelectorAll('main *, header *')].filter(e =>"
            " e.getBoundingClientRect().right > innerWidth + 1 && !e.closest('thead, svg')).length"
        )
        assert hidden == 0, kind


@pytest.mark.parametrize("width", [320, 1440])
def test_axe_finds_nothing(opened: dict[str, Any], width: int) -> None:
    """axe-core has no finding of any weight, on a phone and at a desk.

    It leaves open only the contrast of words in drawings, which the next test decides.
    """
    axe = pytest.importorskip("axe_playwright_python.sync_playwright").Axe()
    for kind, page in opened.items():
        page.set_viewport_size({"width": width, "height": 800})
        found = axe.run(page, options={"resultTypes": ["violations", "incomplete"]}).response
        assert [one["id"] for one in found["violations"]] == [], kind
        left = {
            (one["id"], node["html"][:5]) for one in found["incomplete"] for node in one["nodes"]
        }
        assert left <= {("color-contrast", "<text")}, kind


def test_words_in_drawings_can_be_read(opened: dict[str, Any]) -> None:
    """Each word of a drawing has 4.5 : 1 against white and every tint (WCAG 2.2, 1.4.3)."""
    for kind, page in opened.items():
        inks, tints = page.evaluate(
            """(() => { const of = (what, key) => [...new Set(
                 [...document.querySelectorAll(what)].map(e => getComputedStyle(e)[key]))];
               return [of('.figure text', 'fill'), of('.figure rect', 'fill')]; })()"""
        )
        grounds = [(255.0, 255.0, 255.0), *(_on_white(tint) for tint in tints)]
        assert len(inks) >= 2
        worst = min(_contrast(_on_white(ink), ground) for ink in inks for ground in grounds)
        assert worst >= 4.5, (kind, inks, tints)


def _on_white(colour: str) -> tuple[float, ...]:
    red, green, blue, *alpha = (float(part) for part in re.findall(r"[\d.]+", colour))
    share = alpha[0] if alpha else 1.0
    return tuple(share * one + (1.0 - share) * 255.0 for one in (red, green, blue))


def _contrast(a: tuple[float, ...], b: tuple[float, ...]) -> float:
    """Return the contrast of two colours as WCAG 2.2 defines it."""

    def luminance(colour: tuple[float, ...]) -> float:
        parts = [one / 255.0 for one in colour]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        return sum(w * p for w, p in zip((0.2126, 0.7152, 0.0722), linear, strict=True))

    light, dark = sorted((luminance(a), luminance(b)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_no_name_is_under_a_mark_or_another_name(opened: dict[str, Any]) -> None:
    """In each drawing no mark and no name covers a name, measured by the browser."""
    for kind, page in opened.items():
        page.set_viewport_size({"width": 1440, "height": 800})
        covered = page.evaluate(
            """[...document.querySelectorAll('svg.wide')].flatMap(svg => {
              const box = e => e.getBoundingClientRect();
              const names = [...svg.querySelectorAll('text')];
              const marks = [...svg.querySelectorAll('g[transform]')];
              const over = (a, b) => a.left < b.right - 1 && b.left < a.right - 1
                && a.top < b.bottom - 2 && b.top < a.bottom - 2;
              return names.flatMap((one, n) =>
                [...marks, ...names.slice(n + 1)].filter(two => over(box(one), box(two)))
                  .map(two => one.textContent + ' / ' + (two.textContent || 'a mark')));
            })"""
        )
        assert covered == [], kind


def test_lines_are_told_apart_without_colour(opened: dict[str, Any]) -> None:
    """No two lines of a drawing's key share dash and width; each stands in the drawing too."""
    for kind, page in opened.items():
        styles = page.evaluate(
            """[...document.querySelectorAll('.key')].map(key =>
              [...key.querySelectorAll('path[d="M0 7H40"]')].map(e =>
                e.getAttribute('stroke-dasharray') + ' ' + e.getAttribute('stroke-width')))"""
        )
        assert styles, kind
        for key in styles:
            assert len(set(key)) == len(key) >= 2, kind
