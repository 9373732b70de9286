"""One recording in every dialect that instruments and programs write: the same reads of each."""

import gzip
import io
import struct
import wave
import zipfile
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

import padbench
from padbench.waveio import WaveError, arrays, read_wave

TIMELINE = read_wave(Path(__file__).parents[2] / "waves" / "each-button.vcd")
WIRES = [TIMELINE.wires[name] for name in ("console.latch", "console.clock", "cable.data")]
AT = np.unique(np.concatenate([wire.times for wire in WIRES]))
LEVELS = np.stack([np.where(wire.at(AT) == 1, 1, 0) for wire in WIRES])
EACH = [128 >> n for n in range(8)]
EVENLY = np.arange(0, TIMELINE.end_ps, 250_000)
SAMPLES = np.stack([np.where(wire.at(EVENLY) == 1, 5.0, 0.0) for wire in WIRES])
PLACES = {"latch": 1, "clock": 2, "data": 3}


def rows(*, time=lambda ps: f"{ps / 1e12:.9f}", level=str, sign=",", head="time,latch,clock,data"):
    lines = [
        sign.join([time(t), *map(level, some)])
        for t, *some in zip(AT.tolist(), *LEVELS.tolist(), strict=True)
    ]
    return "\n".join([head.replace(",", sign), *lines, ""])


