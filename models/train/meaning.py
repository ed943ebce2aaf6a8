"""Words -> meaning, so that "nine ninety nine", "triple nine" and "nine hundred and ninety nine" count as one."""

SAME = {"niner": "nine", "tree": "three", "fife": "five", "fower": "four", "oh": "zero", "nought": "zero",
        "decimal": "point", "greater": "over", "more": "over", "less": "under", "live": "line", "l": "line",
        "n": "neutral", "e": "earth", "fast": "faster"}
DROPPED = {"to", "and", "than", "please"}
UNITS = {"ohms": "ohm", "ohm": "ohm", "megohms": "Mohm", "megohm": "Mohm", "meg": "Mohm", "milliamps": "mA",
         "milliseconds": "ms", "volts": "V", "kiloamps": "kA", "amps": "A"}
DIGIT = {w: i for i, w in enumerate("zero one two three four five six seven eight nine".split())}
TEEN = {w: 10 + i for i, w in enumerate("ten eleven twelve thirteen fourteen fifteen sixteen seventeen eighteen nineteen".split())}
TENS = {w: 20 + 10 * i for i, w in enumerate("twenty thirty forty fifty sixty seventy eighty ninety".split())}
NUMBER_WORDS = set(DIGIT) | set(TEEN) | set(TENS) | {"point", "hundred", "thousand", "double", "triple", "a"}


def _digits(words):
    out, i = "", 0
    while i < len(words):
        if words[i] in ("double", "triple"):
            if i + 1 >= len(words) or words[i + 1] not in DIGIT:
                return None
            out += str(DIGIT[words[i + 1]]) * (2 if words[i] == "double" else 3)
            i += 2
        elif words[i] in DIGIT:
            out += str(DIGIT[words[i]])
            i += 1
        else:
            return None
    return out or None


def _below_hundred(words):
    if len(words) == 1:
        for table in (DIGIT, TEEN, TENS):
            if words[0] in table:
                return table[words[0]]
    if len(words) == 2 and words[0] in TENS and words[1] in DIGIT:
        return TENS[words[0]] + DIGIT[words[1]]
    return None


def _scaled(words, scale, lower):
    name = {100: "hundred", 1000: "thousand"}[scale]
    if len(words) >= 2 and words[1] == name and (words[0] in DIGIT or words[0] == "a"):
        value = scale * (1 if words[0] == "a" else DIGIT[words[0]])
        if not words[2:]:
            return value
        rest = lower(words[2:])
        return None if rest is None else value + rest
    return None


def _hundreds(words):
    return _scaled(words, 100, _below_hundred)


def _whole(words):
    """The digits of a whole number, as written: leading zeros are kept."""
    spelled = _digits(words)
    if spelled is not None:
        return spelled
    for value in (_below_hundred(words), _hundreds(words),
                  _scaled(words, 1000, lambda r: _hundreds(r) if _hundreds(r) is not None else _below_hundred(r))):
        if value is not None:
            return str(value)
    if words and (words[0] in DIGIT or words[0] in TEEN):
        rest = _below_hundred(words[1:])
        if rest is not None and rest >= 10:
            return str((DIGIT.get(words[0]) or TEEN.get(words[0])) * 100 + rest) if words[0] != "zero" else None
    return None


def number(words):
    """The value of number words (already canonical) as text, or None."""
    if "point" in words:
        i = words.index("point")
        whole = _whole(words[:i]) if i else "0"
        fraction = _digits(words[i + 1:])
        return None if whole is None or fraction is None else f"{int(whole)}.{fraction}"
    whole = _whole(words)
    return None if whole is None else str(int(whole)) if len(whole) < 2 or whole[0] != "0" else whole


def meaning(sentence, unit=False):
    """A tuple that is equal for sentences of equal meaning. Units are left out unless asked for."""
    words = [SAME.get(w, w) for w in sentence.split() if w not in DROPPED]
    out, i = [], 0
    while i < len(words):
        if words[i] in NUMBER_WORDS and not (words[i] == "a" and words[i + 1:i + 2] not in (["hundred"], ["thousand"])):
            j = i
            while j < len(words) and words[j] in NUMBER_WORDS:
                j += 1
            value = number(words[i:j])
            out += [value] if value is not None else words[i:j]
            i = j
        else:
            if words[i] in UNITS:
                out += [UNITS[words[i]]] if unit else []
            else:
                out.append(words[i])
            i += 1
    return tuple(out)


if __name__ == "__main__":
    for text in ("line to neutral greater than nine nine nine megohms", "triple nine", "nine ninety nine", "a hundred and fifteen",
                 "oh point oh five", "point zero five", "live to earth over two thousand", "neutral out at socket fifteen in a connector",
                 "two oh seven point one two three", "zero zero five"):
        print(text, "->", meaning(text))
