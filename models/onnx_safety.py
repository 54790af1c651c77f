"""Whether an ONNX file reaches for other files: told from its bytes, before anything runs it.

An ONNX model may keep its numbers in other files and name them by path. Those would not be covered
by the model's checksum, so no such model is loaded. The format is protobuf; only the few fields on
the way to the stored tensors are followed (onnx.proto of ONNX 1.17, IR version 10).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

_TENSOR_EXTERNAL_DATA, _TENSOR_DATA_LOCATION = 13, 14
# Message by message: which fields hold further messages that may lead to a tensor.
_WAYS: Mapping[str, Mapping[int, str]] = {
    "model": {7: "graph", 20: "training", 25: "function"},
    "training": {1: "graph", 2: "graph"},
    "function": {7: "node"},
    "graph": {1: "node", 5: "tensor", 15: "sparse"},
    "node": {5: "attribute"},
    "attribute": {5: "tensor", 6: "graph", 10: "tensor", 11: "graph", 22: "sparse", 23: "sparse"},
    "sparse": {1: "tensor", 2: "tensor"},
    "tensor": {},
}
_DEEPEST = 50  # graphs within graphs; a real one has two or three


def uses_other_files(data: bytes) -> bool:
    """Whether any tensor of the model is kept in another file.

    Raises
    ------
    ValueError
        Where the bytes are no whole protobuf message.
    """
    return _external(memoryview(data), "model", 0)


def _external(message: memoryview, kind: str, depth: int) -> bool:
    if depth > _DEEPEST:
        raise ValueError("the model is nested too deeply")
    for field, value in _fields(message):
        if kind == "tensor" and field in (_TENSOR_EXTERNAL_DATA, _TENSOR_DATA_LOCATION) and value != 0:
            return True
        inner = _WAYS[kind].get(field)
        if inner is not None and isinstance(value, memoryview) and _external(value, inner, depth + 1):
            return True
    return False


def _fields(message: memoryview) -> Iterator[tuple[int, memoryview | int]]:
    """Numbers of a message's fields, each with its bytes, or its whole number."""
    place = 0
    while place < len(message):
        key, place = _varint(message, place)
        field, wire = key >> 3, key & 7
        if wire == 0:
            number, place = _varint(message, place)
            yield field, number
            continue
        if wire == 2:
            length, place = _varint(message, place)
        elif wire in (1, 5):
            length = 8 if wire == 1 else 4
        else:
            raise ValueError("not a model's file")
        if place + length > len(message):
            raise ValueError("the file ends early")
        yield field, message[place : place + length]
        place += length


def _varint(message: memoryview, place: int) -> tuple[int, int]:
    value = 0
    for shift in range(0, 70, 7):
        if place >= len(message):
            raise ValueError("the file ends early")
        byte = message[place]
        place += 1
        value |= (byte & 0x7F) << shift
        if byte < 0x80:
            return value, place
    raise ValueError("not a model's file")