def clock(ps):
    ps += 950 * 10**9
    moment = datetime(2031, 5, 6, 23, 59, 59, tzinfo=UTC) + timedelta(seconds=ps // 10**12)
    return moment, f"{ps % 10**12 // 1000:09d}"


def day(form):
    return lambda ps: clock(ps)[0].strftime(form).replace("FRACTION", clock(ps)[1])


def packed(*, base, bits=(2, 3, 4), rest=32):
    numbers = (sum(line << n for line, n in zip(LEVELS, bits, strict=True)) + rest).tolist()
    lines = [f"{t / 1e12:.9f},{n:{base}}" for t, n in zip(AT.tolist(), numbers, strict=True)]
    return "\n".join(["time,Bus", *lines, ""])


BITS = {"channels": {"latch": "Bus[2]", "clock": "Bus[3]", "data": "Bus[4]"}}
TEXTS = {
    "UTF-16, little end first": (rows().encode("utf-16"), {}),
    "UTF-16, big end first": (b"\xfe\xff" + rows().encode("utf-16-be"), {}),
    "UTF-16, without a mark": (rows().encode("utf-16-le"), {}),
    "UTF-16, big end, without a mark": (rows().encode("utf-16-be"), {}),
    "line ends of CR alone": (rows().replace("\n", "\r").encode(), {}),
    "UTF-16 with CR alone and H and L": (
        rows(level="LH".__getitem__).replace("\n", "\r").encode("utf-16"),
        {},
    ),
    "hours, minutes, seconds, past midnight": (rows(time=day("%H:%M:%S.FRACTION")).encode(), {}),
    "a date": (rows(time=day("%Y-%m-%d %H:%M:%S.FRACTION")).encode(), {}),
    "a date with its zone": (rows(time=day("%Y-%m-%dT%H:%M:%S.FRACTIONZ"), sign=";").encode(), {}),
    "decimal commas of the time, past midnight": (
        rows(time=day("%H:%M:%S,FRACTION"), sign=";").encode(),
        {},
    ),
    "decimal commas of the time, commas between columns": (
        rows(time=day("%H:%M:%S,FRACTION")).encode(),
        {},
    ),
    "decimal commas of a date in quotes": (
        rows(time=day('"%Y-%m-%d %H:%M:%S,FRACTION"')).encode(),
        {},
    ),
    "no name above the time": (rows(head="latch,clock,data").encode(), {}),
    "True and False": (rows(level=("False", "True").__getitem__).encode(), {}),
    "H and L": (rows(level="LH".__getitem__).encode(), {}),
    "High and Low, in quotes": (rows(level=('"Low"', '"High"').__getitem__).encode(), {}),
    "spaces": (rows(sign="   ").encode(), {}),
    "one space": (rows(sign=" ").encode(), {}),
    "one space, names behind a sign": (
        rows(sign=" ", head="# time latch clock data").encode(),
        {},
    ),
    "packed, hexadecimal": (packed(base="02X").encode(), BITS),
    "packed, hexadecimal without a letter": (
        packed(base="02X", bits=(1, 4, 5), rest=0).encode(),
        {"channels": {"latch": "Bus[1]", "clock": "Bus[4]", "data": "Bus[5]"}},
    ),
    "packed, 0x": (packed(base="#04x").encode(), BITS),
    "packed, decimal": (packed(base="d").encode(), BITS),
}


@pytest.mark.parametrize("dialect", TEXTS)
def test_every_dialect_has_the_same_reads(tmp_path, dialect):
    text, options = TEXTS[dialect]
    (tmp_path / "bench.csv").write_bytes(text)
    result = padbench.inspect(tmp_path / "bench.csv", **options)
    assert [read.byte for read in result.data.reads()] == EACH
    assert result.data.measures["clock low"].median == 560_000
    assert result.verdict == "pass"


def sound(kind, bits, *, scale=0.8, samples=SAMPLES):
    """RIFF as its specification of 1991 has it, for what the standard library does not write."""
    values = (samples.T / 5 * scale).ravel()
    if kind == 3:
        data = values.astype(f"<f{bits // 8}").tobytes()
    elif bits == 8:
        data = (values * 127 + 128).astype("u1").tobytes()
    else:
        whole = (values * (2 ** (bits - 1) - 1)).astype("<i4")
        data = whole.view("u1").reshape(-1, 4)[:, : bits // 8].tobytes()
    form = struct.pack("<HHIIHH", kind, 3, 4_000_000, 0, 3 * bits // 8, bits)
    return (
        struct.pack("<4sI4s4sI", b"RIFF", 36 + len(data), b"WAVE", b"fmt ", 16)
        + form
        + struct.pack("<4sI", b"data", len(data))
        + data
    )


def numpy_file(save, *arrays, **named):
    out = io.BytesIO()
    save(out, *arrays, **named)
    return out.getvalue()


NAMED = dict(zip(("latch", "clock", "data"), SAMPLES, strict=True))
ARRAYS = {
    "npz with times": (numpy_file(np.savez, time=EVENLY / 1e12, **NAMED), {}),
    "npz packed, with a rate": (
        numpy_file(np.savez_compressed, fs=4e6, lines=SAMPLES.T > 2.5),
        {"channels": {role: n for n, role in enumerate(NAMED, 1)}},
    ),
    "npy of rows": (
        numpy_file(np.save, np.column_stack([EVENLY / 1e12, *SAMPLES])),
        {"channels": {role: n + 1 for role, n in PLACES.items()}, "time": 1},
    ),
    "npy of lines": (numpy_file(np.save, SAMPLES.astype("f4")), {"channels": PLACES, "rate": "4M"}),
    "npy with names": (
        numpy_file(
            np.save,
            np.array(
                [*zip((EVENLY / 1e12).tolist(), *(SAMPLES > 2).tolist(), strict=True)],
                [("time", "f8"), *((role, "u1") for role in NAMED)],
            ),
        ),
        {},
    ),
    "sound of 8 bits": (sound(1, 8), {"channels": PLACES}),
    "sound of 16 bits": (sound(1, 16), {"channels": PLACES}),
    "sound of 24 bits": (sound(1, 24), {"channels": PLACES}),
    "sound of 32 bits": (sound(1, 32), {"channels": PLACES, "scale": 6.25}),
    "sound of floats": (sound(3, 32), {"channels": PLACES, "scale": 6.25}),
}


@pytest.mark.parametrize("dialect", ARRAYS)
def test_arrays_and_sound_have_the_same_reads(tmp_path, dialect):
    whole, options = ARRAYS[dialect]
    (tmp_path / "bench.bin").write_bytes(whole)
    result = padbench.inspect(tmp_path / "bench.bin", **options)
    assert [read.byte for read in result.data.reads()] == EACH
    assert result.data.measures["latch width"].median == pytest.approx(8_900_000, abs=250_000)
    assert result.data.apart_ps == 250_000
    if "scale" in options:
        low, high = result.data.edges["clock"].levels
        assert (low, high) == (pytest.approx(0, abs=0.01), pytest.approx(5, abs=0.01))


def test_what_else_lies_in_a_file_of_arrays_is_left_alone(tmp_path):
    path = tmp_path / "bench.npz"
    path.write_bytes(ARRAYS["npz with times"][0])
    with zipfile.ZipFile(path, "a") as file:
        file.writestr("note.txt", "from the bench")
    assert [read.byte for read in padbench.inspect(path).data.reads()] == EACH
    with zipfile.ZipFile(path, "w") as file:
        file.writestr("note.txt", "from the bench")
    with pytest.raises(WaveError, match="no columns side by side"):
        padbench.inspect(path)


def test_what_a_packed_file_holds_is_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(arrays, "_MOST_BYTES", 1 << 20)
    path, zeros = tmp_path / "bench.npz", np.zeros(1 << 17)
    path.write_bytes(numpy_file(np.savez_compressed, latch=zeros, clock=zeros))
    assert path.stat().st_size < 10_000
    with pytest.raises(WaveError, match="more than"):
        padbench.inspect(path)
    path.write_bytes(gzip.compress(numpy_file(np.save, zeros)))
    with pytest.raises(WaveError, match="more than"):
        padbench.inspect(path)


@pytest.mark.parametrize("packed", [bytes, gzip.compress])
def test_a_sound_that_ends_before_its_end_is_told(tmp_path, packed):
    whole = packed(sound(1, 16))
    (tmp_path / "a.wav").write_bytes(whole[: len(whole) * 9 // 10])
    result = padbench.inspect(tmp_path / "a.wav", channels=PLACES)
    (told,) = (found for found in result.findings if found.id == "capture.cut-short")
    assert "bytes of samples fewer" in told.says or "compressed data break off" in told.says


def test_the_sound_is_read_as_the_standard_library_reads_it(tmp_path):
    path = tmp_path / "a.wav"
    path.write_bytes(sound(1, 16))
    with wave.open(str(path)) as file:
        assert (file.getnchannels(), file.getframerate()) == (3, 4_000_000)
        frames = np.frombuffer(file.readframes(file.getnframes()), "<i2").reshape(-1, 3)
    assert np.allclose(frames[:, 1] / 32768, SAMPLES[1] / 5 * 0.8, atol=1e-4)


@pytest.mark.parametrize(
    ("whole", "says"),
    [
        (numpy_file(np.save, np.arange(9)), "no columns side by side"),
        (numpy_file(np.savez, a=np.arange(9), b=np.arange(8)), "no columns side by side"),
        (numpy_file(np.save, np.array([{}, []], object)), "no arrays that NumPy can read"),
        (numpy_file(np.save, SAMPLES)[:900], "no arrays that NumPy can read"),
        (sound(1, 16)[:20], "no samples; a sound file should have fmt and data"),
        (sound(1, 16)[:44], "no samples; there should be a column a line"),
        (sound(7, 16)[:200], "format 7; PCM or float can be read"),
    ],
)
def test_what_is_no_capture_is_refused_in_a_line(tmp_path, whole, says):
    (tmp_path / "a.bin").write_bytes(whole)
    with pytest.raises(WaveError, match=says) as caught:
        padbench.inspect(tmp_path / "a.bin", channels=PLACES)
    assert "\n" not in str(caught.value)


def test_a_bit_of_a_word_that_is_none_is_told_with_its_line(tmp_path):
    text = packed(base="02X").splitlines(keepends=True)
    text[50] = text[50].rpartition(",")[0] + ",G7\n"
    (tmp_path / "a.csv").write_text("".join(text))
    with pytest.raises(WaveError, match="line 51: 'G7' is no hexadecimal number"):
        padbench.inspect(tmp_path / "a.csv", **BITS)


@pytest.mark.parametrize("wrong", ["14:99:07,25", "", "soon"])
def test_a_time_with_a_comma_that_is_none_is_told_with_its_line(tmp_path, wrong):
    text = rows(time=day("%H:%M:%S,FRACTION"), sign=";").splitlines(keepends=True)
    text[50] = wrong + text[50][text[50].index(";") :]
    (tmp_path / "a.csv").write_text("".join(text))
    with pytest.raises(WaveError, match="line 51: a time that is none"):
        padbench.inspect(tmp_path / "a.csv")
