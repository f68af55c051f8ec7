"""A rig that is no longer looked after: one line of its file says why. Pure: text in, text out."""

import json
import re
import tomllib

_LINE = re.compile(r"^[ \t]*retired[ \t]*=.*\n?", re.MULTILINE)


def retired_text(toml: str, because: str) -> str:
    """The rig file with the line that retires it on top; an empty reason takes the line away."""
    rest = awake_text(toml)
    # Letters beyond ASCII stay as they are: JSON would write some in two halves, which TOML refuses.
    return f"retired = {json.dumps(because, ensure_ascii=False)}\n{rest}" if because else rest


def retired_because(toml: str) -> str:
    """Why the rig of this file is retired; empty: it isn't. For lists of hundreds, where reading the whole file is slow."""
    found = _LINE.search(toml.partition("\n[")[0])
    if found is None:
        return ""
    return str(tomllib.loads(found[0].strip())["retired"]).strip() or "retired"


def awake_text(toml: str) -> str:
    """The rig file without such a line; only the part before the first section is looked at."""
    head, bracket, sections = toml.partition("\n[")
    return _LINE.sub("", head) + bracket + sections
