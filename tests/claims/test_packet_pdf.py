"""The claim's document: read by poppler, pikepdf and outloud, which know nothing of this tool.

PDF/UA is ISO 14289-1; typst checks what it can while it writes. outloud goes through the checkpoints of the Matterhorn
protocol for it as far as a program can judge them; three need a person (what is decoration, the order in which a page
is read, whether words fit a picture). It is no certificate.
"""

from __future__ import annotations

import re
from collections import Counter
from datetime import date
from pathlib import Path

import outloud
import pikepdf
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from pumpledger.claims.packet_pdf import drawn, legible, pdf_bytes, shown
from pumpledger.claims.packet_sections import document
from pumpledger.claims.redacted import redacted_claim
from tests.claims.made_up_claim import MADE_UP_NAME, made_up_claim
from tests.claims.made_up_packet import pages

HOSTILE = (
    ' =1+1 #sys.inputs $x$ *b* _i_ `c` @ref <lab> "q" \\u{41} #pagebreak() \u202ekcab\u202c \x00\x07 \u4e2d // /* ]}'
)


def written(tmp_path: Path, claim: object, redacted: bool = False) -> Path:
    path = tmp_path / "claim.pdf"
    path.write_bytes(pdf_bytes(document(claim, redacted), claim.last_day))
    return path


def structure(node: pikepdf.Object) -> list[pikepdf.Object]:
    kids = node.get("/K", [])
    found = [node] if isinstance(node, pikepdf.Dictionary) and "/S" in node else []
    for kid in kids if isinstance(kids, pikepdf.Array) else [kids]:
        if isinstance(kid, pikepdf.Dictionary):
            found += structure(kid)
    return found


def test_it_is_tagged_titled_and_in_a_language_and_every_figure_has_words(packet: Path) -> None:
    with pikepdf.open(packet / "data" / "claim.pdf") as pdf:
        root = pdf.Root
        assert root.MarkInfo.Marked
        assert str(root.Lang) == "en"
        assert root.ViewerPreferences.DisplayDocTitle
        with pdf.open_metadata() as meta:
            assert meta["pdfuaid:part"] == "1"
            assert "Savings claim none-S-1-20261019-20261122" in str(meta["dc:title"])
        tags = structure(root.StructTreeRoot)
        names = [str(tag.S) for tag in tags]
        figures = [tag for tag in tags if str(tag.S) == "/Figure"]
        assert len(figures) == 5  # calendar, days, months, two plans
        assert all(str(figure.Alt).strip() for figure in figures)
        assert "/TH" in names and "/Table" in names and "/H1" in names
        assert all(page.get("/Tabs") == "/S" for page in pdf.pages)


def test_it_passes_a_check_of_pdf_ua_by_another_hand(packet: Path, tmp_path: Path) -> None:
    good = outloud.check(str(packet / "data" / "claim.pdf"))
    assert not good.error and not good.errors, good.findings or good.error
    told = Counter(checkpoint["status"] for checkpoint in good.criteria["pdfua1"])
    print(f"PDF/UA-1, 31 checkpoints of the Matterhorn protocol by outloud {outloud.__version__}: {dict(told)}")
    assert told.keys() <= {"pass", "not-applicable", "manual"} and told.total() == 31 and told["manual"] <= 3
    # That the check can fail: the same document without the words of its figures.
    with pikepdf.open(packet / "data" / "claim.pdf") as pdf:
        for tag in structure(pdf.Root.StructTreeRoot):
            if str(tag.S) == "/Figure":
                del tag.Alt
        pdf.save(tmp_path / "mute.pdf")
    assert outloud.check(str(tmp_path / "mute.pdf"), layers=["conformance"]).verdict == "fail"


def test_every_font_is_inside(packet: Path) -> None:
    with pikepdf.open(packet / "data" / "claim.pdf") as pdf:
        programs = [
            font.DescendantFonts[0].FontDescriptor if "/DescendantFonts" in font else font.FontDescriptor
            for page in pdf.pages
            for font in page.Resources.get("/Font", pikepdf.Dictionary()).values()
        ]
        assert programs
        assert all({"/FontFile2", "/FontFile3"} & set(program.keys()) for program in programs)
        assert "/AcroForm" not in pdf.Root and "/JavaScript" not in pdf.Root.get("/Names", pikepdf.Dictionary())


