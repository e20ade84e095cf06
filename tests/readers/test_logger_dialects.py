"""Law: a table written in any dialect is read back as it was."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from runlog.problems import FileFaults
from runlog.readers.logger_csv import read_logger

# column name, unit as written, SI factor (NIST SP 811, 2008, appendix B; rpm by definition), largest value, decimals
COLUMNS = [
    ("Engine Speed", "rpm", np.pi / 30, 9000, 0),
    ("Oil Pressure", "psi", 6894.757293168, 90, 1),
    ("Speed", "km/h", 1 / 3.6, 300, 2),
    ("Battery", "V", 1.0, 15, 3),
    ("Throttle", "%", 0.01, 100, 1),
    ("Odd Thing", "", 1.0, 500, 2),
]
ENCODINGS = ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "latin-1"]
DIALECTS = [(",", "."), (";", "."), (";", ","), ("\t", "."), ("\t", ","), ("|", "."), ("|", ",")]
TIMES = ["s", "ms", "clock", "date-time", "rate"]
PLACES = ["brackets", "parentheses", "row", "bracketed row"]


@st.composite
def tables(draw):
    """A table, how it is written, and where header and samples must be found."""
    rows = draw(st.integers(3, 25))
    chosen = draw(st.lists(st.sampled_from(COLUMNS), min_size=1, max_size=5, unique=True))
    values = [
        draw(st.lists(st.one_of(st.none(), st.integers(0, high * 10**places)), min_size=rows, max_size=rows))
        for _, _, _, high, places in chosen
    ]
    step_ms = draw(st.sampled_from([2, 5, 10, 20, 50, 100]))
    return chosen, values, step_ms, rows


def time_cell(kind, row, step_ms, decimal):
    ms = row * step_ms
    if kind == "s":
        return f"{ms // 1000}{decimal}{ms % 1000:03d}"
    if kind == "ms":
        return str(ms)
    clock = f"14:{5 + ms // 60000:02d}:{ms // 1000 % 60:02d}{decimal}{ms % 1000:03d}"
    return clock if kind == "clock" else f"2031-04-12 {clock}"


def written(table, dialect, time, place, dress):
    (delimiter, decimal), (chosen, values, step_ms, rows) = dialect, table
    preamble, quoted, newline = dress
    quote = (lambda text: f'"{text}"') if quoted else (lambda text: text)
    lines = []
    if preamble:
        lines += [delimiter.join(["Session", "shakedown"]), delimiter.join(["Weather", "dry and cool"]), ""]
    if time == "rate":
        lines.append(delimiter.join(["Sample Rate [Hz]", str(1000 // step_ms)]))
    header, units = ([], []) if time == "rate" else (["Time"], [time if time in ("s", "ms") else ""])
    header += [name for name, *_ in chosen]
    units += [unit for _, unit, *_ in chosen]
    if place in ("brackets", "parentheses"):
        left, right = "[]" if place == "brackets" else "()"
        header = [f"{name} {left}{unit}{right}" if unit else name for name, unit in zip(header, units, strict=True)]
    lines.append(delimiter.join(map(quote, header)))
    header_line = len(lines)
    if place.endswith("row") and any(units):
        lines.append(delimiter.join(quote(f"[{unit}]" if "bracket" in place and unit else unit) for unit in units))
    first_line = len(lines) + 1
    for row in range(rows):
        cells = [] if time == "rate" else [time_cell(time, row, step_ms, decimal)]
        for (_, _, _, _, places), column in zip(chosen, values, strict=True):
            number = column[row]
            cells.append("" if number is None else f"{number / 10**places:.{places}f}".replace(".", decimal))
        lines.append(delimiter.join(map(quote, cells)))
    return newline.join(lines) + newline, header_line, first_line


@settings(max_examples=300, deadline=None)
@given(
    table=tables(),
    dialect=st.sampled_from(DIALECTS),
    encoding=st.sampled_from(ENCODINGS),
    time=st.sampled_from(TIMES),
    place=st.sampled_from(PLACES),
    dress=st.tuples(st.booleans(), st.booleans(), st.sampled_from(["\n", "\r\n"])),
)
def test_any_dialect_reads_back(table, dialect, encoding, time, place, dress):
    chosen, values, step_ms, rows = table
    if time == "rate" and any(all(cell is None for cell in row) for row in zip(*values, strict=True)):
        return  # an empty line is no sample, so nothing is claimed for a rate with one
    if all(cell is None for column in values for cell in column):
        return
    text, header_line, first_line = written(table, dialect, time, place, dress)
    logger = read_logger(text.encode(encoding), "any.csv")
    assert logger.delimiter == dialect[0] or (time == "rate" and len(chosen) == 1)
    assert (logger.header_line, logger.first_data_line, logger.rows) == (header_line, first_line, rows)
    found = {item.name: item for item in logger.channels}
    for (name, unit, factor, _, places), column in zip(chosen, values, strict=True):
        filled = [row for row, number in enumerate(column) if number is not None]
        if not filled:
            continue
        assert found[name].unit == unit
        np.testing.assert_allclose(found[name].time, np.array(filled) * step_ms / 1000, atol=1e-9)
        expected = np.array([column[row] for row in filled]) / 10**places * factor
        np.testing.assert_allclose(found[name].values, expected, rtol=1e-9)
    assert logger.times[0].rate_hz == pytest.approx(1000 / step_ms, rel=1e-6)


BASE = (
    "Session;Test\nDate;12.04.2031\n\nTime;Engine RPM;Oil Temp;State\ns;rpm;°C;\n"
    + "".join(f"{row / 10:.1f};{1000 + row};{90 + row / 7:.2f};idle\n" for row in range(12)).replace(".", ",")
).encode()


@pytest.mark.slow
@settings(max_examples=400, deadline=None)
@given(
    cuts=st.lists(st.tuples(st.integers(0, len(BASE)), st.integers(0, 12), st.binary(max_size=6)), max_size=4),
    text=st.lists(st.tuples(st.integers(0, len(BASE)), st.text('0123456789.,;:\t"\n-#eNan ', max_size=5)), max_size=3),
)
def test_damaged_files_are_read_in_order_or_refused_with_reasons(cuts, text):
    content = BASE
    for place, length, new in [*cuts, *((place, 0, new.encode()) for place, new in text)]:
        content = content[:place] + new + content[place + length :]
    try:
        logger = read_logger(content, "damaged.csv")
    except FileFaults as faults:
        refused = faults.problems
    else:
        check_sound(logger)
        return
    assert refused
    assert all(problem.found and problem.accepted for problem in refused)


def check_sound(logger):
    assert logger.channels
    for item in logger.channels:
        assert np.isfinite(item.values).all()
        assert np.isfinite(item.time).all()
        assert (np.diff(item.time) > 0).all()
        assert item.time.shape == item.values.shape
        assert 0 <= item.confidence <= 1
    assert len({item.name for item in logger.channels}) == len(logger.channels)
    given = [item.canonical for item in logger.channels if item.canonical]
    assert len(set(given)) == len(given)
