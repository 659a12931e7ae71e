"""Readers of the exports of passages that share nothing with the program: prints what a file says as JSON.

usage: passage-readers.py cue|chunks|csv|edl|otio FILE
"""
import csv
import ctypes
import hashlib
import json
import re
import struct
import sys


class CuePoint(ctypes.Structure):
    """SF_CUE_POINT of libsndfile's sndfile.h."""

    _fields_ = [
        ("indx", ctypes.c_int32),
        ("position", ctypes.c_uint32),
        ("fcc_chunk", ctypes.c_int32),
        ("chunk_start", ctypes.c_int32),
        ("block_start", ctypes.c_int32),
        ("sample_offset", ctypes.c_uint32),
        ("name", ctypes.c_char * 256),
    ]


class Cues(ctypes.Structure):
    _fields_ = [("cue_count", ctypes.c_uint32), ("cue_points", CuePoint * 100)]


SFM_READ = 0x10
SFC_GET_CUE = 0x10CE


def cue(path):
    """The cue points and their names, by libsndfile."""
    sndfile = ctypes.CDLL("libsndfile.so.1")
    sndfile.sf_open.restype = ctypes.c_void_p
    sndfile.sf_open.argtypes = [ctypes.c_char_p, ctypes.c_int, ctypes.c_void_p]
    sndfile.sf_command.argtypes = [ctypes.c_void_p, ctypes.c_int, ctypes.c_void_p, ctypes.c_int]
    sndfile.sf_close.argtypes = [ctypes.c_void_p]
    info = ctypes.create_string_buffer(64)
    handle = sndfile.sf_open(path.encode(), SFM_READ, info)
    assert handle, "libsndfile does not open it"
    cues = Cues()
    found = sndfile.sf_command(handle, SFC_GET_CUE, ctypes.byref(cues), ctypes.sizeof(cues))
    sndfile.sf_close(handle)
    points = cues.cue_points[: cues.cue_count] if found else []
    return [
        {"number": p.indx, "position": p.position, "offset": p.sample_offset, "name": p.name.decode("latin1")}
        for p in points
    ]


def chunks_of(data):
    """Every chunk in order as (name, body); sizes of RF64 and BW64 from ds64 (EBU Tech 3306)."""
    form, _, kind = struct.unpack_from("<4sI4s", data)
    assert kind == b"WAVE"
    at, long_data = 12, None
    while at + 8 <= len(data):
        name, size = struct.unpack_from("<4sI", data, at)
        if name == b"ds64":
            long_data = struct.unpack_from("<Q", data, at + 16)[0]
        if name == b"data" and size == 0xFFFFFFFF:
            size = long_data
        yield name.decode("latin1"), data[at + 8 : at + 8 + size]
        at += 8 + size + size % 2
    assert at == len(data), "bytes behind the last chunk"


def form_bytes(data):
    """The length that the header states."""
    form, size = struct.unpack_from("<4sI", data)
    return struct.unpack_from("<Q", data, 20)[0] + 8 if form != b"RIFF" else size + 8


def chunks(path):
    """The chunks by name and hash, and the labels of the adtl list (Multimedia Programming Interface 1.0)."""
    data = open(path, "rb").read()
    found = list(chunks_of(data))
    labels = []
    for name, body in found:
        if name != "LIST" or body[:4] != b"adtl":
            continue
        at = 4
        while at < len(body):
            kind, size = struct.unpack_from("<4sI", body, at)
            entry = body[at + 8 : at + 8 + size]
            number = struct.unpack_from("<I", entry)[0]
            if kind == b"ltxt":
                length, purpose = struct.unpack_from("<I4s", entry, 4)
                labels.append([number, "ltxt", length, purpose.decode("latin1")])
            else:
                assert entry.endswith(b"\0")
                labels.append([number, kind.decode("latin1"), entry[4:-1].decode("ascii")])
            at += 8 + size + size % 2
    return {
        "form": data[:4].decode("latin1"),
        "formBytes": form_bytes(data),
        "fileBytes": len(data),
        "chunks": [[name, len(body), hashlib.sha256(body).hexdigest()] for name, body in found],
        "labels": labels,
    }


def table(path):
    with open(path, encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file, strict=True))


EVENT = re.compile(
    r"(?P<number>\d{3})  (?P<reel>\S{1,8}) +(?P<track>\S+) +(?P<transition>C) +"
    r"(?P<sourceIn>\S+) (?P<sourceOut>\S+) (?P<recordIn>\S+) (?P<recordOut>\S+)"
)
MARKER = re.compile(r"\* LOC: (?P<timecode>\d\d:\d\d:\d\d[:;]\d\d) (?P<colour>[A-Z]+) +(?P<text>.*)")


def edl(path):
    """An edit decision list: title, way of counting, events with the markers below them (CMX 3600)."""
    text = open(path, "rb").read().decode("ascii")
    assert text.endswith("\r\n")
    result = {"events": [], "comments": []}
    for line in text.split("\r\n")[:-1]:
        assert "\n" not in line and "\r" not in line
        if line.startswith("TITLE: "):
            result["title"] = line[7:]
        elif line.startswith("FCM: "):
            result["count"] = line[5:]
        elif event := EVENT.fullmatch(line):
            result["events"].append({**event.groupdict(), "markers": []})
        elif marker := MARKER.fullmatch(line):
            result["events"][-1]["markers"].append(marker.groupdict())
        else:
            assert line == "" or line.startswith("* "), line
            result["comments"].append(line)
    return result


def otio(path):
    """A timeline of OpenTimelineIO: every object must be of a schema that stands in its specification."""
    fields = {
        "Timeline.1": {"metadata", "name", "global_start_time", "tracks"},
        "Stack.1": {"metadata", "name", "source_range", "effects", "markers", "enabled", "children"},
        "Track.1": {"metadata", "name", "source_range", "effects", "markers", "enabled", "children", "kind"},
        "Clip.2": {
            "metadata", "name", "source_range", "effects", "markers", "enabled",
            "media_references", "active_media_reference_key",
        },
        "Marker.2": {"metadata", "name", "color", "comment", "marked_range"},
        "ExternalReference.1": {"metadata", "name", "available_range", "available_image_bounds", "target_url"},
        "TimeRange.1": {"start_time", "duration"},
        "RationalTime.1": {"rate", "value"},
    }

    def check(value):
        if isinstance(value, list):
            for part in value:
                check(part)
        elif isinstance(value, dict):
            schema = value.get("OTIO_SCHEMA")
            if schema is not None:
                assert set(value) - {"OTIO_SCHEMA"} == fields[schema], (schema, sorted(value))
            for part in value.values():
                check(part)

    timeline = json.load(open(path, encoding="utf-8"))
    check(timeline)
    return timeline


if __name__ == "__main__":
    readers = {"cue": cue, "chunks": chunks, "csv": table, "edl": edl, "otio": otio}
    print(json.dumps(readers[sys.argv[1]](sys.argv[2])))
