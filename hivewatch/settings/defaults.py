"""The settings file that says what would be so anyway."""

from __future__ import annotations

from pathlib import Path

from pydantic.fields import FieldInfo

from hivewatch.mistakes import quoted
from hivewatch.settings.fields import Quiet
from hivewatch.settings.sources import CHANNELS, KEYS, SECRET, SECTIONS

_HEAD = """\
# Every setting of hivewatch with its default. A line behind # has none: it shows an example.
# A variable HIVEWATCH_SECTION__KEY goes before the key, as HIVEWATCH_BROKER__URL does;
# a list in a variable is a JSON array, or its items with spaces between.
"""


def defaults_text() -> str:
    """Give every key with its default and what it is for, as a settings file that reads back."""
    parts = [_HEAD]
    for section in KEYS:
        optional = any(field.is_required() for field in SECTIONS[section].model_fields.values())
        head = f"# [{section}]" if optional else f"[{section}]"
        lines = [f"{head}  # {SECTIONS[section].__doc__}"]
        for key, field in SECTIONS[section].model_fields.items():
            if (section, key) in SECRET - {CHANNELS}:
                lines.append(f"# {key}: {field.description}")
            else:
                lines.append(_line(key, field))
        parts.append("\n".join(lines) + "\n")
    return "\n".join(parts)


def _line(key: str, field: FieldInfo) -> str:
    default = None if field.is_required() else field.default
    if default is None:
        example = field.examples[0] if field.examples else ""
        return f"# {key} = {quoted(example)}  # {field.description}"
    shown = str(default) if isinstance(default, Path | Quiet) else default
    return f"{key} = {quoted(shown)}  # {field.description}"
