"""Answers as bytes and back, exactly: arrays and complex numbers by one hook, the rest by their types.

MessagePack carries infinities, NaN and keys that are no text, which JSON does not; nothing that is read can run code.
"""

from typing import Any, TypeVar, get_args, get_origin

import msgspec
import numpy as np
from numpy.typing import NDArray

Answer = TypeVar("Answer")


def encode_answer(answer: object) -> bytes:
    """Answer, or anything made of dataclasses, plain values and arrays, as MessagePack."""
    return msgspec.msgpack.encode(answer, enc_hook=_plain)


def decode_answer(content: bytes, kind: type[Answer]) -> Answer:
    """Read again what `encode_answer` wrote.

    Parameters
    ----------
    kind : type
        Dataclass that it is of; its fields' types are checked, one by one.

    Returns
    -------
    Answer
        Equal to what was encoded. An array without entries comes back with one dimension.

    Raises
    ------
    ValueError
        If the content is of anything else; one line.
    """
    try:
        return msgspec.msgpack.decode(content, type=kind, dec_hook=_typed)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as err:
        msg = f"no {kind.__name__}: {err}"
        raise ValueError(msg) from None


def _plain(value: Any) -> Any:
    if isinstance(value, complex):
        return [value.real, value.imag]
    if isinstance(value, np.generic | np.ndarray):
        array = np.asarray(value)
        return [array.real.tolist(), array.imag.tolist()] if np.iscomplexobj(array) else array.tolist()
    msg = f"a {type(value).__name__} is no part of an answer"
    raise NotImplementedError(msg)


# msgspec tells the place of what a hook refuses by ValueError.
def _typed(kind: type, value: Any) -> Any:
    if kind is complex:
        return complex(*msgspec.convert(value, tuple[float, float]))
    if get_origin(kind) is np.ndarray:
        scalar = get_args(get_args(kind)[1])[0]
        return _array(value, get_origin(scalar) or scalar)
    msg = f"a {kind} is no part of an answer"
    raise NotImplementedError(msg)


def _array(value: Any, scalar: type) -> NDArray[Any]:
    if issubclass(scalar, np.complexfloating):
        real, imaginary = (_array(part, np.floating) for part in msgspec.convert(value, tuple[list[Any], list[Any]]))
        if real.shape != imaginary.shape:
            msg = f"real parts of shape {real.shape}, imaginary parts of shape {imaginary.shape}"
            raise ValueError(msg)
        array = np.empty(real.shape, dtype=complex)
        array.real, array.imag = real, imaginary  # real + 1j · imaginary would turn an infinity into NaN
        return array
    array = np.array(value)  # a ValueError where rows differ in length
    plain = bool if scalar is np.bool_ else float
    if array.size and array.dtype != plain and (plain is bool or not np.issubdtype(array.dtype, np.integer)):
        msg = f"an array of {array.dtype}, expected one of {plain.__name__}"
        raise ValueError(msg)
    return array.astype(plain)
