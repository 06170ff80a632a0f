"""Tables as people save them: encodings, separators, headings, units, rows gone wrong."""

from __future__ import annotations

import json
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from photocheck.errors import CaseError
from photocheck.orders.draft import Draft
from photocheck.orders.intake import columns, headings, table
from photocheck.orders.intake.columns import columns_of, recall, remember
from photocheck.orders.intake.entries import Entries, entries_of_table
from photocheck.orders.intake.headings import is_known
from photocheck.orders.intake.photo_folder import PhotoFolder
from photocheck.orders.intake.row import told_by
from photocheck.orders.intake.table import read_table

GERMAN = (
    "Auftrags-Nr.;Hund;Halber Hals (cm);Länge vorne;Gesamtlänge in Zoll;Gewicht;Alter (Jahre)\r\n"
    "2041;Flöckchen;42,5;46,5 cm;28 3/4;32,5 kg;3,5\r\n"
)


def entries(path: Path, folder: PhotoFolder | None = None, **more: object) -> Entries:
    given = {"told": {}, "remembered": {}, "unit": "", **more}
    return entries_of_table(path, folder, **given)  # type: ignore[arg-type]


def written(tmp_path: Path, text: str | bytes) -> Path:
    path = tmp_path / "orders.csv"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    return path


# RFC 3629 (UTF-8), RFC 2781 (UTF-16) and the Windows-1252 code page, by Python's own codecs
@pytest.mark.parametrize(
    "encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"]
)
def test_the_same_table_is_read_from_every_encoding(tmp_path: Path, encoding: str) -> None:
    (entry,) = entries(written(tmp_path, GERMAN.encode(encoding))).entries
    assert entry.problems == ()
    draft = entry.draft.to_dict()
    assert draft["dog"] == {
        "name": "Flöckchen",
        "weight": "32,5 kg",
        "age_months": 42.0,
    }
    # as typed, with the heading's unit where it is not the order's
    assert entry.draft.readings == {
        "half_neck": "42,5",
        "front_length": "46,5 cm",
        "full_length": "28 3/4 zoll",
    }
    assert entry.draft.unit == "cm"


@pytest.mark.parametrize("separator", [";", ",", "\t", "|"])
def test_the_separator_is_found(tmp_path: Path, separator: str) -> None:
    rows = [["no", "dog", "half neck [in]"], ["1", "Juno", '14 1/2"'], ["2", "Pip", "14,5"]]
    text = "".join(
        separator.join(f'"{cell.replace(chr(34), chr(34) * 2)}"' for cell in row) + "\n"
        for row in rows
    )
    one, two = entries(written(tmp_path, text)).entries
    assert one.draft.readings == {"half_neck": '14 1/2"'}
    assert (two.draft.readings, two.draft.unit) == (
        {"half_neck": "14,5"},
        "in",
    )


def test_a_bad_row_is_told_with_its_line_and_the_rest_is_read(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "order,dog,half neck cm,note\n"
        "1,Juno,41.5,ok\n"
        "\n"
        "2,Pip,4x,ok\n"
        '3,"Rex,40,open quote\n'
        "4,Moss,36,8,one cell too many\n"
        '5,Tarn,39,"two\nlines"\n'
        "6,Bee,1.234,far too short\n"
        ",,37,nobody's\n"
        "7,Last,38,ok\n",
    )
    found = {e.where: e.problems for e in entries(path).entries}
    good = [where for where, problems in found.items() if not problems]
    assert good == ["line 2", "line 7", "line 11"]
    assert list(found) == [f"line {n}" for n in (2, 4, 5, 6, 7, 9, 10, 11)]
    assert "Column 'half neck cm': '4x'" in found["line 4"][1]
    assert "quotation mark" in found["line 5"][0]
    assert "There are 5 cells, and the head of the table has 4" in found["line 6"][0]
    assert "shorter than any dog's half neck" in found["line 9"][1]
    assert "whose order" in found["line 10"][0]


def test_all_that_is_wrong_with_a_row_is_told_at_once(tmp_path: Path) -> None:
    text = "order;half neck;weight;coat;age;unit\n1;x;9999 kg;curly;2;ell\n"
    (entry,) = entries(written(tmp_path, text)).entries
    assert len(entry.problems) == 6  # that it is no order, and its five cells


