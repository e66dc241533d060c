"""Arguments as the library takes them, which is written in C: counts, cuts and words of errors."""

import operator


def counted(name, args, least, most):
    """As PyArg_ParseTuple counts arguments."""
    if not least <= len(args) <= most:
        limit = least if len(args) < least else most
        how = "exactly" if least == most else "at least" if len(args) < least else "at most"
        raise TypeError(
            f"{name + '()' if name else 'function'} takes {how} {limit}"
            f" argument{'s' * (limit != 1)} ({len(args)} given)"
        )


def whole(value):
    """As format 'i' of PyArg_ParseTuple."""
    number = operator.index(value)
    if number > 0x7FFFFFFF:
        raise OverflowError("signed integer is greater than maximum")
    if number < -0x80000000:
        raise OverflowError("signed integer is less than minimum")
    return number


def named(name, names, args, kwargs, least):
    """As PyArg_ParseTupleAndKeywords, for functions that take keywords too."""
    given = len(args) + len(kwargs)
    if given > len(names):
        raise TypeError(
            f"{name}() takes at most {len(names)} {'keyword ' * (not args)}"
            f"argument{'s' * (len(names) != 1)} ({given} given)"
        )
    found, left = list(args), dict(kwargs)
    for place, known in enumerate(names):
        if known in left:
            if place < len(args):
                raise TypeError(
                    f"argument for {name}() given by name ('{known}') and position ({place + 1})"
                )
            found.append(left.pop(known))
        elif place >= len(args):
            if place < least:
                raise TypeError(f"{name}() missing required argument '{known}' (pos {place + 1})")
            found.append(None)
    if left:
        raise TypeError(f"'{next(iter(left))}' is an invalid keyword argument for {name}()")
    return found


def sequence(values):
    """As PySequence_Fast: a list or tuple as it is, another sequence as a list."""
    if type(values) in (list, tuple):
        return values
    try:
        iter(values)
    except TypeError:
        raise TypeError("expected a sequence") from None
    return list(values)


def as_bytes(values):
    """Whole numbers as bytes, the lowest 8 bits of each; and whether one was beyond 64 bits."""
    data, beyond = bytearray(), False
    for value in values:
        if not isinstance(value, int):
            raise TypeError(f"Non-Int/Long value in arguments: {id(value) & 0xFFFFFFFF:x}.")
        if -(1 << 63) <= value < 1 << 63:
            data.append(value & 0xFF)
        else:
            data.append(0xFF)
            beyond = True
    return bytes(data), beyond


def options(name, args):
    """Speed and bits a word among the arguments of a transfer; 0 if they are not given.

    As format 'O|IHB' of PyArg_ParseTuple takes them, which cuts numbers to 32, 16 and 8 bits.
    """
    counted(name, args, 1, 4)
    speed, delay, bits = (*args[1:], 0, 0, 0)[:3]
    operator.index(delay)
    return operator.index(speed) & 0xFFFFFFFF, operator.index(bits) & 0xFF
