"""Lists that were saved in code pages of one byte a letter, against the tables of Python's codecs.

The words are common ones of each language, from memory.
"""

from __future__ import annotations

import pytest

from fitgraph.intake.code_pages import code_page
from fitgraph.intake.sources import read_held

LISTS = {
    "German": "Artikelnr;Größe;Gewicht (g);Stück\nA-1;Gabel weiß;950;2\nA-2;600 ±0,5;9;½\n",
    "French": "Référence;Désignation;Diamètre;Quantité\nA-1;Fourche très légère;28,6;4\n",
    "Spanish": "Referencia;Descripción;Tamaño;Año\nA-1;Manillar niño pequeño;28,6;4\n",
    "Danish": "Varenr;Vægt (g);Længde\nA-1;Styr blå Ø31,8 på;900\n",
    "Swedish": "Artikel;Benämning;Längd\nA-1;Styre blå Ø31,8;900\n",
    "Polish": "Numer;Średnica;Długość;Ilość\nA-1;Kierownica żółta;28,6;4\n",
    "Czech": "Číslo;Název;Průměr;Délka;Množství\nA-1;Řídítka žlutá;28,6;4;1\n",
    "Hungarian": "Cikkszám;Átmérő;Súly (g)\nA-1;Kormány őszi fűzöld;28,6\n",
    "Turkish": "Kod;Açıklama;Ağırlık;Çap\nA-1;Gidon siyah şık İğne;28,6;4\n",
    "Russian": "Артикул;Название;Диаметр\nA-1;Руль чёрный;28,6\n",
    "Greek": "Κωδικός;Περιγραφή;Βάρος\nA-1;Τιμόνι μαύρο;28,6\n",
    "English": "Item;Name;Price (€)\nA-1;Bar “L” – 1½…;£10\n",
}
WEST = ("cp1252", "cp850", "cp437", "mac_roman", "iso8859-15")
SAVED = [
    *((one, page) for one in ("German", "French", "Spanish", "Danish", "Swedish") for page in WEST),
    *((one, page) for one in ("Polish", "Czech", "Hungarian") for page in ("cp1250", "cp852")),
    *((language, "iso8859-2") for language in ("Polish", "Czech", "Hungarian")),
    *(("Turkish", page) for page in ("cp1254", "cp857")),
    *(("Russian", page) for page in ("cp1251", "cp866", "koi8-r")),
    *(("Greek", "cp1253"), ("Greek", "cp737"), ("English", "cp1252")),
]


def saved(language: str, page: str) -> bytes | None:
    """Return a list in a code page; None where that has no such letters."""
    try:
        return LISTS[language].encode(page)
    except UnicodeEncodeError:
        return None


#: Lists in which each letter stands in words of central Europe as well: "Diamčtre", "nińo".
DOUBTFUL = ("French", "Spanish")
WRITTEN = [(one, page, data) for one, page in SAVED if (data := saved(one, page)) is not None]


def test_most_lists_can_be_saved_in_most_pages() -> None:
    assert len(WRITTEN) >= 30


@pytest.mark.parametrize(("language", "page", "data"), WRITTEN)
def test_a_list_reads_as_it_was_written(language: str, page: str, data: bytes) -> None:
    sheet = read_held("list.csv", data)[0]
    assert "\n".join(";".join(cells) for _, cells in sheet.rows) == LISTS[language].strip()
    # What is not the usual page is told, with words to judge it by.
    told = [r for r in sheet.remarks if r.code == "code-page"]
    assert bool(told) == (page not in ("cp1252", "iso8859-15") or language in DOUBTFUL)
    assert all(r.value and r.value.split(", ")[0] in LISTS[language] for r in told)


def test_where_pages_read_as_well_all_are_told() -> None:
    (remark,) = read_held("list.csv", "Nr;Noël\n".encode("cp850"))[0].remarks
    assert "DOS, western Europe" in remark.message and "would read as well" in remark.message
    assert "UTF-8" in remark.remedy


def test_where_another_page_is_as_good_as_the_usual_one_it_is_told() -> None:
    (remark,) = read_held("list.csv", "Nr;Átmérő\n1;2\n".encode("cp1250"))[0].remarks
    assert remark.code == "code-page" and remark.value == "Átmérõ"
    assert "Windows, central Europe would read as well" in remark.message
    # Signs that stand alone are no words, and the same letters are no other reading.
    for text in ("Nr;Ø31,8\n1;±0,1\n", "Nr;Größe\n1;weiß\n"):
        assert read_held("list.csv", text.encode("cp1252"))[0].remarks == ()


def test_what_makes_no_words_is_no_code_page() -> None:
    assert code_page(bytes(range(128, 256)) * 30) is None
    assert code_page("Größe;Länge".encode() + b"\xff") is None
