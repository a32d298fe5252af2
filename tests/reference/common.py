"""What the reference scripts share: versions, rounding, valid JSON."""

import json
import math
import platform
from importlib.metadata import version


def meta(what, libraries, **more):
    """The `meta` block of a file: what it is and what computed it."""
    return {
        "what": what,
        "python": platform.python_version(),
        "versions": {name: version(name) for name in libraries},
        **more,
    }


def clean(value, digits=12):
    """Floats to `digits` significant digits; NaN and infinities become null; numpy becomes plain."""
    if isinstance(value, dict):
        return {str(k): clean(v, digits) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [clean(v, digits) for v in value]
    if isinstance(value, (bool, str)) or value is None:
        return value
    if hasattr(value, "tolist"):
        return clean(value.tolist(), digits)
    if isinstance(value, int):
        return value
    value = float(value)
    if not math.isfinite(value):
        return None
    return float(f"{value:.{digits}g}") + 0.0


def text(data):
    """JSON with one line for every innermost list or object, so that a change shows as one line."""

    def flat(v):
        return not any(isinstance(x, (dict, list)) for x in (v.values() if isinstance(v, dict) else v))

    def write(v, pad):
        if isinstance(v, (dict, list)) and v and not flat(v):
            inner = pad + " "
            if isinstance(v, dict):
                rows = [f"{inner}{json.dumps(k)}: {write(x, inner)}" for k, x in v.items()]
                return "{\n" + ",\n".join(rows) + f"\n{pad}}}"
            return "[\n" + ",\n".join(inner + write(x, inner) for x in v) + f"\n{pad}]"
        return json.dumps(v, allow_nan=False, ensure_ascii=False)

    return write(data, "") + "\n"


def difference(made, kept, rtol, atol, path=""):
    """The first difference between two JSON values, in words, or None. Skips `meta`."""
    if isinstance(made, dict) and isinstance(kept, dict):
        for key in list(kept) + [k for k in made if k not in kept]:
            if path == "" and key == "meta":
                continue
            if key not in made or key not in kept:
                return f"{path}/{key}: only in the {'committed file' if key in kept else 'remake'}"
            found = difference(made[key], kept[key], rtol, atol, f"{path}/{key}")
            if found:
                return found
        return None
    if isinstance(made, list) and isinstance(kept, list):
        if len(made) != len(kept):
            return f"{path}: {len(made)} entries remade, {len(kept)} committed"
        for i, (a, b) in enumerate(zip(made, kept)):
            found = difference(a, b, rtol, atol, f"{path}/{i}")
            if found:
                return found
        return None
    numbers = all(isinstance(v, (int, float)) and not isinstance(v, bool) for v in (made, kept))
    if numbers and abs(made - kept) <= atol + rtol * abs(kept):
        return None
    return None if not numbers and made == kept else f"{path}: remade {made!r}, committed {kept!r}"