def test_no_unit_is_guessed(tmp_path: Path) -> None:
    path = written(tmp_path, "order,half neck,weight\n1,14.5,60\n")
    (entry,) = entries(path).entries
    assert "No unit is told for half neck" in entry.problems[0]
    (entry,) = entries(path, unit="in").entries
    assert "kilograms or pounds" in entry.remarks[0]
    assert entry.draft.dog.weight is None
    head = "no,unit,half neck,girth mm,neck width,chest width cm,height"
    (entry,) = entries(written(tmp_path, f"{head}\n1,in,14.5,690,5,21,23\n")).entries
    assert entry.draft.unit == "in"
    assert entry.draft.readings == {"half_neck": "14.5"}
    draft = entry.draft.to_dict()
    assert draft["dog"] == {
        "girth": "690 mm",
        "neck_width": "5",
        "chest_width": "21 cm",
        "height": "23",
    }


@pytest.mark.parametrize(
    ("heading", "field", "unit"),
    [
        ("Länge hinten in cm", "rear_length", "cm"),
        ("HINTERLAENGE", "rear_length", ""),
        ("rear length in", "rear_length", "in"),
        ("front_length_mm", "front_length", "mm"),
        ("Gewicht/kg", "weight", "kg"),
        ('Brustumfang (")', "girth", '"'),
        ("Halsbreite in cm", "neck_width", "cm"),
        ("width of the chest (in)", "chest_width", "in"),
        ("Schulterhöhe", "height", ""),
        ("Halsumfang", "", ""),  # the neck itself or the ring over the head: nobody knows
        ("neck", "", ""),
        ("Bestell-Nr.", "order", ""),
    ],
)
def test_headings_in_peoples_words(heading: str, field: str, unit: str) -> None:
    (column,) = columns_of([heading], {}, {}, where="t")
    assert (column.field, column.unit) == (field, unit)
    assert is_known(heading) == bool(field)


def test_every_heading_means_one_thing() -> None:
    known = [
        (headings.squeeze(word), field)
        for field, words in headings.HEADINGS.items()
        for word in {headings.squeeze(w): w for w in (field, *words)}.values()
    ]
    assert len({word for word, _ in known}) == len(known)