def test_figures_are_drawn_and_no_pixels(packet: Path) -> None:
    with pikepdf.open(packet / "data" / "claim.pdf") as pdf:
        assert not [page for page in pdf.pages if page.images]


def test_every_page_says_not_ready_until_it_is(tmp_path: Path) -> None:
    not_ready = pages(written(tmp_path, made_up_claim()))
    assert len(not_ready) > 3 and all("NOT READY" in page for page in not_ready)
    assert not any("NOT READY" in page for page in pages(written(tmp_path, made_up_claim(is_ready=True))))


def test_a_name_stands_on_the_cover_alone_and_nowhere_when_redacted(tmp_path: Path) -> None:
    cover, *rest = pages(written(tmp_path, made_up_claim()))
    assert MADE_UP_NAME in cover and "Invented Town" in cover
    assert not any(MADE_UP_NAME in page or "Invented Town" in page or "Invented Person" in page for page in rest)
    redacted = " ".join(pages(written(tmp_path, redacted_claim(made_up_claim()), redacted=True)))
    for name in (MADE_UP_NAME, "Invented Town", "Invented Person", "logger_2026-W43.csv", "Made-up fleet"):
        assert name not in redacted
    assert "redacted" in redacted


def test_hostile_text_is_text_in_every_field(tmp_path: Path) -> None:
    plain, hostile = (len(pages(written(tmp_path, made_up_claim(text=text)))) for text in ("", HOSTILE))
    text = re.sub(r"\s+", "", " ".join(pages(written(tmp_path, made_up_claim(text=HOSTILE)))))
    for part in (
        "#sys.inputs",
        "$x$",
        "*b*",
        "_i_",
        "#pagebreak()",
        "[U+202E]",
        "[U+0000]",
        "[U+0007]",
        "[U+4E2D]",
        "=1+1",
    ):
        assert text.count(part) >= 15, part
    assert "\u202e" not in text
    assert hostile <= plain + 3, "nothing of it breaks pages"


@given(st.text(max_size=200))
@settings(max_examples=25, deadline=None)
def test_any_text_can_be_typeset(text: str) -> None:
    claim = made_up_claim(text=text)
    assert pdf_bytes(document(claim), claim.last_day).startswith(b"%PDF")


def test_every_character_that_is_relied_on_is_in_the_fonts() -> None:
    """typst refuses PDF/UA where a character has no picture in the font."""
    every = "".join(chr(code) for code in range(0x20, 0x2300) if drawn(chr(code)))
    assert len(every) > 400
    assert set(shown(every)) <= set(every)
    made = document(made_up_claim())
    made["sections"] = [{"title": "All", "blocks": [{"kind": "code", "text": every}, {"kind": "para", "text": every}]}]
    assert pdf_bytes(made, date(2026, 1, 1)).startswith(b"%PDF")


@pytest.mark.parametrize(
    ("text", "seen"), [("\u202ea", "[U+202E]a"), ("e\u0301", "\u00e9"), ("\u200b", "[U+200B]"), (None, "")]
)
def test_what_cannot_be_seen_is_spelt_out(text: str | None, seen: str) -> None:
    assert shown(text) == seen
    assert legible({"a": [text or "", 1, None, True]}) == {"a": [seen, 1, None, True]}


def test_us_fleets_get_letter_paper_and_gallons(tmp_path: Path) -> None:
    path = written(tmp_path, made_up_claim(units="us"))
    with pikepdf.open(path) as pdf:
        assert [round(float(edge)) for edge in pdf.pages[0].MediaBox] == [0, 0, 612, 792]
    assert "gpm" in " ".join(pages(path))


def test_the_same_claim_gives_the_same_bytes() -> None:
    claim = made_up_claim()
    assert pdf_bytes(document(claim), claim.last_day) == pdf_bytes(document(made_up_claim()), claim.last_day)
