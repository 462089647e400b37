"""A measured filter's file: read as it is written, and every fault told with its line."""

from __future__ import annotations

import pytest

from projector.faults import SceneError
from projector.files.filter_table import read_filter_table
from projector.files.finding import shipped_folder

HEAD = "wavelength_nm,transmittance\n"
ROWS = [(nm, 0.2 + 0.001 * (nm - 400)) for nm in range(400, 701, 10)]


def written(rows, head=HEAD, part=","):
    return head + "".join(f"{nm:g}{part}{share:g}\n" for nm, share in rows)


def read(tmp_path, text):
    path = tmp_path / "sheet.csv"
    path.write_text(text, encoding="utf-8")
    return read_filter_table(path)


def faults(tmp_path, text):
    with pytest.raises(SceneError) as caught:
        read(tmp_path, text)
    assert all(fault.file.endswith("sheet.csv") for fault in caught.value.faults)
    return caught.value.faults


@pytest.mark.parametrize(
    "text",
    [
        written(ROWS),
        "# a sheet\n\n" + written(ROWS),
        "\ufeff" + written(ROWS),
        written(ROWS, "wavelength_nm ; transmittance\n", ";").replace(".", ","),
        written(ROWS, "wavelength_nm\ttransmittance\n", "\t"),
        written(ROWS).replace("\n", "\r\n"),
        written(ROWS).replace("700,0.5", "700,1/2"),
    ],
    ids=["plain", "remarks", "mark of UTF-8", "semicolons", "tabs", "Windows", "a fraction"],
)
def test_a_table_is_read_as_it_is_written(tmp_path, text):
    table = read(tmp_path, text)
    assert table.wavelength_nm == tuple(nm for nm, _ in ROWS)
    assert table.transmittance == pytest.approx([share for _, share in ROWS])


@pytest.mark.parametrize("path", sorted(shipped_folder("filter").glob("*.csv")), ids=lambda path: path.stem)
def test_every_shipped_table_is_right(path):
    assert len(read_filter_table(path).wavelength_nm) > 20


def without(*gone):
    return [row for row in ROWS if row[0] not in gone]


@pytest.mark.parametrize(
    "text, line, found, advice",
    [
        (written(without(500, 510, 520)), 12, "a gap from 490 to 530 nm", "add what is missing"),
        (written(ROWS[:1] + ROWS[1:][::-1]), 4, "690 nm after 700 nm", "sort"),
        (written(ROWS[::-1]), 2, "fall", "turn the rows round"),
        (written([*ROWS[:5], ROWS[4], *ROWS[5:]]), 7, "440 nm for the second time", "keep one"),
        (written([(nm, 100 * share) for nm, share in ROWS]), 2, "per cent", "divide them all by 100: 20 % is 0.2"),
        (written([(nm, share if nm != 550 else -0.1) for nm, share in ROWS]), 17, "less than nothing", "row"),
        (
            written([(nm, share if nm != 550 else 1.2) for nm, share in ROWS]),
            17,
            "more light than falls in",
            "this row",
        ),
        (written(ROWS[::5]), 2, "too coarse: 7 rows, 50 nm apart", "every 10 nm"),
        (written(ROWS[5:]), 2, "begins at 450 nm", "add rows from 400 nm on"),
        (written(ROWS[:-5]), 27, "ends at 650 nm", "up to 700 nm"),
        (written([(nm / 1000, share) for nm, share in ROWS]), 2, "wavelengths from 0.4 to 0.7", "0.4 µm is 400"),
        (written(ROWS, ""), 1, "numbers where the columns are named", "put wavelength_nm,transmittance"),
        (written(ROWS, "transmittance,wavelength_nm\n"), 1, "the other way round", "wavelengths first"),
        (written(ROWS, "wavelength,transmission\n"), 1, "columns wavelength, transmission", "wavelength_nm"),
        (written(ROWS).replace(".", ","), 2, "3 values", "with a point"),
        (written(ROWS).replace("0.3\n", "thirty\n"), 12, 'transmittance is "thirty"', "400,0.42"),
        (written(ROWS).replace("0.3\n", "30 %\n"), 12, 'transmittance is "30 %"', "30 divided by 100"),
        (written(ROWS).replace("0.3\n", "nan\n"), 12, 'transmittance is "nan"', ""),
        (written(ROWS).replace("0.3\n", "\n"), 12, 'transmittance is ""', ""),
        (HEAD, 1, "no rows", "400,0.42"),
        ("# nothing else\n", 1, "nothing but remarks", ""),
        (written(ROWS[:1]), 2, "too coarse: 1 row", ""),
    ],
)
def test_a_fault_is_told_with_its_line(tmp_path, text, line, found, advice):
    told = [fault for fault in faults(tmp_path, text) if fault.line == line]
    assert any(found in fault.found and advice in fault.try_ for fault in told), told


def test_all_faults_are_told_at_once(tmp_path):
    text = written([(nm, share if nm != 430 else 1.3) for nm, share in without(500, 510, 600, 610, 620)])
    assert [(fault.line, fault.found.split(" ")[0]) for fault in faults(tmp_path, text)] == [
        (5, "1.3"),
        (12, "a"),
        (20, "a"),
    ]


def test_an_empty_file_and_one_that_is_no_text(tmp_path):
    assert "empty" in faults(tmp_path, "")[0].found
    (tmp_path / "sheet.csv").write_bytes(b"PK\x03\x04\xff\xfe")
    with pytest.raises(SceneError, match="not text"):
        read_filter_table(tmp_path / "sheet.csv")