def test_what_was_told_of_columns_is_remembered(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(columns, "memory_file", lambda: tmp_path / "new" / "columns.json")
    head = ["No", "Hals-Maß (cm)", "Name", "Kunde"]
    assert recall() == {}
    with pytest.raises(CaseError, match="'Name' and 'Kunde' both"):
        columns_of(head, {}, {}, where="t")
    told = {"half_neck": "hals-mass (CM)", "name": "Kunde"}
    found = columns_of(head, told, {}, where="t")
    assert [(c.field, c.unit) for c in found] == [
        *(("order", ""), ("half_neck", "cm"), ("", ""), ("name", ""))
    ]
    assert remember(found, told) == columns.memory_file()
    assert columns_of(head, {}, recall(), where="t") == found
    assert remember(found, told) is None
    # and told otherwise
    told = {"name": "Name"}
    found = columns_of(head, told, recall(), where="t")
    remember(found, told)
    again = columns_of(head, {}, recall(), where="t")
    assert [c.field for c in again] == ["order", "half_neck", "name", ""]
    columns.memory_file().write_text("{broken")
    assert recall() == {}


@pytest.mark.parametrize("told", [{"nose": "No"}, {"order": "Nose"}])
def test_a_column_that_is_not_there_is_told(told: dict[str, str]) -> None:
    with pytest.raises(CaseError, match="--column"):
        columns_of(["No"], told, {}, where="t")


@pytest.mark.parametrize(
    "content", [b"", b"\r\n;;\r\n", b"\xff\xd8\xff\xe0" + bytes(range(256)), b"a;b\n1;2\n"]
)
def test_what_is_no_table_is_refused(tmp_path: Path, content: bytes) -> None:
    with pytest.raises(CaseError):
        entries(written(tmp_path, content))
    with pytest.raises(CaseError, match="cannot be opened"):
        read_table(tmp_path / "none.csv", is_known)


@pytest.mark.parametrize(
    ("cell", "point"),
    [
        *(("812 340.5", (812.0, 340.5)), ("812,5; 340", (812.5, 340.0)), ("(8,9)", (8.0, 9.0))),
        *(("812", None), ("1 2 3", None), ("nan 2", None), ("x y", None)),
    ],
)
def test_marks_in_a_table(cell: str, point: tuple[float, float] | None) -> None:
    told = told_by(columns_of(["no", "Widerrist"], {}, {}, where="t"), ["1", cell], "")
    assert told.marks == ({} if point is None else {"shoulder_top": point})
    assert bool(told.remarks) == (point is None)
    assert told.problems == ()


def folder(*names: str) -> PhotoFolder:
    return PhotoFolder({name: Path(name) for name in names})


@pytest.mark.parametrize(
    ("files", "wanted", "photos"),
    [
        # a number within another number is not that number
        (["104.jpg", "1042.jpg"], {2: ["104"], 3: ["1042"]}, {2: ["104.jpg"], 3: ["1042.jpg"]}),
        (["1042/a.jpg", "1042-b.png"], {2: ["01042"]}, {2: ["1042-b.png", "1042/a.jpg"]}),
        # what a camera counts, and the day, are no order's numbers
        (["IMG_1042.jpg", "DSC01042.jpg", "2026-11-25.jpg"], {2: ["1042"], 3: ["2026"]}, {}),
        (["luna-1.jpg"], {2: ["1"], 3: ["12", "Luna"]}, {3: ["luna-1.jpg"]}),
        (["Rex Junior.jpg", "rex.jpg"], {2: ["Rex"], 3: ["Rex Junior"]},
         {2: ["rex.jpg"], 3: ["Rex Junior.jpg"]}),
        (["FLOECKCHEN.JPG"], {2: ["Flöckchen"]}, {2: ["FLOECKCHEN.JPG"]}),
    ],
)  # fmt: skip
def test_photos_are_matched_by_name(
    files: list[str], wanted: dict[int, list[str]], photos: dict[int, list[str]]
) -> None:
    matches = folder(*files).matched(wanted, set())
    assert (dict(matches.photos), matches.problems) == (photos, {})


def test_a_photo_that_may_be_two_orders_is_nobodys() -> None:
    found = folder("luna.jpg", "7-luna.jpg").matched({2: ["7", "Luna"], 3: ["8", "Luna"]}, set())
    assert found.photos == {2: ["7-luna.jpg"]}
    assert "'luna.jpg' may belong to lines 2 and 3" in found.problems[3]


def test_photos_named_in_a_column() -> None:
    photos = folder("a/side.jpg", "b/side.jpg", "Ü.jpg", "x,y.jpg")
    assert photos.named("B\\SIDE.jpg; u\u0308.JPG") == ["b/side.jpg", "Ü.jpg"]
    assert photos.named("x,y.jpg") == ["x,y.jpg"]
    with pytest.raises(CaseError, match=r"a/side\.jpg and b/side\.jpg"):
        photos.named("side.jpg")
    with pytest.raises(CaseError, match="no photo 'none'"):
        photos.named("Ü.jpg, none")


def test_rows_whose_photo_is_still_to_come_are_orders(tmp_path: Path) -> None:
    path = written(tmp_path, "no,photo\n1,side.jpg\n2,\n")
    named, unnamed = entries(path, folder("other.jpg")).entries
    assert "no photo 'side.jpg'" in named.without_photo
    assert "No photo is named after this order" in unnamed.without_photo
    assert named.problems == unnamed.problems == ()
    named, unnamed = entries(path).entries
    assert "--photos" in named.without_photo
    assert unnamed.without_photo == ""
    assert named.problems == unnamed.problems == ()


def test_an_untidy_cell_costs_that_cell_and_is_kept_in_the_notes(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "no;Halber Hals (cm);vorne (cm);Gewicht;Fell;Alter;bekannte Größe;Stelle;E-Mail;Telefon;"
        "Bemerkung;Brustbein\n"
        "7;41,5;5x;schwer;fluffig;5;Zollstock;irgendwo;anna;unbekannt;bitte rot;links oben\n",
    )
    (entry,) = entries(path).entries
    assert entry.problems == ()
    draft = entry.draft
    assert draft.readings == {"half_neck": "41,5"}
    assert draft.dog.to_dict() == {}
    # a thing that nobody knows is not the sheet that is meant where nothing is said
    assert entry.draft.photos == ()
    assert draft.owner.notes.splitlines() == [
        "bitte rot",
        "vorne (cm): 5x",
        "Fell: fluffig",
        "Gewicht: schwer",
        "Alter: 5",
        "bekannte Größe: Zollstock",
        "Stelle: irgendwo",
        "Brustbein: links oben",
        "E-Mail: anna",
        "Telefon: unbekannt",
    ]
    assert len(entry.remarks) == 9
    for heading in ("vorne (cm)", "Fell", "Gewicht", "Alter", "Stelle", "E-Mail", "Brustbein"):
        assert sum(f"Column '{heading}'" in said for said in entry.remarks) == 1


def test_a_reference_that_nobody_knows_is_not_taken_for_a_sheet() -> None:
    columns = columns_of(["no", "bekannte Größe"], {}, {}, where="t")
    assert told_by(columns, ["1", "Zollstock"], "").reference.kind == ""
    assert told_by(columns, ["1", ""], "").reference.kind == "marker_sheet"


def test_a_row_of_which_no_reading_can_be_read_is_held_back(tmp_path: Path) -> None:
    head = "no,half neck cm,front cm,coat\n"
    one, two, three = entries(
        written(tmp_path, f"{head}1,x,y,fluffy\n2,x,52,short\n3,,,fluffy\n")
    ).entries
    first, *others = one.problems
    assert first == "Not one of the readings can be read."
    headings_told = [said.partition("'")[2].partition("'")[0] for said in others]
    assert headings_told == ["half neck cm", "front cm", "coat"]
    assert one.remarks == ()
    assert (two.problems, two.draft.readings) == ((), {"front_length": "52"})
    assert (three.problems, three.draft.owner.notes) == ((), "coat: fluffy")


def test_a_unit_that_nobody_knows_is_not_the_one_said_for_the_table(tmp_path: Path) -> None:
    path = written(tmp_path, "no,half neck,front cm,unit\n1,14,52,ell\n2,14,,\n")
    one, two = entries(path, unit="cm").entries
    assert one.draft.readings == {"front_length": "52"}
    assert "No unit is told." in one.remarks[1]
    assert two.draft.readings == {"half_neck": "14"}


def test_who_orders_is_read_and_kept(tmp_path: Path) -> None:
    path = written(
        tmp_path,
        "Bestell-Nr.,Kunde,Hund,E-Mail,Telefonnummer,Anmerkungen\n"
        '41,Ines Beispiel,Bo,ines@example.org,+49 30 5550100,"bitte\neilig"\n',
    )
    (entry,) = entries(path).entries
    assert entry.draft.owner.to_dict() == {
        "name": "Ines Beispiel",
        "number": "41",
        "email": "ines@example.org",
        "telephone": "+49 30 5550100",
        "notes": "bitte\neilig",
    }
    assert Draft.from_dict(entry.draft.to_dict()) == entry.draft


# SHA-256 as 0.2 worked them out for the same rows, by running that version
KNOWN_AS = {
    "no,dog,half neck cm\n7,Juno,41.5\n": (
        "96317d287a91022422ef1cb3386764d93d0aae5eb8bb2e24f53402a6790739fd",
        "ba000c166edeee65b745fde37e717ec74527a183c960e7e4205bb25b092d31a4",
    ),
    "dog,half neck cm\nJuno,41.5\n": (
        "12f0617f4cac2262524c26ac639015c8a92e7f1a2bf8965d4ff5cd809362a095",
        "12f0617f4cac2262524c26ac639015c8a92e7f1a2bf8965d4ff5cd809362a095",
    ),
}


@pytest.mark.parametrize("text", KNOWN_AS)
def test_what_an_order_was_known_by_it_is_known_by_for_good(tmp_path: Path, text: str) -> None:
    (entry,) = entries(written(tmp_path, text)).entries
    assert (entry.origin, entry.content) == KNOWN_AS[text]
    head, row = text.splitlines()
    (more,) = entries(written(tmp_path, f"{head},e-mail\n{row},a@example.org\n")).entries
    assert more.before == KNOWN_AS[text]
    assert more.content != entry.content


def test_an_order_stands_in_a_table_once(tmp_path: Path) -> None:
    path = written(tmp_path, "no,dog\n7,Juno\n7,Pip\n8,Moss\n8,Moss\n")
    problems = [entry.problems for entry in entries(path).entries]
    assert problems[0] == problems[2] == ()
    assert "says something else" in problems[1][0]
    assert "says the same" in problems[3][0]
    # without a number, two dogs of the same name are two orders
    path = written(tmp_path, "dog,half neck cm\nLuna,40\nLuna,41\n")
    found = entries(path).entries
    assert [entry.problems for entry in found] == [(), ()]
    assert found[0].origin != found[1].origin


def test_drafts_are_json(tmp_path: Path) -> None:
    (entry,) = entries(written(tmp_path, GERMAN)).entries
    told = entry.draft.to_dict()
    assert json.loads(json.dumps(told)) == told
    assert Draft.from_dict(told) == entry.draft


CELLS = st.text(alphabet="ab0189.,;:'\"½ \tcmin-\u2033\r\n", max_size=12)


@settings(max_examples=66, deadline=None)
@given(
    st.lists(st.lists(CELLS, min_size=4, max_size=6), max_size=4),
    st.sampled_from([";", ",", "\t"]),
    st.binary(max_size=20),
)
def test_anything_ends_in_rows_or_a_clear_refusal(
    rows: list[list[str]], separator: str, rest: bytes
) -> None:
    head = separator.join(["no", "Halber Hals (cm)", "age", "photo", "Widerrist", "weight"])
    body = "\n".join(separator.join(row) for row in rows)
    with TemporaryDirectory() as place:
        path = written(Path(place), f"{head}\n{body}\n".encode() + rest)
        try:
            found = entries(path, folder("a/b.jpg", "1.jpg")).entries
        except CaseError:
            return
        for entry in found:
            if entry.problems:
                assert all(problem.strip() for problem in entry.problems)
            else:
                json.dumps(entry.draft.to_dict(), allow_nan=False)


def test_a_heading_that_nobody_would_write_is_not_looked_into() -> None:
    """To part it takes as long as the square of its length: one of 6 kB took 18 s."""
    for blanks, field in ((100, "half_neck"), (300, "")):
        heading = f"Halber Hals{' ' * blanks}(cm)"
        assert headings.by_itself(heading) == field
        assert headings.unit_for("half_neck", heading) == ("cm" if field else "")
    assert headings.like("halberhalss" + "s" * 300) == ""
    assert headings.like("halberhalss") == "half_neck"


def test_each_row_is_read_from_where_it_begins(monkeypatch: pytest.MonkeyPatch) -> None:
    """Stepping over all rows before took 20 s of a table of 60,000, and minutes of 200,000."""
    given: list[int] = []
    true = table.csv.reader

    def reader(lines: list[str], **more: Any) -> Any:
        given.append(len(lines))
        return true(lines, **more)

    monkeypatch.setattr(table.csv, "reader", reader)
    text = "order;dog\n" + "1;Bo\n" * 200
    read = table.table_of(text.encode(), is_known, name="orders.csv")
    assert len(read.rows) == 200
    assert max(given) == table.MOST_LINES


def test_rows_are_not_made_as_long_as_any_head(monkeypatch: pytest.MonkeyPatch) -> None:
    """64 kB with 2,000 columns and 30,000 rows of one cell took half a gigabyte."""
    monkeypatch.setattr(table, "MOST_CELLS", 200)

    def read(columns: int, rows: int) -> int:
        text = ";".join(["order"] * columns) + "\n" + "1\n" * rows
        return len(table.table_of(text.encode(), is_known, name="orders.csv").rows)

    assert read(100, 2) == 2
    assert read(2, 12) == 12
    for many, rows in ((100, 3), (2, 13), (table.MOST_COLUMNS + 1, 0)):
        with pytest.raises(CaseError, match="too large"):
            read(many, rows)
    monkeypatch.setattr(table, "MOST_OF_ALL_LINES", 5)
    assert read(1, 4) == 4
    with pytest.raises(CaseError, match="too large"):
        read(1, 5)


def test_what_is_shipped_of_tables_is_so_much() -> None:
    assert (table.MOST_CELLS, table.MOST_OF_ALL_LINES) == (20_000 * 256, 2_000_000)
    assert (table._FEWEST_CELLS, headings.LONGEST_HEADING) == (16, 200)
